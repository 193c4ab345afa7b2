/* The band plan of a Task in a line: what is proposed, what is missing; what
 * changed, and why it was taken out. */
#include "adapters/plan_words.h"
#include "adapters/wording_work.h"

#include <math.h>

static void say_dowel(double dowel_mm, struct buf *out)
{
    buf_printf(out, "a %.4g mm dowel (measured outer diameter)", dowel_mm);
}

/* "mean-pressure" as "mean pressure" */
static void say_word(const char *word, struct buf *out)
{
    for (; *word != '\0'; word++)
        buf_printf(out, "%c", *word == '-' ? ' ' : *word);
}

static void say_item(const char *word, bool *any, struct buf *out)
{
    buf_puts(out, *any ? ", " : "; missing: ");
    say_word(word, out);
    *any = true;
}

static void say_missing(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_CONDITION);
    bool any = false;

    for (size_t i = 0; i < p->count; i++) {
        if (d->from->readiness.conditions[p->rows[i].key] == CONDITION_MISSING)
            say_item(p->rows[i].word, &any, out);
    }
    p = plan_phrases(PLAN_PHRASES_MISSING);
    for (size_t i = 0; i < p->count; i++) {
        if ((d->plan->missing & p->rows[i].key) != 0)
            say_item(p->rows[i].word, &any, out);
    }
}

static void say_next(const struct plan_document *d, struct buf *out)
{
    struct plan_what_now now = plan_what_now(d);

    if (!now.known) {
        buf_puts(out, "no advice, see its warnings");
        return;
    }
    switch (now.action) {
    case PLAN_ACCEPT:
        buf_puts(out, "accept, if the thrill is present and the hand is not "
                      "worse");
        break;
    case PLAN_TIGHTEN:
        buf_puts(out, "tie over ");
        say_dowel(now.dowel_mm, out);
        break;
    case PLAN_LOOSEN:
        buf_puts(out, "cut the band");
        if (isfinite(now.dowel_mm)) {
            buf_puts(out, " and tie over ");
            say_dowel(now.dowel_mm, out);
        }
        break;
    case PLAN_STRETCH:
        buf_puts(out, "stretch it with a balloon 1 mm larger than the dowel");
        break;
    case PLAN_REMEASURE:
    case PLAN_ACTION_COUNT:
        buf_puts(out, "measure again before anything else");
        break;
    }
}

/* "step 2, tied over a 3.5 mm dowel, 1350 mL/min measured; next: ..." */
static void say_case(const struct plan_document *d, struct buf *out)
{
    size_t last = d->from->in.stage_count - 1;
    const struct plan_stage *s = &d->from->in.stages[last];
    double measured =
        last < d->plan->seen_count ? d->plan->seen[last].measured_ml_min : NAN;

    buf_printf(out, "step %zu, ", last + 1);
    if (s->step == PLAN_TIED) {
        buf_puts(out, "tied over ");
        say_dowel(s->dowel_mm, out);
    } else {
        buf_puts(out, s->step == PLAN_STRETCHED ? "stretched" : "released");
    }
    if (isfinite(measured))
        buf_printf(out, ", %.0f mL/min measured (mean of %zu)", measured,
                   s->flow_count);
    else
        buf_puts(out, ", no flow measured after it so far");
    buf_puts(out, "; next by the plan: ");
    /* as the lowest row of every card says */
    if (s->weak_thrill || measured < d->plan->target.floor_ml_min)
        buf_puts(out, "loosen the band now, then measure");
    else if (isfinite(measured))
        say_next(d, out);
    else
        buf_puts(out, "measure the flow");
}

static void say_first(const struct plan_document *d, struct buf *out)
{
    if (isfinite(d->plan->first_dowel_mm)) {
        buf_puts(out, "first ");
        say_dowel(d->plan->first_dowel_mm, out);
        return;
    }
    buf_puts(out, "no size is named");
}

void wording_plan_line(const struct plan_document *d, struct buf *out)
{
    if (d->from->in.stage_count > 0) {
        say_case(d, out);
    } else {
        buf_puts(out, "provisional, ");
        say_first(d, out);
    }
    say_missing(d, out);
}

static void say_day(const struct plan_document *d, struct buf *out)
{
    struct wording w = { .zone = d->zone };

    say_date(&w, d->history->now_s, out);
}

void wording_plan_attached(const struct plan_document *d, struct buf *out)
{
    buf_puts(out, "Band plan attached, as of ");
    say_day(d, out);
    buf_puts(out, ": ");
    wording_plan_line(d, out);
    buf_puts(out, ". What holds now stands in the attachment and in the newest "
                  "note.");
}

void wording_plan_renewed(const struct plan_document *d, const char *change,
                          struct buf *out)
{
    buf_puts(out, "Band plan renewed on ");
    say_day(d, out);
    if (change[0] != '\0')
        buf_printf(out, ", changed: %s", change);
    buf_puts(out, ". Now: ");
    wording_plan_line(d, out);
    buf_puts(out, ". The operator measures and decides; local policy stands "
                  "above it.");
}

static void say_exclusions(unsigned set, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_EXCLUSION);
    bool any = false;

    for (size_t i = 0; i < p->count; i++) {
        if ((p->rows[i].key & set) == 0)
            continue;
        buf_puts(out, any ? "; " : "");
        buf_puts(out, p->rows[i].text);
        any = true;
    }
}

void wording_plan_gone(const struct plan_document *d, const char *why,
                       struct buf *out)
{
    buf_puts(out, "The band plan was taken out on ");
    say_day(d, out);
    buf_puts(out, " and is not to be used: ");
    if (why != NULL)
        buf_puts(out, why);
    else if (d->plan != NULL) /* computed, and not to be offered by itself */
        say_exclusions(EXCLUDE_DISTAL, out);
    else if (d->from->offer == PLAN_EXCLUDED)
        say_exclusions(d->from->readiness.exclusions, out);
    else
        buf_puts(out, plan_offer_phrase(d->from->offer)->text);
    buf_puts(out, ". What it said stands in the earlier versions of this "
                  "Task.");
}
