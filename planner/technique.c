/* A site's technique from its finished cases; marks as in element.h. */
#include "planner/technique.h"

#include "planner/technique_work.h"

#include <math.h>
#include <string.h>

/* Guesses are drawn wider than whatever may be learnt, but by less than the
 * square root of two: else the weights have no variance (C). */
#define WIDE_OFFSET_SD_MM  0.45
#define WIDE_KNOT_SD_MM    0.18
#define WIDE_STRETCH_SD_MM 0.35

#define SETTLED_MM 1e-6 /* a number moves less than this in a round */

const char *technique_use_word(enum technique_use use)
{
    static const char *const words[TECHNIQUE_USE_COUNT] = {
        [TECHNIQUE_USED] = "used",
        [TECHNIQUE_UNMEASURED] = "unmeasured",
        [TECHNIQUE_GRAFT] = "graft",
        [TECHNIQUE_CONFLICT] = "conflict",
        [TECHNIQUE_UNFIT] = "unfit",
        [TECHNIQUE_NO_BASELINE] = "no-baseline",
        [TECHNIQUE_OLD_BASELINE] = "old-baseline",
        [TECHNIQUE_ORDER] = "order",
        [TECHNIQUE_SIZE] = "size",
        [TECHNIQUE_STEPS] = "steps",
        [TECHNIQUE_OTHER_FORM] = "other-form",
        [TECHNIQUE_BANDED] = "banded",
        [TECHNIQUE_ROOM] = "room",
    };

    return (unsigned)use < TECHNIQUE_USE_COUNT ? words[use] : "?";
}

static double square(double x)
{
    return x * x;
}

/* ---- cases ------------------------------------------------------------------- */

size_t technique_work_size(void)
{
    return sizeof(struct technique_work);
}

void technique_work_init(struct technique_work *w)
{
    lattice_init(&w->usual, PARTICLES_USUAL);
    lattice_init(&w->large, PARTICLES_MAX);
    technique_begin(w, &prior_default);
}

void technique_begin(struct technique_work *w, const struct prior *base)
{
    w->base = base;
    w->wide = *base;
    w->wide.offset_mm.sd = WIDE_OFFSET_SD_MM;
    w->wide.knot_sd_mm = WIDE_KNOT_SD_MM;
    w->wide.stretch_mm.sd = WIDE_STRETCH_SD_MM;
    w->now = (struct theta){ .offset = base->offset_mm.mean,
                             .offset_var = square(base->offset_mm.sd),
                             .knot_var = square(base->knot_sd_mm),
                             .stretch = base->stretch_mm.mean,
                             .stretch_var = square(base->stretch_mm.sd) };
    w->rounds = w->count = 0;
    w->settled = false;
}

static enum technique_use judge(struct technique_work *w,
                                const struct plan_input *in,
                                struct technique_evidence *e)
{
    struct plan_input wide = *in;
    struct plan_fault fault;

    /* What is wanted of the next band says nothing about this one. */
    wide.prior = &w->wide;
    wide.lead = PLAN_BY_SHARE;
    wide.dowel_count = 0;
    if (plan_check(&wide, &fault) != ERR_OK)
        return TECHNIQUE_UNFIT;
    technique_describe(in, e);
    if (in->graft)
        return TECHNIQUE_GRAFT;
    if (e->ties == 0)
        return TECHNIQUE_UNMEASURED;
    return technique_replay(w, &wide, w->guess[w->count]) ? TECHNIQUE_USED
                                                          : TECHNIQUE_CONFLICT;
}

enum technique_use technique_add(struct technique_work *w,
                                 const struct plan_input *in)
{
    struct learnt *c;

    if (w->count == TECHNIQUE_CASES_MAX)
        return TECHNIQUE_ROOM;
    c = &w->cases[w->count];
    *c = (struct learnt){ .evidence = technique_unused(TECHNIQUE_UNFIT) };
    c->evidence.use = judge(w, in, &c->evidence);
    w->count++;
    w->settled = false;
    return c->evidence.use;
}

/* ---- what is believed of each case ------------------------------------------- */

struct sums {
    double w, w2, offset, offset2, knots, stretch, both;
};

static double log_weight(const struct theta *t, const struct guess *g,
                         double stretches)
{
    return (double)g->logw -
           0.5 * (square((double)g->offset - t->offset) / t->offset_var +
                  (double)g->knots / t->knot_var +
                  ((double)g->stretch_both -
                   2.0 * t->stretch * (double)g->stretch +
                   stretches * square(t->stretch)) /
                      t->stretch_var);
}

static void add_guess(struct sums *s, const struct guess *g, double w)
{
    s->w += w;
    s->w2 += w * w;
    s->offset += w * (double)g->offset;
    s->offset2 += w * square((double)g->offset);
    s->knots += w * (double)g->knots;
    s->stretch += w * (double)g->stretch;
    s->both += w * (double)g->stretch_both;
}

static void expect(const struct theta *t, const struct guess *g,
                   struct learnt *c)
{
    double stretches = (double)c->evidence.stretches, most = -INFINITY, mean;
    struct sums s = { 0 };

