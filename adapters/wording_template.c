/* Sentences from tables, with places that are filled in. */
#include "adapters/wording_work.h"

#include <string.h>

static void say_call(const struct wording *w, enum urgency u, struct buf *out)
{
    buf_puts(out,
             u == URGENCY_IMMEDIATE ? "Phone now: assessment " : "Assessment ");
    say_within(w, u, out);
}

typedef void (*place_fn)(const struct wording *w, const struct finding *f,
                         struct buf *out);

static void place_limit(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    say_limit(w, f->limit, out);
}

static void place_call(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    say_call(w, f->urgency, out);
}

static void place_within(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    say_within(w, f->urgency, out);
}

static void place_asap(const struct wording *w, const struct finding *f,
                       struct buf *out)
{
    (void)f;
    say_within(w, URGENCY_ASAP, out);
}

/* "by 2026-12-07", "between 2026-12-01 and 2026-12-21" */
static void place_repeat(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    if (f->repeat_from_s > w->history->now_s) {
        buf_puts(out, "between ");
        say_date(w, f->repeat_from_s, out);
        buf_puts(out, " and ");
    } else {
        buf_puts(out, "by ");
    }
    say_date(w, f->repeat_by_s, out);
}

static void place_again(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    (void)w;
    say_quantity(out, f->repeat_of);
}

static void place_items(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    (void)w;
    say_visit(out, f->visit_items);
}

static void place_flow_first(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    (void)f;
    buf_puts(out, seen_flow_quoted(w) ? "" : "access flow, ");
}

static void place_flow_last(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    (void)f;
    buf_puts(out, seen_flow_quoted(w) ? "" : ", and access flow");
}

static void say_place(const struct wording *w, const struct finding *f,
                      const char *name, size_t len, struct buf *out)
{
    static const struct {
        const char *name;
        place_fn say;
    } places[] = {
        { "limit", place_limit },         { "call", place_call },
        { "within", place_within },       { "asap", place_asap },
        { "repeat", place_repeat },       { "again", place_again },
        { "items", place_items },         { "flow_first", place_flow_first },
        { "flow_last", place_flow_last },
    };

    for (size_t i = 0; i < COUNT(places); i++) {
        if (strlen(places[i].name) == len &&
            memcmp(places[i].name, name, len) == 0)
            places[i].say(w, f, out);
    }
}

void say_template(const struct wording *w, const struct finding *f,
                  const char *text, struct buf *out)
{
    while (*text != '\0') {
        size_t plain = strcspn(text, "{");
        const char *end;

        buf_add(out, text, plain);
        text += plain;
        end = strchr(text, '}');
        if (*text == '\0' || end == NULL)
            return;
        say_place(w, f, text + 1, (size_t)(end - text) - 1, out);
        text = end + 1;
    }
}
