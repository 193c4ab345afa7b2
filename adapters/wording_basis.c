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

    buf_puts(out, "Readings used: ");
    for (size_t i = from; i < f->evidence_count; i++) {
        if (i > from)
            buf_puts(out, "; ");
        wording_reading(&w->history->readings[f->evidence[i]], w->zone, out);
    }
    if (from > 0)
        buf_printf(out, "; and %zu %searlier", from,
                   f->evidence_count == EVIDENCE_MAX ? "or more " : "");
    buf_puts(out, ".\n");
}

static void say_block(const struct wording *w, const struct finding *f,
                      struct named_sources *named, struct buf *out)
{
    buf_printf(out, "%s, %s%s\n", rule_info(f->rule)->id,
               rule_info(f->rule)->name, say_state(f));
    say_readings(w, f, out);
    say_rows(w, f, named, out);
    say_until(w, f, out);
}

void wording_basis(const struct wording *w, struct buf *out)
{
    struct named_sources named = { { false } };

    if (seen_leading(w) == NULL)
        return;
    buf_puts(out, "What this suggestion rests on, as of ");
    say_date(w, w->history->now_s, out);
    buf_puts(out, seen_late(w, "\nSeen", out) ? ".\n" : "\n");
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f) && !seen_is_told_here(w, f))
            continue;
        buf_puts(out, "\n");
        say_block(w, f, &named, out);
    }
    buf_puts(out, "\nIt changes as well when a reading is corrected or "
                  "withdrawn.\n");
    say_unknowns(w, out);
    say_cautions(w, out);
    say_sources(w, &named, out);
    say_policy(w, out);
    buf_puts(
        out,
        "This is a suggestion made by fixed rules from the readings listed "
        "above. It is not a diagnosis. A qualified clinician must examine "
        "the patient and decide; local policy stands above it.");
}
