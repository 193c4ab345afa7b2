/* Sentences from tables, with places that are filled in. */
#include "adapters/wording_work.h"

#include <stdio.h>
#include <string.h>

typedef void (*place_fn)(const struct wording *w, const struct finding *f,
                         struct buf *out);

static void place_limit(const struct wording *w, const struct finding *f,
                        struct buf *out)
{
    say_limit(w, f->limit, out);
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

static void place_repeat(const struct wording *w, const struct finding *f,
                         struct buf *out)
{
    struct fill s = { 0 };

    say_date(w, f->repeat_from_s, fill_at(&s, "from"));
    say_date(w, f->repeat_by_s, fill_at(&s, "to"));
    fill_say(&s,
             f->repeat_from_s > w->history->now_s ? _("between {from} and {to}")
                                                  : _("by {to}"),
             out);
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

static void place_compressed(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    (void)w;
    (void)f;
    /* TRANSLATORS: what is to be measured */
    buf_puts(out,
             _("finger pressure with and without compression of the access"));
}

static void place_flow_first(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    if (seen_flow_quoted(w))
        place_compressed(w, f, out);
    else
        buf_puts(out, _("access flow, finger pressure with and without "
                        "compression of the access"));
}

static void place_flow_last(const struct wording *w, const struct finding *f,
                            struct buf *out)
{
    if (seen_flow_quoted(w))
        place_compressed(w, f, out);
    else
        buf_puts(out, _("finger pressure with and without compression of the "
                        "access, and access flow"));
}

/* ---- sentences that stand behind several others -------------------------- */

static void place_disputed(const struct wording *w, const struct finding *f,
                           struct buf *out)
{
    struct fill s = { 0 };

    fill_limit(&s, "limit", w, f->limit);
    fill_say(&s,
             _("Whether a high flow without signs should be treated is "
               "disputed; this site's limit is {limit}."),
             out);
}

static void place_no_procedure(const struct wording *w, const struct finding *f,
                               struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, _("A surveillance finding without clinical signs is not by "
                    "itself a reason for angioplasty."));
}

static void place_not_suited(const struct wording *w, const struct finding *f,
                             struct buf *out)
{
    (void)w;
    (void)f;
    buf_puts(out, _("Reducing the flow, for example with a band, is not suited "
                    "to ischaemia of the hand at a normal or low access "
                    "flow."));
}

static const struct {
    const char *name;
    place_fn say;
} places[] = {
    { "limit", place_limit },
    { "within", place_within },
    { "asap", place_asap },
    { "repeat", place_repeat },
    { "again", place_again },
    { "items", place_items },
    { "compressed", place_compressed },
    { "flow_first", place_flow_first },
    { "flow_last", place_flow_last },
    { "disputed", place_disputed },
    { "no_procedure", place_no_procedure },
    { "not_suited", place_not_suited },
};

static bool has_place(const char *text, const char *name)
{
    char place[32];
    int len = snprintf(place, sizeof(place), "{%s}", name);

    return len > 0 && (size_t)len < sizeof(place) &&
           strstr(text, place) != NULL;
}

void say_template(const struct wording *w, const struct finding *f,
                  const char *text, struct buf *out)
{
    const char *said = gettext(text);
    struct fill s = { 0 };

    for (size_t i = 0; i < COUNT(places); i++) {
        if (has_place(said, places[i].name))
            places[i].say(w, f, fill_at(&s, places[i].name));
    }
    fill_say(&s, said, out);
}
