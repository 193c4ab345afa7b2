#include "tests/cohort/keep.h"

#include <math.h>

/*
 * The monthly session: flow with its blood pressure, dose, recirculation,
 * cardiac output; and the fortnightly static pressure.
 */

/* Of two sessions 14.2 %, of two readings in one session 7.7 %: what a
 * session adds is the root of the difference of their squares. */
#define CV_SESSION 0.1193
#define CV_WITHIN  0.077
#define CV_DUPLEX  0.116
/* How much of what a session adds goes with its blood pressure. */
#define WITH_PRESSURE 0.3
#define CV_PRESSURE   0.07
#define CV_DOSE       0.06
#define CV_OUTPUT     0.10
#define CV_RATIO      0.10
#define SPREAD_MOST   0.20 /* replicates further apart do not confirm */

enum { EARLY_MIN = 40, LATE_MIN = 190, FIRST_WEEKS_D = 42 };

/* A session of a flow, while it is written down. */
struct flowing {
    int day;
    int64_t start_s, at_s;
    bool late;
    double systolic_mmhg; /* at the start */
    double late_share;    /* of the pressure, at the measurement */
    double flow_ml_min;   /* of this session, without error of reading */
    enum method method;
    const char *why;   /* not valid */
    int64_t arrives_s; /* of the last replicate, put right */
};

static double factor(struct maker *m, double cv)
{
    double z = rng_normal(&m->rng);

    return 1.0 + cv * fmax(-3.5, fmin(3.5, z));
}

static enum method method_of(const struct maker *m, int day)
{
    if (day >= m->person->goes_over)
        return METHOD_DUPLEX;
    return m->unit->style == STYLE_SITE ? METHOD_THERMODILUTION
                                        : METHOD_ULTRASOUND_DILUTION;
}

/* A late session: pressure falls, and with it the flow, by 11.7 % in the
 * mean.  Below 85 % of the pressure it may not confirm that a flow is low. */
static void run_late(struct maker *m, struct flowing *f)
{
    f->at_s = f->start_s + LATE_MIN * MINUTE_S;
    f->late_share = rng_between(&m->rng, 0.80, 0.97);
    f->flow_ml_min *= 0.883 + 0.04 * rng_normal(&m->rng);
    if (f->late_share < 0.85)
        f->why = "low pressure";
}

static struct flowing flow_session(struct maker *m, int day)
{
    double z = rng_normal(&m->rng);
    double own = rng_normal(&m->rng);
    double of_session =
        WITH_PRESSURE * z + sqrt(1.0 - WITH_PRESSURE * WITH_PRESSURE) * own;
    struct flowing f = { .day = day,
                         .start_s = keep_session_start(m, day),
                         .method = method_of(m, day) };

    of_session = fmax(-3.5, fmin(3.5, of_session));
    f.at_s = f.start_s + EARLY_MIN * MINUTE_S;
    f.systolic_mmhg = m->person->systolic_mmhg * (1.0 + CV_PRESSURE * z);
    f.flow_ml_min =
        course_at(&m->person->flow, day) * (1.0 + CV_SESSION * of_session);
    f.late = chance(m, 0.06);
    if (f.late)
        run_late(m, &f);
    return f;
}

static double read_flow(struct maker *m, const struct flowing *f)
{
    if (f->method == METHOD_DUPLEX)
        return f->flow_ml_min * m->person->duplex_bias * factor(m, CV_DUPLEX);
    return f->flow_ml_min * factor(m, CV_WITHIN);
}

static void set_flow(struct note *n, double ml_min)
{
    n->items[0].number = fmax(20.0, floor(ml_min + 0.5));
}

/* ---- what goes wrong with a report ------------------------------------ */

static void in_litres(struct maker *m, size_t of, struct flowing *f)
{
    m->cohort->notes[of].wrong_unit = true;
    if (chance(m, 0.5)) {
        struct note *n =
            keep_again(m, of, "corrected", rng_between(&m->rng, 2, 10));

        if (n != NULL) {
            n->wrong_unit = false;
            f->arrives_s = n->arrives_s;
        }
    } else {
        f->why = "litres";
    }
}

static void first_preliminary(struct maker *m, size_t of, struct flowing *f)
{
    struct note *n;

    m->cohort->notes[of].status = "preliminary";
    if (chance(m, 0.25)) {
        f->why = "preliminary";
        return;
    }
    n = keep_again(m, of, "final", rng_between(&m->rng, 1, 7));
    if (n != NULL)
        f->arrives_s = n->arrives_s;
}

