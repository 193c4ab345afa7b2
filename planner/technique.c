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

/* Guard rails (A): a site is not believed to be surer than this, nor less sure
 * than can be weighed. */
#define OFFSET_SD_LEAST_MM  0.10
#define OFFSET_SD_MOST_MM   0.60
#define KNOT_SD_LEAST_MM    0.05
#define KNOT_SD_MOST_MM     0.25
#define STRETCH_SD_LEAST_MM 0.10
#define STRETCH_SD_MOST_MM  0.45

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

/* ---- a normal distribution that is cut off ----------------------------------- */

struct moments {
    double mean, var;
};

/* Mean and variance of what is left of it; Johnson, Kotz and Balakrishnan,
 * Continuous Univariate Distributions 1, 13.10 (M). */
static struct moments cut_moments(double mean, double var, double least,
                                  double most)
{
    const double scale = 0.39894228040143267794; /* 1 / sqrt(2 pi) */
    double sd = sqrt(var), a = (least - mean) / sd, b = (most - mean) / sd;
    double fa = scale * exp(-0.5 * a * a), fb = scale * exp(-0.5 * b * b);
    double within = 0.5 * (erfc(-b * sqrt(0.5)) - erfc(-a * sqrt(0.5)));
    double shift = (fa - fb) / within;

    return (struct moments){ mean + sd * shift,
                             var * (1.0 + (a * fa - b * fb) / within -
                                    shift * shift) };
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
                                const struct technique_evidence *e)
{
    struct plan_input wide = *in;
    struct plan_fault fault;

    /* What is wanted of the next band says nothing about this one. */
    wide.prior = &w->wide;
    wide.lead = PLAN_BY_SHARE;
    wide.dowel_count = 0;
    if (plan_check(&wide, &fault) != ERR_OK)
        return TECHNIQUE_UNFIT;
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
    *c = (struct learnt){ .knots = 0.0 };
    technique_describe(in, &c->evidence);
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

/* The default counts as pseudo draws that have its mean and spread.  What a
 * cut distribution shows is matched, not what it would be without its ends. */
static void maximise(const struct drawn *d, double *mean, double *var)
{
    const struct prior_normal *b = d->base;
    struct moments base, now;
    double n = d->pseudo + d->count, seen_mean, seen_var;

    if (!(d->count > 0.0))
        return; /* nothing moves */
    base = cut_moments(b->mean, square(b->sd), b->least, b->most);
    now = cut_moments(*mean, *var, b->least, b->most);
    seen_mean = (d->pseudo * base.mean + d->sum) / n;
    seen_var = (d->pseudo * (base.var + square(base.mean)) + d->both) / n -
               square(seen_mean);
    *mean = clip(*mean + seen_mean - now.mean, b->least, b->most);
    *var = clip(*var * seen_var / now.var, square(d->sd_least),
                square(d->sd_most));
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

/* ---- result ------------------------------------------------------------------- */

/*
 * Standard errors from what each case would move (its score), as Meilijson, J
 * R Stat Soc B 1989;51:127-38 (M); the default adds what so many draws would.
 */
struct scores {
    double offset, offset_var, knot_var, stretch, stretch_var;
};

static struct scores scores_of(const struct technique_work *w)
{
    const struct theta *t = &w->now;
    struct scores s = { 0 };

    for (size_t i = 0; i < w->count; i++) {
        const struct learnt *c = &w->cases[i];
        const struct technique_evidence *e = &c->evidence;
        double n = (double)e->stretches, off, both;

        if (e->use != TECHNIQUE_USED)
            continue;
        off = e->offset_mm - t->offset;
        both = square(off) + square(e->offset_sd_mm);
        s.offset += square(off / t->offset_var);
        s.offset_var += square((both / t->offset_var - 1.0) / t->offset_var);
        s.knot_var +=
            square((c->knots / t->knot_var - (double)e->ties) / t->knot_var);
        off = c->stretch - n * t->stretch;
        both = c->stretch_both - 2.0 * t->stretch * c->stretch +
               n * square(t->stretch);
        s.stretch += square(off / t->stretch_var);
        s.stretch_var += square((both / t->stretch_var - n) / t->stretch_var);
    }
    return s;
}

static struct technique_number mean_of(double mean, double var, double score,
                                       double pseudo)
{
    return (struct technique_number){ mean, 1.0 / sqrt(score + pseudo / var) };
}

/* Of a spread: its variance has the score s / 2. */
static struct technique_number spread_of(double var, double score,
                                         double pseudo)
{
    double information = score / 4.0 + pseudo / (2.0 * var * var);

    return (struct technique_number){ sqrt(var), 1.0 / sqrt(information) /
                                                     (2.0 * sqrt(var)) };
}

static void fill_numbers(const struct technique_work *w, struct technique *out)
{
    const struct theta *t = &w->now;
    struct scores s = scores_of(w);

    out->offset_mm =
        mean_of(t->offset, t->offset_var, s.offset, TECHNIQUE_PSEUDO_CASES);
    out->offset_sd_mm =
        spread_of(t->offset_var, s.offset_var, TECHNIQUE_PSEUDO_CASES);
    out->knot_sd_mm = spread_of(t->knot_var, s.knot_var, TECHNIQUE_PSEUDO_TIES);
    out->stretch_mm = mean_of(t->stretch, t->stretch_var, s.stretch,
                              TECHNIQUE_PSEUDO_STRETCHES);
    out->stretch_sd_mm =
        spread_of(t->stretch_var, s.stretch_var, TECHNIQUE_PSEUDO_STRETCHES);
}

/* What is left as it was keeps every bit. */
static double spread(double var, double base)
{
    return var > square(base) || var < square(base) ? sqrt(var) : base;
}

static void fill_prior(const struct technique_work *w, struct prior *out)
{
    const struct prior *base = w->base;

    *out = *base;
    memset(out->name, 0, sizeof(out->name));
    memcpy(out->name, "site", 4);
    out->offset_mm.mean = w->now.offset;
    out->offset_mm.sd = spread(w->now.offset_var, base->offset_mm.sd);
    out->knot_sd_mm = spread(w->now.knot_var, base->knot_sd_mm);
    out->stretch_mm.mean = w->now.stretch;
    out->stretch_mm.sd = spread(w->now.stretch_var, base->stretch_mm.sd);
}

static bool is_end(double x, double least, double most)
{
    return !(x > least && x < most);
}

static unsigned held_of(const struct technique_work *w)
{
    const struct theta *t = &w->now;
    const struct prior_normal *o = &w->base->offset_mm;
    const struct prior_normal *s = &w->base->stretch_mm;
    const struct {
        bool held;
        unsigned bit;
    } rows[] = {
        { is_end(t->offset, o->least, o->most), TECHNIQUE_HELD_OFFSET },
        { is_end(t->offset_var, square(OFFSET_SD_LEAST_MM),
                 square(OFFSET_SD_MOST_MM)),
          TECHNIQUE_HELD_OFFSET_SD },
        { is_end(t->knot_var, square(KNOT_SD_LEAST_MM),
                 square(KNOT_SD_MOST_MM)),
          TECHNIQUE_HELD_KNOT },
        { is_end(t->stretch, s->least, s->most), TECHNIQUE_HELD_STRETCH },
        { is_end(t->stretch_var, square(STRETCH_SD_LEAST_MM),
                 square(STRETCH_SD_MOST_MM)),
          TECHNIQUE_HELD_STRETCH_SD },
    };
    unsigned set = 0;

    for (size_t i = 0; i < COUNT(rows); i++)
        set |= rows[i].held ? rows[i].bit : 0;
    return set;
}

/* How much of the offset of a case is its own, and not the site's: so many
 * cases known without error it is worth. */
static double own_part(const struct technique_work *w,
                       const struct technique_evidence *e)
{
    return clip(1.0 - square(e->offset_sd_mm) / w->now.offset_var, 0.0, 1.0);
}

static void fill_evidence(const struct technique_work *w, struct technique *out)
{
    double all = TECHNIQUE_PSEUDO_CASES;

    for (size_t i = 0; i < w->count; i++) {
        struct technique_evidence *e = &out->evidence[i];

        *e = w->cases[i].evidence;
        if (e->use != TECHNIQUE_USED)
            continue;
        e->part = own_part(w, e);
        all += e->part;
        out->case_count++;
        out->tie_count += e->ties;
        out->stretch_count += e->stretches;
    }
    for (size_t i = 0; i < w->count; i++)
        out->evidence[i].part /= all;
    out->default_part = TECHNIQUE_PSEUDO_CASES / all;
}

void technique_result(const struct technique_work *w, struct technique *out)
{
    memset(out, 0, sizeof(*out));
    out->given = w->count;
    out->rounds = w->rounds;
    out->settled = w->settled;
    fill_prior(w, &out->prior);
    fill_numbers(w, out);
    fill_evidence(w, out);
    out->held = held_of(w);
    out->proposed = out->settled && out->case_count >= TECHNIQUE_CASES_LEAST &&
                    prior_check(&out->prior) == ERR_OK;
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
