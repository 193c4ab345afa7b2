#include "tests/cohort/keep.h"

#include "adapters/civil.h"

#include <math.h>

enum { MARGIN_STEP_D = 14 };
#define FAR_PCT (-60.0) /* further inside than this is not written */

static int64_t day_s(const struct cohort *c, double day)
{
    return (c->o.end_day - c->o.days) * DAY_S + (int64_t)llround(day * DAY_S);
}

static void instant(const char *key, int64_t at_s, struct buf *out)
{
    buf_printf(out, ",\"%s\":\"", key);
    write_instant(at_s, out);
    buf_puts(out, "\"");
}

static void head(const char *kind, const struct person *p, struct buf *out)
{
    buf_printf(out,
               "{\"kind\":\"%s\",\"patient\":\"c-%05d\","
               "\"access\":\"acc-%05d\"",
               kind, p->number, p->number);
}

static enum err patient_out(const struct cohort *c, const struct person *p,
                            struct buf *work, FILE *out)
{
    double from = fmax(0.0, p->created);

    head("patient", p, work);
    buf_printf(work,
               ",\"type\":\"%s\",\"unit\":\"%s\",\"flow\":\"%s\","
               "\"hand\":\"%s\",\"flow_every_days\":%.0f,"
               "\"observed_days\":%.1f",
               sign_info(p->type)->code, demo_unit(p->unit)->name,
               flow_story_word(p->flow_story), hand_story_word(p->hand_story),
               p->flow_every_d, c->o.days - from);
    instant("from", day_s(c, from), work);
    instant("to", day_s(c, c->o.days), work);
    if (p->goes_over < NEVER)
        instant("duplex_from", day_s(c, p->goes_over), work);
    buf_puts(work, "}");
    return line_out(work, out);
}

/* A rule is true for a while. */
struct stretch {
    double from, to; /* to: NEVER if it still is */
    double target;   /* first day so far beyond that it must be found */
    double peak_pct, value, limit;
};

static enum err stretch_out(const struct cohort *c, const struct person *p,
                            const struct gauge *g, const struct stretch *s,
                            struct buf *work, FILE *out)
{
    head("state", p, work);
    buf_printf(work,
               ",\"rule\":\"%s\",\"quantity\":\"%s\",\"case\":%s,"
               "\"value\":%.3f,\"limit\":%.3f,\"beyond_pct\":%.1f",
               g->rule, g->quantity,
               g->is_case == NULL || g->is_case(p) ? "true" : "false", s->value,
               s->limit, s->peak_pct);
    instant("from", day_s(c, s->from), work);
    if (s->to < NEVER)
        instant("to", day_s(c, s->to), work);
    if (s->target < NEVER)
        instant("target_from", day_s(c, s->target), work);
    buf_puts(work, "}");
    return line_out(work, out);
}

static void extend(const struct gauge *g, struct stretch *s, double day,
                   double pct, double value, double limit)
{
    if (s->from >= NEVER)
        *s = (struct stretch){
            .from = day, .to = NEVER, .target = NEVER, .peak_pct = -INFINITY
        };
    if (s->target >= NEVER && pct >= g->target_pct)
        s->target = day;
    if (pct > s->peak_pct) {
        s->peak_pct = pct;
        s->value = value;
        s->limit = limit;
    }
}

static enum err states_out(const struct cohort *c, const struct person *p,
                           const struct gauge *g, struct buf *work, FILE *out)
{
    struct stretch s = { .from = NEVER };
    enum err e = ERR_OK;

    for (int i = 0; i <= c->o.days && e == ERR_OK; i++) {
        double day = i + 0.5, value = NAN, limit = NAN;
        double pct =
            i < c->o.days ? g->beyond(p, day, &value, &limit) : -INFINITY;

        if (pct >= 0.0) {
            extend(g, &s, day, pct, value, limit);
            continue;
        }
        if (s.from >= NEVER)
            continue;
        s.to = i < c->o.days ? day : NEVER;
        e = stretch_out(c, p, g, &s, work, out);
        s.from = NEVER;
    }
    return e;
}

/* Where a limit comes near, how near the truth was to it, over time. */
static enum err margins_out(const struct cohort *c, const struct person *p,
                            const struct gauge *g, struct buf *work, FILE *out)
{
    bool near = false;

    head("margin", p, work);
    buf_printf(work, ",\"rule\":\"%s\",\"step_days\":%d,\"pct\":[", g->rule,
               MARGIN_STEP_D);
    for (int day = 0; day < c->o.days; day += MARGIN_STEP_D) {
        double value, limit;
        double pct = g->beyond(p, day, &value, &limit);

        buf_puts(work, day > 0 ? "," : "");
        if (isfinite(pct))
            buf_printf(work, "%.1f", pct);
        else
            buf_puts(work, "null");
        near = near || pct > FAR_PCT;
    }
    buf_puts(work, "]}");
    if (near)
        return line_out(work, out);
    buf_empty(work);
    return ERR_OK;
}

enum err truth_person(const struct cohort *c, size_t i, struct buf *work,
                      FILE *out)
{
    const struct person *p = &c->people[i];
    size_t count;
    const struct gauge *table = gauges(&count);
    enum err e = patient_out(c, p, work, out);

    for (size_t k = 0; k < count && e == ERR_OK; k++) {
        e = states_out(c, p, &table[k], work, out);
        if (e == ERR_OK && table[k].graded)
            e = margins_out(c, p, &table[k], work, out);
    }
    return e;
}

static enum err sign_out(const struct cohort *c, const struct taking *t,
                         struct buf *work, FILE *out)
{
    const struct event_info *info = event_info(t->event->kind);

    if (info->rule[0] == '\0')
        return ERR_OK;
    head("sign", &c->people[t->person], work);
    buf_printf(work, ",\"rule\":\"%s\",\"sign\":\"%s\",\"immediate\":%s",
               info->rule, info->word, info->immediate ? "true" : "false");
    instant("at", t->at_s, work);
    instant("arrives", t->arrives_s, work);
    instant("to", t->at_s + (int64_t)info->lasts_d * DAY_S, work);
    buf_puts(work, "}");
    return line_out(work, out);
}

static enum err reading_out(const struct cohort *c, const struct taking *t,
                            struct buf *work, FILE *out)
{
    head("reading", &c->people[t->person], work);
    buf_printf(work, ",\"quantity\":\"%s\",\"valid\":%s", t->quantity,
               t->why == NULL ? "true" : "false");
    if (t->why != NULL)
        buf_printf(work, ",\"why\":\"%s\"", t->why);
    if (t->method != METHOD_UNSTATED)
        buf_printf(work, ",\"method\":\"%s\"", method_code(t->method));
    instant("at", t->at_s, work);
    instant("arrives", t->arrives_s, work);
    buf_puts(work, "}");
    return line_out(work, out);
}

enum err cohort_truth(const struct cohort *c, struct buf *work, FILE *out)
{
    int64_t end_s = c->o.end_day * DAY_S;
    enum err e = ERR_OK;

    for (size_t i = 0; i < (size_t)c->o.patients && e == ERR_OK; i++)
        e = truth_person(c, i, work, out);
    for (size_t i = 0; i < c->taking_count && e == ERR_OK; i++) {
        const struct taking *t = &c->takings[i];

        if (t->arrives_s >= end_s)
            continue;
        e = t->event != NULL ? sign_out(c, t, work, out)
                             : reading_out(c, t, work, out);
    }
    return e;
}