static void mistyped(struct maker *m, size_t of, struct flowing *f)
{
    double right = m->cohort->notes[of].items[0].number;
    double wrong = chance(m, 0.5) ? rng_between(&m->rng, 1.4, 1.8)
                                  : rng_between(&m->rng, 0.45, 0.65);
    struct note *n;

    set_flow(&m->cohort->notes[of], right * wrong);
    n = keep_again(m, of, "corrected", rng_between(&m->rng, 2, 21));
    if (n != NULL) {
        set_flow(n, right);
        f->arrives_s = n->arrives_s;
    }
}

static void of_another(struct maker *m, size_t of, struct flowing *f)
{
    struct note *n;

    set_flow(&m->cohort->notes[of], rng_between(&m->rng, 450, 2600));
    n = keep_again(m, of, "entered-in-error", rng_between(&m->rng, 2, 30));
    if (n != NULL)
        n->bare = chance(m, 0.5);
    f->why = "withdrawn";
}

static void resent(struct maker *m, size_t of)
{
    struct note *n = keep_again(m, of, m->cohort->notes[of].status, 0.0);

    if (n != NULL)
        n->arrives_s += rng_int(&m->rng, 3600, 5 * DAY_S);
}

static void go_wrong(struct maker *m, size_t of, struct flowing *f)
{
    double u = rng_unit(&m->rng);

    if (u < 0.008)
        in_litres(m, of, f);
    else if (u < 0.028)
        first_preliminary(m, of, f);
    else if (u < 0.040)
        mistyped(m, of, f);
    else if (u < 0.046)
        of_another(m, of, f);
    else if (u < 0.056)
        resent(m, of);
}

/* ---- the session ------------------------------------------------------- */

static int replicates(struct maker *m, const struct flowing *f)
{
    if (f->method == METHOD_DUPLEX)
        return 1;
    if (m->person->unit == UNIT_ALDER && chance(m, 0.25))
        return 2;
    return m->person->unit == UNIT_CORVANE && chance(m, 0.15) ? 3 : 1;
}

static void write_flows(struct maker *m, struct flowing *f)
{
    int count = replicates(m, f);
    double least = INFINITY, most = 0.0, sum = 0.0;

    for (int i = 0; i < count; i++) {
        double ml_min = read_flow(m, f);
        struct note *n = keep_open(m, f->at_s + (int64_t)i * 240, false);

        if (n == NULL)
            return;
        n->method = f->method;
        keep_put(n, Q_ACCESS_FLOW, 0);
        set_flow(n, ml_min);
        if (n->arrives_s > f->arrives_s)
            f->arrives_s = n->arrives_s;
        least = fmin(least, ml_min);
        most = fmax(most, ml_min);
        sum += ml_min;
    }
    if (count == 1)
        go_wrong(m, m->cohort->note_count - 1, f);
    else if (most - least > SPREAD_MOST * sum / count)
        f->why = "replicates disagree";
}

static void write_pressures(struct maker *m, const struct flowing *f)
{
    struct note *n = keep_open(m, f->start_s + 10 * MINUTE_S, false);

    if (n == NULL)
        return;
    n->panel = true;
    keep_pressure(n, f->systolic_mmhg);
    keep_put(n, Q_PUMP_FLOW, m->person->pump_ml_min);
    keep_put(n, Q_PRESCRIBED_PUMP_FLOW, m->person->pump_ml_min);
    if (!f->late)
        return;
    n = keep_open(m, f->at_s - 120, false);
    if (n == NULL)
        return;
    n->panel = true;
    keep_pressure(n, f->systolic_mmhg * f->late_share);
}

static void write_dose(struct maker *m, const struct flowing *f)
{
    double true_dose = course_at(&m->person->dose, f->day);
    struct note *n;

    if (chance(m, 0.05))
        return; /* no sample was taken */
    n = keep_open(m, f->start_s + 235 * MINUTE_S, false);
    if (n == NULL)
        return;
    n->panel = true;
    keep_put(n, Q_SPKTV, floor(100.0 * true_dose * factor(m, CV_DOSE)) / 100.0);
    keep_put(n, Q_TREATMENT_TIME, m->person->minutes);
    keep_taking(m, "spktv", n->at_s, n->arrives_s, METHOD_UNSTATED, NULL);
}

static void write_recirculation(struct maker *m, const struct flowing *f)
{
    double pct = person_recirculation(m->person, f->day);
    struct note *n = keep_open(m, f->start_s + 45 * MINUTE_S, false);

    if (n == NULL)
        return;
    pct += 1.5 * rng_normal(&m->rng);
    n->method = METHOD_ULTRASOUND_DILUTION;
    keep_put(n, Q_RECIRCULATION, floor(fmax(0.0, fmin(60.0, pct)) + 0.5));
    keep_taking(m, "recirculation", n->at_s, n->arrives_s, n->method, NULL);
}

