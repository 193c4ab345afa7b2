#include "adapters/fhir_out.h"
#include "adapters/hl7_oru_work.h"

#include <string.h>

/* The text of the NTE at segment, into o->text. */
static void note_text(struct oru *o, size_t segment)
{
    int count = (int)hl7_repetitions(o->message, segment, 3);

    buf_empty(&o->text);
    for (int i = 1; i <= count; i++) {
        if (i > 1)
            buf_puts(&o->text, "\n");
        oru_whole(o, segment, 3, i, &o->text);
    }
}

static bool is_note(const struct oru *o, size_t segment)
{
    return strcmp(hl7_name(o->message, segment), "NTE") == 0;
}

void oru_check_notes(struct oru *o, size_t segment)
{
    for (size_t i = segment + 1; is_note(o, i); i++) {
        struct hl7_place place = oru_place(o, i, 3, 0, 0);

        note_text(o, i);
        if (i - segment > ORU_NOTES_MAX)
            oru_warn(o, &place, HL7_TOO_LONG, "too-many",
                     "Of the comments on a result the first twenty are kept");
        else if (o->text.len > ORU_NOTE_MAX)
            oru_warn(o, &place, HL7_TOO_LONG, "too-long",
                     "A comment has 4000 bytes at most; the rest is left out");
        if (i - segment > ORU_NOTES_MAX)
            break;
    }
}

static void put_note(struct oru *o, const char *text)
{
    struct buf *b = &o->out->bundle;

    if (!oru_says(text))
        return;
    fhir_out_open(b, NULL, '{');
    fhir_out_text(b, "text", text);
    fhir_out_close(b, '}');
}

void oru_put_notes(struct oru *o, const struct oru_result *r)
{
    struct oru_mark list = oru_open(&o->out->bundle, "note", '[');

    if (r->remark != NULL)
        put_note(o, r->remark);
    for (size_t i = r->segment + 1;
         is_note(o, i) && i - r->segment <= ORU_NOTES_MAX; i++) {
        note_text(o, i);
        if (o->text.len > ORU_NOTE_MAX) {
            o->text.len = ORU_NOTE_MAX; /* the writer drops half a character */
            o->text.data[ORU_NOTE_MAX] = '\0';
        }
        put_note(o, o->text.data);
    }
    oru_close(&o->out->bundle, list, ']');
}
