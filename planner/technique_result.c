/* What was learnt of a technique, as numbers for people and as a prior. */
#include "planner/technique_work.h"

#include <math.h>
#include <string.h>

static double square(double x)
{
    return x * x;
}

static double clip(double x, double least, double most)
{
    return x < least ? least : x > most ? most : x;
}

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
