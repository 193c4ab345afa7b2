/* The band plan of a Task in a line: what is proposed, what is missing; what
 * changed, and why it was taken out. */
#include "adapters/plan_words.h"
#include "adapters/wording_work.h"

#include <math.h>
#include <string.h>

static void say_dowel(double dowel_mm, struct buf *out)
{
    struct fill s = { 0 };

    say_plain(fill_at(&s, "size"), dowel_mm, 4);
    fill_say(&s, _("a {size} mm dowel (measured outer diameter)"), out);
}

/* The stable words are short: "mean-pressure" as "mean pressure". */
static void say_word(const struct plan_phrase *row, struct buf *out)
{
    char name[64];
    size_t len = strlen(row->word);

    if (len >= sizeof(name))
        len = sizeof(name) - 1;
    memcpy(name, row->word, len);
    name[len] = '\0';
    for (char *c = name; *c != '\0'; c++)
        *c = (char)(*c == '-' ? ' ' : *c);
    buf_puts(out, wording_name(name));
}

static void say_item(const struct plan_phrase *row, struct buf *out)
{
    buf_puts(out, out->len > 0 ? list_comma() : "");
    say_word(row, out);
}

static void say_missing(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_CONDITION);

    for (size_t i = 0; i < p->count; i++) {
        if (d->from->readiness.conditions[p->rows[i].key] == CONDITION_MISSING)
            say_item(&p->rows[i], out);
    }
    p = plan_phrases(PLAN_PHRASES_MISSING);
    for (size_t i = 0; i < p->count; i++) {
        if ((d->plan->missing & p->rows[i].key) != 0)
            say_item(&p->rows[i], out);
    }
}

static void say_action(const struct plan_document *d, struct buf *out)
{
    struct plan_what_now now = plan_what_now(d);
    struct fill s = { 0 };

    if (!now.known) {
        buf_puts(out, _("no advice, see its warnings"));
        return;
    }
    say_dowel(now.dowel_mm, fill_at(&s, "dowel"));
    switch (now.action) {
    case PLAN_ACCEPT:
        fill_say(&s,
                 _("accept, if the thrill is present and the hand is not "
                   "worse"),
                 out);
        break;
    case PLAN_TIGHTEN:
        fill_say(&s, _("tie over {dowel}"), out);
        break;
    case PLAN_LOOSEN:
        fill_say(&s,
                 isfinite(now.dowel_mm) ? _("cut the band and tie over {dowel}")
                                        : _("cut the band"),
                 out);
        break;
    case PLAN_STRETCH:
        fill_say(&s, _("stretch it with a balloon 1 mm larger than the dowel"),
                 out);
        break;
    case PLAN_REMEASURE:
    case PLAN_ACTION_COUNT:
        fill_say(&s, _("measure again before anything else"), out);
        break;
    }
}

/* What was done in the newest step. */
static void say_step(const struct plan_stage *stage, struct buf *out)
{
    struct fill s = { 0 };

    say_dowel(stage->dowel_mm, fill_at(&s, "dowel"));
    fill_say(&s,
             stage->step == PLAN_TIED        ? _("tied over {dowel}")
             : stage->step == PLAN_STRETCHED ? _("stretched")
                                             : _("released"),
             out);
}

/* "step 2, tied over a 3.5 mm dowel, 1350 mL/min measured; next: ..." */
static void say_case(const struct plan_document *d, struct buf *out)
{
    size_t last = d->from->in.stage_count - 1;
    const struct plan_stage *stage = &d->from->in.stages[last];
    double measured =
        last < d->plan->seen_count ? d->plan->seen[last].measured_ml_min : NAN;
    struct fill s = { 0 };
    struct buf *next;

    fill_count(&s, "number", (long long)last + 1);
    say_step(stage, fill_at(&s, "done"));
    fill_number(&s, "flow", measured, 0);
    fill_count(&s, "count", (long long)stage->flow_count);
    next = fill_at(&s, "next");
    /* as the lowest row of every card says */
    if (stage->weak_thrill || measured < d->plan->target.floor_ml_min)
        buf_puts(next, _("loosen the band now, then measure"));
    else if (isfinite(measured))
        say_action(d, next);
    else
        buf_puts(next, _("measure the flow"));
    fill_say(&s,
             isfinite(measured)
                 ? _("step {number}, {done}, {flow} mL/min measured (mean of "
                     "{count}); next by the plan: {next}")
                 : _("step {number}, {done}, no flow measured after it so far; "
                     "next by the plan: {next}"),
             out);
}

