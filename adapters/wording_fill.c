/* Sentences of the catalogue with places: what stands at each is made first,
 * then the sentence is said in the order of its language. */
#include "adapters/wording_work.h"

#include <string.h>

struct buf *fill_at(struct fill *f, const char *name)
{
    /* one more than there is room for would be a mistake of ours: the last
     * place is then said wrongly, and nothing is overrun */
    size_t n = f->count < FILL_MAX ? f->count++ : FILL_MAX - 1;

    if (f->names[n] != NULL)
        buf_clear(&f->texts[n]);
    f->names[n] = name;
    buf_init(&f->texts[n], WORDING_SIZE_MAX);
    return &f->texts[n];
}

struct buf *fill_last(struct fill *f)
{
    return &f->texts[f->count - 1];
}

void fill_text(struct fill *f, const char *name, const char *text)
{
    buf_puts(fill_at(f, name), text);
}

void fill_count(struct fill *f, const char *name, long long count)
{
    buf_printf(fill_at(f, name), "%lld", count);
}

void fill_number(struct fill *f, const char *name, double value, int decimals)
{
    catalogue_number(fill_at(f, name), value, decimals);
}

void fill_limit(struct fill *f, const char *name, const struct wording *w,
                enum param p)
{
    say_limit(w, p, fill_at(f, name));
}

void fill_rule(struct fill *f, const struct finding *finding)
{
    fill_text(f, "rule", rule_info(finding->rule)->id);
}

static void say_place(const struct fill *f, const char *name, size_t len,
                      struct buf *out)
{
    for (size_t i = 0; i < f->count; i++) {
        if (strlen(f->names[i]) == len && memcmp(f->names[i], name, len) == 0)
            buf_add(out, f->texts[i].data, f->texts[i].len);
    }
}

void fill_say(struct fill *f, const char *text, struct buf *out)
{
    while (*text != '\0') {
        size_t plain = strcspn(text, "{");
        const char *end;

        buf_add(out, text, plain);
        text += plain;
        end = strchr(text, '}');
        if (*text == '\0' || end == NULL)
            break;
        say_place(f, text + 1, (size_t)(end - text) - 1, out);
        text = end + 1;
    }
    for (size_t i = 0; i < f->count; i++)
        buf_clear(&f->texts[i]);
    *f = (struct fill){ 0 };
}

void say_blank(struct buf *out)
{
    char last = (char)(out->len > 0 ? out->data[out->len - 1] : ' ');

    if (last != ' ' && last != '\n')
        buf_puts(out, " ");
}

void say_next(struct buf *out, const char *text)
{
    say_blank(out);
    buf_puts(out, text);
}
