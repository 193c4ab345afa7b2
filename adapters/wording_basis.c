/*
 * What a suggestion rests on: for each rule its readings and the rows of the
 * policy (see wording_rows.c); then what would change it, what was not known,
 * cautions, sources, the policy.
 */
#include "adapters/wording_work.h"

void say_readings(const struct wording *w, const struct finding *f,
                  struct buf *out)
{
    enum { LISTED_MAX = 16 };
    size_t from =
        f->evidence_count > LISTED_MAX ? f->evidence_count - LISTED_MAX : 0;

    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    for (size_t i = from; i < f->evidence_count; i++) {
        buf_puts(list, i > from ? list_semicolon() : "");
        wording_reading(&w->history->readings[f->evidence[i]], w->zone, list);
    }
    fill_count(&s, "count", (long long)from);
    fill_say(&s,
             from == 0 ? _("Readings used: {list}.")
             : f->evidence_count == EVIDENCE_MAX
                 ? _("Readings used: {list}; and {count} or more earlier.")
                 : _("Readings used: {list}; and {count} earlier."),
             out);
    buf_puts(out, "\n");
}

static void say_block(const struct wording *w, const struct finding *f,
                      struct named_sources *named, struct buf *out)
{
    buf_printf(out, "%s, %s%s\n", rule_info(f->rule)->id,
               wording_name(rule_info(f->rule)->name), say_state(f));
    say_readings(w, f, out);
    say_rows(w, f, named, out);
    say_until(w, f, out);
}

void wording_basis(const struct wording *w, struct buf *out)
{
    struct named_sources named = { { false } };
    struct fill s = { 0 };

    if (seen_leading(w) == NULL)
        return;
    say_date(w, w->history->now_s, fill_at(&s, "date"));
    fill_say(&s, _("What this suggestion rests on, as of {date}"), out);
    seen_late(w, false, out);
    buf_puts(out, "\n");
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f) && !seen_is_told_here(w, f))
            continue;
        buf_puts(out, "\n");
        say_block(w, f, &named, out);
    }
    buf_printf(out, "\n%s\n",
               _("It changes as well when a reading is corrected or "
                 "withdrawn."));
    say_unknowns(w, out);
    say_cautions(w, out);
    say_sources(w, &named, out);
    say_policy(w, out);
    buf_puts(out,
             _("This is a suggestion made by fixed rules from the readings "
               "listed above. It is not a diagnosis. A qualified "
               "clinician must examine the patient and decide; local "
               "policy stands above it."));
}