static void say_first(const struct plan_document *d, struct buf *out)
{
    struct fill s = { 0 };

    say_dowel(d->plan->first_dowel_mm, fill_at(&s, "dowel"));
    fill_say(&s,
             isfinite(d->plan->first_dowel_mm)
                 ? _("provisional, first {dowel}")
                 : _("provisional, no size is named"),
             out);
}

void wording_plan_line(const struct plan_document *d, struct buf *out)
{
    struct fill s = { 0 };
    struct buf *list = fill_at(&s, "list");

    if (d->from->in.stage_count > 0)
        say_case(d, out);
    else
        say_first(d, out);
    say_missing(d, list);
    buf_puts(out, list->len > 0 ? list_semicolon() : "");
    fill_say(&s, list->len > 0 ? _("missing: {list}") : "", out);
}

static void say_day(const struct plan_document *d, struct buf *out)
{
    struct wording w = { .zone = d->zone };

    say_date(&w, d->history->now_s, out);
}

void wording_plan_attached(const struct plan_document *d, struct buf *out)
{
    struct fill s = { 0 };

    say_day(d, fill_at(&s, "date"));
    wording_plan_line(d, fill_at(&s, "line"));
    fill_say(
        &s,
        _("Band plan attached, as of {date}: {line}. What holds now stands "
          "in the attachment and in the newest note."),
        out);
}

void wording_plan_renewed(const struct plan_document *d, const char *change,
                          struct buf *out)
{
    struct fill s = { 0 };

    say_day(d, fill_at(&s, "date"));
    fill_text(&s, "change", change);
    wording_plan_line(d, fill_at(&s, "line"));
    fill_say(&s,
             change[0] != '\0'
                 ? _("Band plan renewed on {date}, changed: {change}. Now: "
                     "{line}. The operator measures and decides; local policy "
                     "stands above it.")
                 : _("Band plan renewed on {date}. Now: {line}. The operator "
                     "measures and decides; local policy stands above it."),
             out);
}

static void say_exclusions(unsigned set, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_EXCLUSION);
    bool any = false;

    for (size_t i = 0; i < p->count; i++) {
        if ((p->rows[i].key & set) == 0)
            continue;
        buf_puts(out, any ? list_semicolon() : "");
        buf_puts(out, wording_name(p->rows[i].text));
        any = true;
    }
}

void wording_plan_gone(const struct plan_document *d, const char *why,
                       struct buf *out)
{
    struct fill s = { 0 };
    struct buf *ground;

    say_day(d, fill_at(&s, "date"));
    ground = fill_at(&s, "why");
    if (why != NULL)
        buf_puts(ground, why);
    else if (d->plan != NULL) /* computed, and not to be offered by itself */
        say_exclusions(EXCLUDE_DISTAL, ground);
    else if (d->from->offer == PLAN_EXCLUDED)
        say_exclusions(d->from->readiness.exclusions, ground);
    else
        buf_puts(ground, wording_name(plan_offer_phrase(d->from->offer)->text));
    fill_say(&s,
             _("The band plan was taken out on {date} and is not to be used: "
               "{why}. What it said stands in the earlier versions of this "
               "Task."),
             out);
}

const char *wording_plan_emergency(void)
{
    return _("a sign of emergency of the hand stands, and its assessment comes "
             "first");
}

const char *wording_plan_record(void)
{
    /* TRANSLATORS: begins with a blank */
    return _(" The attached band plan is the record of a finished case, and no "
             "advice for another.");
}

const char *wording_plan_ended(void)
{
    /* TRANSLATORS: begins with a blank */
    return _(" The band plan was taken out with its grounds; what it said "
             "stands in the earlier versions of this Task.");
}
