/* Lines, lists and rows of a plan as text. */
#include "adapters/plan_text.h"

#include "adapters/queue_text.h"

#include <string.h>

void text_open(struct text *t, const struct plan_document *d, struct buf *out)
{
    t->d = d;
    t->out = out;
    t->words.used = 0;
    t->words.full = false;
}

void text_close(struct buf *page, struct buf *out)
{
    if (buf_ok(page) == ERR_OK)
        queue_page_wrap(page->data, page->len, PLAN_TEXT_COLUMNS, out);
    else
        out->err = buf_ok(page);
    buf_clear(page);
}

/* On a page a size is never parted from its unit by the blank between them; a
 * terminal, and whoever searches a text, wants a plain one. */
void text_put(struct text *t, const char *text)
{
    static const char fixed[] = "\u00a0";
    const char *at;

    while ((at = strstr(text, fixed)) != NULL) {
        buf_add(t->out, text, (size_t)(at - text));
        buf_puts(t->out, " ");
        text = at + strlen(fixed);
    }
    buf_puts(t->out, text);
}

void text_end(struct text *t)
{
    while (t->out->len > 0 && t->out->data[t->out->len - 1] == ' ')
        t->out->len--;
    buf_puts(t->out, "\n");
    if (t->words.full && buf_ok(t->out) == ERR_OK)
        t->out->err = ERR_LIMIT;
    t->words.used = 0;
}

void text_title(struct text *t, const char *title)
{
    buf_puts(t->out, "\n");
    text_put(t, title);
    text_end(t);
}

void text_line(struct text *t, const char *line)
{
    if (line[0] == '\0')
        return;
    text_put(t, line);
    text_end(t);
}

void text_item(struct text *t, const char *item)
{
    buf_puts(t->out, "- ");
    text_put(t, item);
    text_end(t);
}

void text_said(struct text *t,
               void (*say)(const struct plan_document *d, struct buf *out))
{
    size_t before = t->out->len;

    say(t->d, t->out);
    if (t->out->len > before && t->out->data[t->out->len - 1] != '\n')
        text_end(t);
}

/* ---- columns ------------------------------------------------------------------ */

static void blanks(struct text *t, size_t from, size_t columns)
{
    for (; from < columns; from++)
        buf_puts(t->out, " ");
}

void text_left(struct text *t, const char *text, size_t columns)
{
    text_put(t, text);
    blanks(t, queue_text_columns(text, strlen(text)), columns);
}

void text_right(struct text *t, const char *text, size_t columns)
{
    blanks(t, queue_text_columns(text, strlen(text)), columns);
    text_put(t, text);
}

void text_row(struct text *t, const char *left, const char *text)
{
    struct queue_span rest, line;
    struct buf plain;
    struct text put = { .d = t->d, .out = &plain };

    buf_init(&plain, PLAN_DOCUMENT_MAX);
    text_put(&put, text);
    rest =
        (struct queue_span){ plain.data != NULL ? plain.data : "", plain.len };
    while (
        queue_text_line(&rest, PLAN_TEXT_COLUMNS - TEXT_LEFT_COLUMNS, &line)) {
        text_left(t, left, TEXT_LEFT_COLUMNS);
        buf_add(t->out, line.text, line.len);
        text_end(t);
        left = "";
    }
    if (buf_ok(&plain) != ERR_OK && buf_ok(t->out) == ERR_OK)
        t->out->err = buf_ok(&plain);
    buf_clear(&plain);
}
