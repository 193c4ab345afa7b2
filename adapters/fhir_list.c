#include "adapters/fhir_list.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"
#include "adapters/task_codes.h"

#define AUTHOR "headgate " HEADGATE_VERSION

static void put_note(struct buf *out, const char *text)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "authorString", AUTHOR);
    fhir_out_text(out, "text", text);
    fhir_out_close(out, '}');
}

static void put_notes(const struct fhir_list *l, struct buf *out)
{
    struct buf more;

    fhir_out_open(out, "note", '[');
    put_note(
        out,
        l->retired
            ? _("This list is no longer kept up to date: do not go by it.")
            : _("Who is here has an open suggestion or reminder, made by fixed "
                "rules from what was sent, under the limits that the site has "
                "approved. Decision support: a qualified clinician decides, by "
                "local policy. That somebody is not on this list does not mean "
                "that the access or the hand is safe. Signs that could not be "
                "placed, and patients whose unit is not known, are in the "
                "queue alone (headgate queue)."));
    if (l->left_out > 0) {
        buf_init(&more, 512);
        buf_printf(&more,
                   _("NOT ALL ARE HERE: %zu more are in the queue (headgate "
                     "queue)."),
                   l->left_out);
        put_note(out, more.data);
        buf_clear(&more);
    }
    fhir_out_close(out, ']');
}

static void put_entry(const struct fhir_list *l,
                      const struct fhir_list_entry *e, struct buf *out)
{
    char since[FHIR_TIME_SIZE];

    fhir_out_open(out, NULL, '{');
    fhir_out_concept(out, "flag", l->base, "/CodeSystem/av-task", e->code,
                     e->display, e->text);
    if (e->since_s != 0) {
        fhir_time_write(e->since_s, since);
        fhir_out_text(out, "date", since);
    }
    fhir_out_ref(out, "item", &e->patient);
    fhir_out_close(out, '}');
}

/* lst-1: why it is empty may only be said where it is. */
static void put_entries(const struct fhir_list *l, struct buf *out)
{
    if (l->count == 0) {
        fhir_out_open(out, "emptyReason", '{');
        fhir_out_text(out, "text",
                      l->retired
                          ? _("The list is no longer kept up to date.")
                          : _("Nothing is open for a patient of this unit. "
                              "That does not mean that all are safe."));
        fhir_out_close(out, '}');
        return;
    }
    fhir_out_open(out, "entry", '[');
    for (size_t i = 0; i < l->count; i++)
        put_entry(l, &l->entries[i], out);
    fhir_out_close(out, ']');
}

static void put_title(const struct fhir_list *l, struct buf *out)
{
    struct buf title;

    buf_init(&title, 1024);
    /* TRANSLATORS: the name of a dialysis unit */
    buf_printf(&title, _("Dialysis access: for whom something is open, %s"),
               l->unit);
    fhir_out_text(out, "title", title.data);
    buf_clear(&title);
}

/* Sorted by urgency, then by the day it is due. */
static void put_order(struct buf *out)
{
    fhir_out_open(out, "orderedBy", '{');
    fhir_out_open(out, "coding", '[');
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "system",
                  "http://terminology.hl7.org/CodeSystem/list-order");
    fhir_out_text(out, "code", "priority");
    fhir_out_text(out, "display", "Sorted by Priority");
    fhir_out_close(out, '}');
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
}

enum err fhir_list_write(const struct fhir_list *l, struct buf *out)
{
    const struct task_code *code = task_code(TASK_CODE_UNIT_LIST);
    char at[FHIR_TIME_SIZE];

    buf_puts(out, "{");
    fhir_out_text(out, "resourceType", "List");
    fhir_out_text(out, "id", l->id);
    fhir_out_open(out, "identifier", '[');
    fhir_out_identifier(out, NULL, l->base, "/NamingSystem/" FHIR_UNIT_LIST,
                        l->unit);
    fhir_out_close(out, ']');
    fhir_out_text(out, "status", l->retired ? "retired" : "current");
    fhir_out_text(out, "mode", "working");
    put_title(l, out);
    fhir_out_concept(out, "code", l->base, "/CodeSystem/av-task", code->code,
                     code->display, NULL);
    if (l->at_ms != 0) {
        fhir_time_write_ms(l->at_ms, at);
        fhir_out_text(out, "date", at);
    }
    fhir_out_ref(out, "source", &l->source);
    put_order(out);
    put_notes(l, out);
    put_entries(l, out);
    fhir_out_close(out, '}');
    return buf_ok(out);
}