/* Every so many days, by the monthly session that falls into them. */
static void write_output(struct maker *m, const struct flowing *f)
{
    double every_d = m->person->output_every_d;
    double monthly_d = m->person->flow_every_d;
    struct note *n;

    if (every_d >= NEVER || f->late ||
        !chance(m, fmin(1.0, monthly_d / every_d)))
        return;
    n = keep_open(m, f->at_s + 120, false);
    if (n == NULL)
        return;
    keep_put(
        n, Q_CARDIAC_OUTPUT,
        floor(10.0 * person_output(m->person, f->day) * factor(m, CV_OUTPUT)) /
            10.0);
    keep_taking(m, "cardiac-output", n->at_s, n->arrives_s, METHOD_UNSTATED,
                f->why);
}

static void make_session(struct maker *m, int day)
{
    struct flowing f = flow_session(m, day);

    write_pressures(m, &f);
    write_flows(m, &f);
    if (m->err != ERR_OK)
        return;
    keep_taking(m, "access-flow", f.at_s, f.arrives_s, f.method, f.why);
    write_dose(m, &f);
    if (m->person->measures_recirculation)
        write_recirculation(m, &f);
    write_output(m, &f);
}

/* Days after a band on which the flow is looked at apart. */
static const int follow_up_d[] = { 10, 30 };

static void make_follow_up(struct maker *m)
{
    for (size_t i = 0; i < COUNT(follow_up_d); i++) {
        int day = keep_session_day(m, m->person->band + follow_up_d[i]);

        if (day < m->cohort->o.days && !chance(m, 0.1))
            make_session(m, day);
    }
}

/* Nobody measures just after an opening or a band, nor twice in a week. */
static bool is_spared(const struct person *p, int day)
{
    if (day - person_stage(p, day) < 3.0)
        return true;
    for (size_t i = 0; i < COUNT(follow_up_d); i++)
        if (fabs(day - (p->band + follow_up_d[i])) < 6.0)
            return true;
    return false;
}

static void make_monthly(struct maker *m)
{
    const struct person *p = m->person;
    double first = fmax(rng_between(&m->rng, 0, p->flow_every_d),
                        p->created + FIRST_WEEKS_D);

    for (double d = first; d < m->cohort->o.days - 1 && m->err == ERR_OK;
         d += p->flow_every_d) {
        int moved = chance(m, 0.2) ? rng_int(&m->rng, -3, 5) : 0;
        int day = keep_session_day(m, fmax(0.0, d + moved));
        bool missed = chance(m, 0.12);

        if (!missed && day < m->cohort->o.days && !is_spared(p, day))
            make_session(m, day);
    }
}

static void make_static(struct maker *m)
{
    const struct person *p = m->person;
    double first = fmax(rng_between(&m->rng, 0, 14), p->created + 60);

    for (double d = first; d < m->cohort->o.days - 1 && m->err == ERR_OK;
         d += 14) {
        int day = keep_session_day(m, d);
        double systolic = p->systolic_mmhg * factor(m, CV_PRESSURE);
        double map = systolic * (1.0 + 2.0 * 0.55) / 3.0;
        struct note *n;

        if (day >= m->cohort->o.days || chance(m, 0.08))
            continue;
        n = keep_open(m, keep_session_start(m, day) + 20 * MINUTE_S, false);
        if (n == NULL)
            return;
        n->panel = true;
        keep_pressure(n, systolic);
        keep_put(n, Q_STATIC_ACCESS_PRESSURE,
                 floor(map * course_at(&p->ratio, day) * factor(m, CV_RATIO)));
        keep_taking(m, "static-pressure", n->at_s, n->arrives_s,
                    METHOD_UNSTATED, NULL);
    }
}

static void make_constants(struct maker *m)
{
    enum quantity week;
    struct note *n;

    if (quantity_by_code("sessions-per-week", 17, &week) == ERR_OK) {
        n = keep_open(m, keep_time(m, 0.3), false);
        keep_put(n, week, 3);
    }
    if (isfinite(m->person->height_m)) {
        n = keep_open(m, keep_time(m, 0.3), false);
        keep_put(n, Q_HEIGHT, floor(100.0 * m->person->height_m) / 100.0);
    }
}

void sessions_make(struct maker *m)
{
    make_constants(m);
    make_monthly(m);
    if (m->person->band < NEVER)
        make_follow_up(m);
    if (m->person->measures_ratio)
        make_static(m);
}
