/* The tables of a plan: what each size is expected to do. */
#include "adapters/plan_text.h"

#include "adapters/queue_text.h"

#include <math.h>
#include <string.h>

/* ---- columns ------------------------------------------------------------------ */

enum { COLUMNS_MAX = 8, HEAD_LINES = 5 };

/* A column, or three figures under one head: 5, 50 and 95 of a hundred.  A head
 * is broken between words and ends at the foot. */
struct column {
    const char *head;
    size_t columns, gap; /* of a figure; blanks before the column */
    bool three;
};

struct head {
    struct queue_span lines[HEAD_LINES];
    size_t count;
};

static size_t width_of(const struct column *c)
{
    return c->three ? 3 * c->columns : c->columns;
}

static struct head broken(const struct column *c)
{
    struct queue_span rest = { c->head, strlen(c->head) };
    struct head head = { .count = 0 };

    while (head.count < HEAD_LINES &&
           queue_text_line(&rest, width_of(c) - 1, &head.lines[head.count]))
        head.count++;
    return head;
}

/* The line of a head that stands so many above its last; none: blanks. */
static void put_head(struct text *t, const struct column *c,
                     const struct head *head, size_t above)
{
    char said[64] = "";

    if (above < head->count) {
        const struct queue_span *line = &head->lines[head->count - 1 - above];
        size_t len = line->len < sizeof(said) ? line->len : sizeof(said) - 1;

        memcpy(said, line->text, len);
        said[len] = '\0';
    }
    text_left(t, "", c->gap);
    text_right(t, said, width_of(c));
}

/* The last line of all heads: those of three figures say what each is. */
static void put_foot(struct text *t, const struct column *c,
                     const struct head *head)
{
    if (!c->three) {
        put_head(t, c, head, 0);
        return;
    }
    text_left(t, "", c->gap);
    text_right(t, _("5 %"), c->columns);
    text_right(t, _("50 %"), c->columns);
    text_right(t, _("95 %"), c->columns);
}

/* first: of the first column, which is so wide */
static void put_heads(struct text *t, const char *first, size_t columns,
                      const struct column *list, size_t count)
{
    struct head heads[COLUMNS_MAX];
    size_t above = 0;

    for (size_t i = 0; i < count; i++) {
        size_t lines;

        heads[i] = broken(&list[i]);
        lines = list[i].three ? heads[i].count + 1 : heads[i].count;
        above = lines > above + 1 ? lines - 1 : above;
    }
    for (; above > 0; above--) {
        text_left(t, "", columns);
        for (size_t i = 0; i < count; i++)
            put_head(t, &list[i], &heads[i], list[i].three ? above - 1 : above);
        text_end(t);
    }
    text_left(t, first, columns);
    for (size_t i = 0; i < count; i++)
        put_foot(t, &list[i], &heads[i]);
    text_end(t);
}

static void put_three(struct text *t, const struct column *c,
                      const struct plan_range *r, int decimals)
{
    struct words *w = &t->words;

    text_left(t, "", c->gap);
    if (r == NULL) {
        text_left(t, "", width_of(c));
        return;
    }
    if (!isfinite(r->p05) || !isfinite(r->p50) || !isfinite(r->p95)) {
        text_right(t, _("not known"), width_of(c));
        return;
    }
    text_right(t, words_number(w, r->p05, decimals), c->columns);
    text_right(t, words_number(w, r->p50, decimals), c->columns);
    text_right(t, words_number(w, r->p95, decimals), c->columns);
}

/* ---- ladder ------------------------------------------------------------------ */

enum { SIZE = 10 };

enum { FLOW, LESS, IN_TARGET, TIGHT, BELOW, FOURTH, LADDER_COLUMNS };

static const struct column ladder_columns[LADDER_COLUMNS] = {
    [FLOW] = { N_("flow, mL/min"), 6, 0, true },
    [LESS] = { N_("less by, %"), 5, 0, true },
    [IN_TARGET] = { N_("in target, %"), 9, 0, false },
    [TIGHT] = { N_("too tight, %"), 9, 0, false },
    [BELOW] = { N_("below floor, %"), 9, 0, false },
    /* TRANSLATORS: head of a column of nine letters: the flow by the fourth
     * power of the diameter; (1) refers to a note below */
    [FOURTH] = { N_("fourth power (1)"), 10, 0, false },
};

/* The size that the plan names; NAN. */
static double named_mm(const struct plan_document *d)
{
    return d->from->in.stage_count > 0 ? plan_what_now(d).dowel_mm
                                       : d->plan->first_dowel_mm;
}

static bool is_same_size(double a, double b)
{
    return fabs(a - b) < 0.005;
}

static void say_rung(struct text *t, const struct plan_rung *r)
{
    const struct plan_range flow = words_shown(&r->flow_ml_min);
    const struct column *c = ladder_columns;
    struct words *w = &t->words;

    text_put(t, is_same_size(r->dowel_mm, named_mm(t->d)) ? "* "
                : !plan_rung_keeps(t->d, r)               ? "- "
                                                          : "  ");
    text_left(t, words_mm(w, r->dowel_mm), SIZE - 2);
    put_three(t, &c[FLOW], &flow, 0);
    put_three(t, &c[LESS], &r->reduction_pct, 0);
    text_right(t, words_chance(w, r->p_in_zone), c[IN_TARGET].columns);
    text_right(t, words_chance(w, r->p_too_tight), c[TIGHT].columns);
    text_right(t, words_chance(w, r->p_below_floor), c[BELOW].columns);
    text_right(t, words_flow(w, r->fourth_power_ml_min), c[FOURTH].columns);
    text_end(t);
}

