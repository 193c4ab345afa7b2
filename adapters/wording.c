/* Headline, suggestion, description. */
#include "adapters/wording_work.h"

/*
 * The hand, where it is a matter of hours or days: it goes before all else,
 * but for bleeding, and for what is itself a matter of hours while the hand
 * is one of days.  NULL if it is not so.  What is old raises no Task of its
 * own, so there is none to point to.
 */
static const char *hand_first(const struct wording *w,
                              const struct finding *first)
{
    bool now = first != NULL && first->confirmed &&
               first->urgency == URGENCY_IMMEDIATE;
    enum urgency worst = URGENCY_NOTE;

    if (w->group == GROUP_HAND || (w->group == GROUP_BLEEDING && now))
        return NULL;
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (finding_group(f) == GROUP_HAND && f->confirmed && !f->historic &&
            f->urgency > worst)
            worst = f->urgency;
    }
    if (worst == URGENCY_IMMEDIATE)
        return N_("The hand is more urgent: see the Task on the hand (phone "
                  "now).");
    if (worst == URGENCY_ASAP && !now)
        return N_("The hand is more urgent: see the Task on the hand "
                  "({asap}).");
    return NULL;
}

void say_suggested(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    const char *hand = hand_first(w, first);

    if (first == NULL)
        return;
    if (hand != NULL)
        say_template(w, first, hand, out);
    advice_say(w, first, out);
}

void wording_suggestion(const struct wording *w, struct buf *out)
{
    if (seen_late(w, false, out))
        buf_puts(out, " ");
    say_suggested(w, out);
}

void wording_headline(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);

    if (first == NULL)
        return;
    seen_brief(w, first, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f == first || !seen_is_ours(w, f))
            continue;
        if (!seen_is_told(w, f)) {
            buf_puts(out, list_semicolon());
            seen_brief(w, f, out);
        } else if (f->flow_unknown && !first->flow_unknown) {
            buf_puts(out, list_semicolon());
            buf_puts(out, _("flow not known"));
        }
    }
    seen_late(w, true, out);
}

/* What another group found, and left to this one to tell. */
static void say_crossed(const struct wording *w, struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_told_here(w, f) || seen_is_told(w, f))
            continue;
        buf_puts(list, list->len > 0 ? list_semicolon() : "");
        seen_brief(w, f, list);
    }
    if (list->len > 0)
        say_blank(out);
    fill_say(&s, list->len > 0 ? _("Limits crossed as well: {list}.") : "",
             out);
}

static void say_seen(const struct wording *w, const struct finding *first,
                     struct buf *out)
{
    seen_sentence(w, first, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f == first || !seen_is_ours(w, f))
            continue;
        if (!seen_is_told(w, f)) {
            buf_puts(out, " ");
            seen_sentence(w, f, out);
        } else if (f->flow_unknown && !first->flow_unknown) {
            seen_flow_unknown(w, out);
        }
    }
    say_crossed(w, out);
}

/* "Suggested: Review of the access ..." */
static void say_suggested_line(const struct wording *w,
                               const struct finding *first, struct buf *out)
{
    struct fill s = { 0 };

    advice_say(w, first, fill_at(&s, "advice"));
    fill_say(&s, _("Suggested: {advice}"), out);
}

void wording_description(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    const char *hand = hand_first(w, first);

    if (first == NULL)
        return;
    if (first->confirmed && first->urgency == URGENCY_IMMEDIATE)
        buf_printf(out, "%s\n", words_phone());
    if (hand != NULL) {
        say_template(w, first, hand, out);
        buf_puts(out, "\n");
    }
    say_clean(out, w->access_label);
    buf_puts(out, ": ");
    say_seen(w, first, out);
    seen_late(w, false, out);
    buf_puts(out, "\n");
    say_suggested_line(w, first, out);
    if (w->plan != NULL && w->plan[0] != '\0') {
        buf_puts(out, "\n");
        buf_puts(out, w->plan);
    }
    buf_puts(out, "\n");
    say_due(w, _("This is to be seen today, {date}."),
            _("This is to be seen by {date}."), out);
    buf_puts(out, "\n");
    if (say_limit_source(w, first, out))
        buf_puts(out, "\n");
    say_until(w, first, out);
    buf_puts(out, words_support());
}
