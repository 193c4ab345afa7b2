#include "adapters/aside_text.h"

#include "adapters/fhir_answer.h"
#include "adapters/fhir_json.h"
#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <string.h>

enum { CLEAN_MAX = 16384, SHOWN_MAX = 400 };

/* Text of a record on a terminal: no control characters. */
static void put_clean(struct buf *out, const char *text)
{
    struct buf clean;

    buf_init(&clean, CLEAN_MAX);
    queue_text_clean(&clean, text);
    buf_printf(out, "%.*s", SHOWN_MAX, clean.data);
    buf_clear(&clean);
}

/* Its first issue, or the beginning of what it said. */
static void put_answer(const struct aside_line *line, struct buf *out)
{
    struct fhir_answer first;
    size_t count;
    bool lone = false;

    if (line->answer == NULL || line->answer[0] == '\0') {
        buf_puts(out, "    The record gave no reason.\n");
        return;
    }
    buf_puts(out, "    The record says: ");
    if (fhir_answer_read(line->answer, strlen(line->answer), (int)line->status,
                         &first, 1, &count, &lone) == ERR_OK &&
        lone && (first.text[0] != '\0' || first.word[0] != '\0')) {
        put_clean(out, first.word);
        buf_puts(out, first.text[0] != '\0' ? ": " : "");
        put_clean(out, first.text);
        if (first.place[0] != '\0') {
            buf_puts(out, " (at ");
            put_clean(out, first.place);
            buf_puts(out, ")");
        }
    } else {
        put_clean(out, line->answer);
    }
    buf_puts(out, "\n");
}

void aside_text_write(const struct aside_line *line, const struct zone *zone,
                      struct buf *out)
{
    char at[FHIR_TIME_SIZE];

    fhir_date_write(line->aside_ms / 1000, zone, at);
    buf_printf(out, "%-6lld %s %s, of %s", (long long)line->row, line->type,
               line->fid, line->code);
    buf_puts(out, " for ");
    put_clean(out, line->access != NULL ? line->access : "an access");
    buf_puts(out, " of patient ");
    put_clean(out, line->patient != NULL ? line->patient : "?");
    buf_printf(out, "\n    put aside %s, HTTP status %ld%s%s\n", at,
               line->status,
               line->remote != NULL ? "; in the record it is "
                                    : "; the record does not have it",
               line->remote != NULL ? line->remote : "");
    put_answer(line, out);
    if (line->given_up) {
        buf_puts(out, "    Given up by ");
        put_clean(out, line->who != NULL ? line->who : "?");
        buf_puts(out, ": ");
        put_clean(out, line->why != NULL ? line->why : "?");
        buf_puts(out, "\n");
    }
}

static void out_answer(const char *answer, struct buf *out)
{
    size_t len = answer != NULL ? strlen(answer) : 0;
    json_t *tree = len > 0 ? json_loadb(answer, len, 0, NULL) : NULL;

    if (tree != NULL && json_is_object(tree))
        fhir_out_raw(out, "answer", answer, len);
    else
        fhir_out_text(out, "answer_text", answer);
    json_decref(tree);
}

void aside_json_write(const struct aside_line *line, struct buf *out)
{
    char at[FHIR_TIME_SIZE];

    fhir_time_write_ms(line->aside_ms, at);
    buf_puts(out, "{");
    fhir_out_int(out, "row", line->row);
    fhir_out_text(out, "type", line->type);
    fhir_out_text(out, "id", line->fid);
    fhir_out_text(out, "record_id", line->remote);
    fhir_out_int(out, "status", line->status);
    fhir_out_text(out, "aside", at);
    fhir_out_text(out, "task_code", line->code);
    fhir_out_text(out, "access", line->access);
    fhir_out_text(out, "patient", line->patient);
    fhir_out_bool(out, "given_up", line->given_up);
    fhir_out_text(out, "by", line->who);
    fhir_out_text(out, "why", line->why);
    out_answer(line->answer, out);
    buf_puts(out, "}\n");
}