static bool any_not_allowed(const struct plan_document *d)
{
    for (size_t i = 0; i < d->plan->rung_count; i++) {
        if (!plan_rung_keeps(d, &d->plan->rungs[i]))
            return true;
    }
    return false;
}

static int decimals_of(double pct)
{
    return fabs(pct - round(pct)) < 0.005 ? 0 : 1;
}

static const char *percent(struct text *t, double chance)
{
    return words_number(&t->words, 100.0 * chance, decimals_of(100.0 * chance));
}

static void say_not_allowed(struct text *t)
{
    const struct plan_limits *l = &t->d->from->in.limits;

    if (!any_not_allowed(t->d))
        return;
    if (t->d->from->in.stage_count > 0)
        text_line(t, words_say(&t->words,
                               _("-  more chance than this site allows of a "
                                 "flow below the floor (%s %%)"),
                               percent(t, l->floor_most)));
    else
        text_line(t, words_say(&t->words,
                               _("-  more chance than this site allows, at a "
                                 "first tie, of too tight a band (%1$s %%) or "
                                 "of a flow below the floor (%2$s %%)"),
                               percent(t, l->tight_most),
                               percent(t, l->floor_first_most)));
}

static void say_ladder_notes(struct text *t)
{
    const char *floor =
        words_number(&t->words, t->d->plan->target.floor_ml_min, 0);

    text_line(
        t, t->d->plan->target.lead == PLAN_BY_HAND
               ? words_say(&t->words,
                           _("Of a hundred such accesses five are expected "
                             "below the first figure, half below the middle "
                             "one, five above the last; flows as the same "
                             "method would read them. In target: the index "
                             "comes to its limit and the flow stays above the "
                             "floor. Too tight: a greater reduction than the "
                             "target. Below floor: less than %s mL/min."),
                           floor)
               : words_say(&t->words,
                           _("Of a hundred such accesses five are expected "
                             "below the first figure, half below the middle "
                             "one, five above the last; flows as the same "
                             "method would read them. Too tight: a greater "
                             "reduction than the target. Below floor: less "
                             "than %s mL/min."),
                           floor));
    text_line(t, _("(1) For comparison only: flow by the fourth power of the "
                   "diameter, dowel over access, as if the access were nothing "
                   "but a narrow tube. A real access is a row of resistances: "
                   "going from 4 to 3 mm does far less than (4/3)^4 = 3.2 "
                   "times."));
}

void text_ladder(struct text *t)
{
    struct column columns[LADDER_COLUMNS];

    for (size_t i = 0; i < LADDER_COLUMNS; i++) {
        columns[i] = ladder_columns[i];
        columns[i].head = gettext(columns[i].head);
    }
    text_title(t, t->d->from->in.stage_count > 0
                      ? _("Each size, if it were tied next")
                      : _("Each size, if it were tied first"));
    put_heads(t, words_say(&t->words, "  %s", _("dowel")), SIZE, columns,
              COUNT(columns));
    for (size_t i = 0; i < t->d->plan->rung_count; i++)
        say_rung(t, &t->d->plan->rungs[i]);
    if (isfinite(named_mm(t->d)))
        text_line(t, _("*  the size that this plan names"));
    say_not_allowed(t);
    say_ladder_notes(t);
}

/* ---- hand -------------------------------------------------------------------- */

enum { BAND = 12, HAND_COLUMNS = 3 };

static void say_hand_row(struct text *t, const struct column *c,
                         const char *name,
                         const struct plan_range *const ranges[HAND_COLUMNS])
{
    text_put(t, "  ");
    text_left(t, name, BAND - 2);
    put_three(t, &c[0], ranges[0], 0);
    put_three(t, &c[1], ranges[1], 0);
    put_three(t, &c[2], ranges[2], 2);
    text_end(t);
}

static void say_hand_notes(struct text *t)
{
    if ((t->d->plan->missing & PLAN_NO_INDEX) != 0)
        text_line(t, _("The index of this hand was never measured: these are "
                       "figures of hands in general, and wide."));
    text_line(t, plan_say_index_low(&t->words, t->d));
    text_line(t, _("Lowest usual: at the lowest mean pressure that is usual "
                   "during dialysis. What the hand shows outweighs these "
                   "figures."));
}

void text_hand(struct text *t)
{
    const struct plan *plan = t->d->plan;
    const struct plan_range *const none[] = { &plan->hand_now_mmhg, NULL,
                                              &plan->index_now };
    const struct column columns[HAND_COLUMNS] = {
        { _("hand, mean mmHg"), 6, 0, true },
        { _("at lowest usual"), 6, 4, true },
        { _("index, finger over other arm"), 6, 4, true },
    };

    text_title(t, _("The hand, as predicted: no arm is called safe"));
    put_heads(t, words_say(&t->words, "  %s", _("band")), BAND, columns,
              HAND_COLUMNS);
    say_hand_row(t, columns, _("no band"), none);
    for (size_t i = 0; i < plan->rung_count; i++) {
        const struct plan_rung *r = &plan->rungs[i];
        const struct plan_range *const ranges[] = { &r->hand_pressure_mmhg,
                                                    &r->hand_lowest_mmhg,
                                                    &r->index };

        say_hand_row(t, columns, words_mm(&t->words, r->dowel_mm), ranges);
    }
    say_hand_notes(t);
}
