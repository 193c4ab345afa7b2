/*
 * The narrative of a Task: what the Task says to people, as XHTML for records
 * that show narratives.  It is made from the words of the Task itself and from
 * nothing else, so that it can be made anew whenever these change.
 */
#include "adapters/fhir_task.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"

#include <string.h>

/* A narrative of ours is told by its beginning; what a person or a record
 * wrote in its place is theirs. */
#define OURS                                                                   \
    "<div xmlns=\"http://www.w3.org/1999/xhtml\" class=\"headgate-task\""

/* A text as XML has it; control characters are blanks (XML 1.0, 2.2). */
static void escape(struct buf *out, const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        switch (text[i]) {
        case '&':
            buf_puts(out, "&amp;");
            break;
        case '<':
            buf_puts(out, "&lt;");
            break;
        case '>':
            buf_puts(out, "&gt;");
            break;
        case '"':
            buf_puts(out, "&quot;");
            break;
        default:
            buf_add(out, (unsigned char)text[i] < 0x20 ? " " : text + i, 1);
            break;
        }
    }
}

static void put_paragraph(struct buf *out, const char *open, const char *text,
                          size_t len, const char *close)
{
    if (len == 0)
        return;
    buf_puts(out, open);
    escape(out, text, len);
    buf_puts(out, close);
}

static void put_all(struct buf *out, const char *open, const char *text,
                    const char *close)
{
    if (text != NULL)
        put_paragraph(out, open, text, strlen(text), close);
}

void fhir_task_out_text(const struct fhir_task_said *said, struct buf *out)
{
    const char *line = said->description;
    struct buf div;

    if (line == NULL || line[strspn(line, " \n")] == '\0')
        return;
    buf_init(&div, out->ceiling);
    buf_printf(&div, OURS " lang=\"%s\" xml:lang=\"%s\">", catalogue_language(),
               catalogue_language());
    put_all(&div, "<p><b>", said->title, "</b></p>");
    put_all(&div, "<p>", said->patient, "</p>");
    while (*line != '\0') {
        size_t len = strcspn(line, "\n");

        put_paragraph(&div, "<p>", line, len, "</p>");
        line += len + (line[len] == '\n' ? 1 : 0);
    }
    buf_puts(&div, "</div>");
    if (buf_ok(&div) != ERR_OK) {
        out->err = div.err; /* it is told where the Task is */
    } else {
        fhir_out_open(out, "text", '{');
        fhir_out_text(out, "status", "generated");
        fhir_out_text(out, "div", div.data);
        fhir_out_close(out, '}');
    }
    buf_clear(&div);
}

bool fhir_task_is_our_text(json_t *task)
{
    const char *div = fhir_string(json_object_get(task, "text"), "div");

    return div != NULL && strncmp(div, OURS, strlen(OURS)) == 0;
}
