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
        return "The hand is more urgent: see the Task on the hand (phone now).";
    if (worst == URGENCY_ASAP && !now)
        return "The hand is more urgent: see the Task on the hand ({asap}).";
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
    if (seen_late(w, "Seen", out))
        buf_puts(out, ". ");
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
            buf_puts(out, "; ");
            seen_brief(w, f, out);
        } else if (f->flow_unknown && !first->flow_unknown) {
            buf_puts(out, "; flow not known");
        }
    }
    seen_late(w, "; seen", out);
}

/* What another group found, and left to this one to tell. */
static void say_crossed(const struct wording *w, struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_told_here(w, f) || seen_is_told(w, f))
            continue;
        buf_puts(out, any ? "; " : " Limits crossed as well: ");
        any = true;
        seen_brief(w, f, out);
    }
    buf_puts(out, any ? "." : "");
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

void wording_description(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    const char *hand = hand_first(w, first);

    if (first == NULL)
        return;
    if (first->confirmed && first->urgency == URGENCY_IMMEDIATE)
        buf_puts(out, "Phone now: this Task does not replace a call.\n");
    if (hand != NULL) {
        say_template(w, first, hand, out);
        buf_puts(out, "\n");
    }
    say_clean(out, w->access_label);
    buf_puts(out, ": ");
    say_seen(w, first, out);
    if (seen_late(w, "\nSeen", out))
        buf_puts(out, ".");
    buf_puts(out, "\nSuggested: ");
    advice_say(w, first, out);
    if (w->plan != NULL && w->plan[0] != '\0') {
        buf_puts(out, "\n");
        buf_puts(out, w->plan);
    }
    buf_puts(out, "\nThis is ");
    say_by(w, out);
    buf_puts(out, ".\n" WORDING_SUPPORT);
}