    for (size_t i = 0; i < GUESSES; i++)
        most = fmax(most, log_weight(t, &g[i], stretches));
    for (size_t i = 0; i < GUESSES; i++) {
        double x = log_weight(t, &g[i], stretches) - most;

        if (x > -30.0) /* what is less does not show in a sum */
            add_guess(&s, &g[i], exp(x));
    }
    mean = s.offset / s.w;
    c->evidence.offset_mm = mean;
    c->evidence.offset_sd_mm = sqrt(fmax(s.offset2 / s.w - mean * mean, 0.0));
    c->evidence.effective = s.w * s.w / s.w2;
    c->knots = s.knots / s.w;
    c->stretch = s.stretch / s.w;
    c->stretch_both = s.both / s.w;
}

/* ---- what is believed of the site -------------------------------------------- */

/* All cases taken together. */
struct total {
    double cases, ties, stretches;
    double offset, offset_both, knots, stretch, stretch_both;
};

static struct total total_of(const struct technique_work *w)
{
    struct total t = { 0 };

    for (size_t i = 0; i < w->count; i++) {
        const struct learnt *c = &w->cases[i];
        const struct technique_evidence *e = &c->evidence;

        if (e->use != TECHNIQUE_USED)
            continue;
        t.cases++;
        t.ties += (double)e->ties;
        t.stretches += (double)e->stretches;
        t.offset += e->offset_mm;
        t.offset_both += square(e->offset_mm) + square(e->offset_sd_mm);
        t.knots += c->knots;
        t.stretch += c->stretch;
        t.stretch_both += c->stretch_both;
    }
    return t;
}

static double clip(double x, double least, double most)
{
    return x < least ? least : x > most ? most : x;
}

/* Of a number that is drawn once a case, or once a stretch. */
struct drawn {
    const struct prior_normal *base;
    double pseudo, count, sum, both;
    double sd_least, sd_most;
};

/*
 * The default counts as pseudo draws that have its mean and spread.  That both
 * distributions are cut off is left out of account: it makes a spread too
 * small by a few per cent at most, and where cases lie at an end, a mean that
 * was made to account for it would run away beyond all of them.
 */
static void maximise(const struct drawn *d, double *mean, double *var)
{
    const struct prior_normal *b = d->base;
    double n = d->pseudo + d->count, both;

    if (!(d->count > 0.0))
        return; /* nothing moves */
    both = d->pseudo * (square(b->sd) + square(b->mean)) + d->both;
    *mean = (d->pseudo * b->mean + d->sum) / n;
    *var =
        clip(both / n - square(*mean), square(d->sd_least), square(d->sd_most));
    *mean = clip(*mean, b->least, b->most);
}

static struct drawn offsets_of(const struct technique_work *w,
                               const struct total *t)
{
    return (struct drawn){
        &w->base->offset_mm, TECHNIQUE_PSEUDO_CASES, t->cases,
        t->offset,           t->offset_both,         OFFSET_SD_LEAST_MM,
        OFFSET_SD_MOST_MM
    };
}

static struct drawn stretches_of(const struct technique_work *w,
                                 const struct total *t)
{
    return (struct drawn){ &w->base->stretch_mm, TECHNIQUE_PSEUDO_STRETCHES,
                           t->stretches,         t->stretch,
                           t->stretch_both,      STRETCH_SD_LEAST_MM,
                           STRETCH_SD_MOST_MM };
}

static double moved(const struct theta *a, const struct theta *b)
{
    double most = fabs(a->offset - b->offset);

    most = fmax(most, fabs(sqrt(a->offset_var) - sqrt(b->offset_var)));
    most = fmax(most, fabs(sqrt(a->knot_var) - sqrt(b->knot_var)));
    most = fmax(most, fabs(a->stretch - b->stretch));
    return fmax(most, fabs(sqrt(a->stretch_var) - sqrt(b->stretch_var)));
}

static void expect_all(struct technique_work *w)
{
    for (size_t i = 0; i < w->count; i++) {
        if (w->cases[i].evidence.use == TECHNIQUE_USED)
            expect(&w->now, w->guess[i], &w->cases[i]);
    }
}

static void one_round(struct technique_work *w)
{
    struct theta before = w->now;
    struct drawn offsets, stretches;
    struct total t;

    expect_all(w);
    t = total_of(w);
    offsets = offsets_of(w, &t);
    stretches = stretches_of(w, &t);
    maximise(&offsets, &w->now.offset, &w->now.offset_var);
    maximise(&stretches, &w->now.stretch, &w->now.stretch_var);
    if (t.ties > 0.0)
        w->now.knot_var = clip(
            (TECHNIQUE_PSEUDO_TIES * square(w->base->knot_sd_mm) + t.knots) /
                (TECHNIQUE_PSEUDO_TIES + t.ties),
            square(KNOT_SD_LEAST_MM), square(KNOT_SD_MOST_MM));
    w->settled = moved(&before, &w->now) < SETTLED_MM;
    w->rounds++;
}

bool technique_round(struct technique_work *w, size_t rounds)
{
    for (size_t i = 0; i < rounds && !w->settled; i++) {
        if (w->rounds >= TECHNIQUE_ROUNDS_MAX)
            return true;
        one_round(w);
    }
    return w->settled || w->rounds >= TECHNIQUE_ROUNDS_MAX;
}

void technique_learn(const struct plan_input *cases, size_t count,
                     const struct prior *base, struct technique_work *w,
                     struct technique *out)
{
    technique_begin(w, base);
    for (size_t i = 0; i < count; i++) {
        if (technique_add(w, &cases[i]) == TECHNIQUE_ROOM)
            break;
    }
    while (!technique_round(w, TECHNIQUE_ROUNDS_MAX)) {
    }
    technique_result(w, out);
}
