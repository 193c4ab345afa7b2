#include "tests/demo/series.h"
#include "tests/demo/session.h"

#include <math.h>
#include <stdlib.h>

/*
 * Each patient has a stream of random numbers of its own, so a changed row
 * leaves the other patients as they are.  A patient is made in two passes:
 * the background, a session about every thirty days, and then the steps of
 * the story.  What a session measured is packed into Observations in the
 * style of its unit.
 */

enum { MONTH_DAYS = 30, PRESSURE_MIN = 5, EXAM_MIN = 95 };

static void take_pressure(struct maker *m, struct session *s, int minute)
{
    double low = m->usual_systolic * 0.93, high = m->usual_systolic * 1.07;
    double systolic;

    if (m->story->hand) {
        low = 112;
        high = 120;
    }
    systolic = noisy(&m->rng, m->usual_systolic, 0.04, low, high);
    session_take(s, minute, session_number(m, Q_SYSTOLIC_PRESSURE, systolic));
    session_take(s, minute,
                 session_number(m, Q_DIASTOLIC_PRESSURE,
                                systolic * rng_between(&m->rng, 0.53, 0.58)));
    m->systolic = s->taken[s->count - 2].value.number;
    m->pressed_ago = s->ago_days;
}

static void take_dialysis(struct maker *m, struct session *s)
{
    bool pulsatile = m->patient->story == STORY_PULSATILE;

    session_take(s, 41, session_number(m, Q_PUMP_FLOW, m->pump_ml_min));
    session_take(
        s, 230,
        session_number(m, Q_SPKTV,
                       noisy(&m->rng, m->usual_ktv, 0.03, m->usual_ktv - 0.08,
                             m->usual_ktv + 0.08)));
    if (pulsatile || rng_unit(&m->rng) < 0.35) {
        session_take(s, 30,
                     session_number(m, Q_ARTERIAL_LINE_PRESSURE,
                                    rng_between(&m->rng, -210, -130)));
        session_take(s, 30,
                     session_number(m, Q_VENOUS_LINE_PRESSURE,
                                    pulsatile
                                        ? rng_between(&m->rng, 195, 235)
                                        : rng_between(&m->rng, 105, 165)));
    }
    if (rng_unit(&m->rng) < 0.25)
        session_take(
            s, 43,
            session_number(m, Q_RECIRCULATION, rng_between(&m->rng, 0, 3.4)));
}

/* A session with its access flow; the step is NULL for the background. */
static void add_flow(struct maker *m, int ago_days, double flow_ml_min,
                     double replicate_ml_min, const struct demo_step *step)
{
    struct session s = session_at(m, ago_days);
    struct value flow = session_number(m, Q_ACCESS_FLOW, flow_ml_min);

    s.step = step;
    if (step != NULL) {
        flow.bound = step->bound;
        flow.wrong_unit = step->wrong_unit;
    }
    m->flow_ml_min = flow.number;
    take_pressure(m, &s, PRESSURE_MIN);
    session_take(&s, 40, flow);
    if (!isnan(replicate_ml_min))
        session_take(&s, 44,
                     session_number(m, Q_ACCESS_FLOW, replicate_ml_min));
    take_dialysis(m, &s);
    session_pack(m, &s);
    if (step == NULL && !m->story->hand && rng_unit(&m->rng) < 0.25)
        session_sign(m, ago_days, Q_HAND_SYMPTOM, SIGN_NO_COMPLAINT);
}

/* The days of the background, and which sessions measure twice. */
static void plan_series(struct maker *m, struct series *s)
{
    bool twice =
        m->patient->story == STORY_PLAIN && m->unit->style == STYLE_FOCUS;
    int ago = m->story->background_until + rng_int(&m->rng, 0, 14);
    int backwards[SERIES_MAX];

    s->count = 0;
    while (ago < YEAR_DAYS - 3 && s->count < SERIES_MAX) {
        backwards[s->count++] = session_day(m, ago);
        ago += MONTH_DAYS + rng_int(&m->rng, -2, 2);
    }
    for (int i = 0; i < s->count; i++) {
        s->ago[i] = backwards[s->count - 1 - i];
        s->twice[i] = twice && rng_unit(&m->rng) < 0.2;
    }
}

static void add_background(struct maker *m)
{
    struct series s;

    plan_series(m, &s);
    m->err = series_draw(&m->rng, m->patient, &s);
    for (int i = 0; i < s.count && m->err == ERR_OK; i++)
        add_flow(m, s.ago[i], s.first[i], s.second[i], NULL);
}

/* The index belongs to the finger pressure and the systolic pressure. */
static void take_finger(struct maker *m, struct session *s, enum quantity q,
                        double pressure_mmhg)
{
    enum quantity index = q == Q_DIGITAL_PRESSURE
                              ? Q_DIGITAL_BRACHIAL_INDEX
                              : Q_DIGITAL_BRACHIAL_INDEX_COMPRESSED;

    session_take(s, 102, session_number(m, q, pressure_mmhg));
    session_take(
        s, 102,
        session_number(m, index, floor(pressure_mmhg + 0.5) / m->systolic));
}

/* A value by itself, with the blood pressure that it is judged against. */
static void add_number(struct maker *m, int ago_days,
                       const struct demo_step *step)
{
    struct session s = session_at(m, ago_days);
    double number = rng_between(&m->rng, step->low, step->high);
    bool finger = step->quantity == Q_DIGITAL_PRESSURE ||
                  step->quantity == Q_DIGITAL_PRESSURE_COMPRESSED;

    if ((finger || step->quantity == Q_STATIC_ACCESS_PRESSURE) &&
        m->pressed_ago != ago_days)
        take_pressure(m, &s, EXAM_MIN);
    if (step->flow_share > 0.0)
        number = m->flow_ml_min / step->flow_share / 1000.0;
    if (finger)
        take_finger(m, &s, step->quantity, number);
    else
        session_take(&s, step->flow_share > 0.0 ? 42 : 60,
                     session_number(m, step->quantity, number));
    session_pack(m, &s);
}

/* A flow that is not of a session of the first access comes alone. */
static void add_lone_flow(struct maker *m, int ago_days,
                          const struct demo_step *step, double flow_ml_min)
{
    struct session s = session_at(m, ago_days);

    s.step = step;
    session_take(&s, 50, session_number(m, Q_ACCESS_FLOW, flow_ml_min));
    session_pack(m, &s);
}

static void add_step(struct maker *m, const struct demo_step *step)
{
    int ago_days = session_day(m, step->ago_days);

    if (quantity_info(step->quantity)->kind == VALUE_CODE)
        session_sign(m, ago_days, step->quantity, step->sign);
    else if (step->quantity != Q_ACCESS_FLOW)
        add_number(m, ago_days, step);
    else if (step->access != DEMO_ACCESS_FIRST || step->method == METHOD_DUPLEX)
        add_lone_flow(m, ago_days, step,
                      rng_between(&m->rng, step->low, step->high));
    else
        add_flow(m, ago_days, rng_between(&m->rng, step->low, step->high), NAN,
                 step);
}

/* Between one and a half and six years before the end; from the row alone,
 * so that the access can say it before the readings are made. */
int64_t document_created_day(size_t row, int64_t end_day)
{
    return end_day - 550 - (int64_t)(row * 397 % 1650);
}

static void add_creation(struct maker *m)
{
    int64_t day = document_created_day(m->row, m->demo->end_day);

    session_sign(m, (int)(m->demo->end_day - day), Q_ACCESS_INTERVENTION,
                 SIGN_CREATED);
    if (m->err != ERR_OK)
        return;
    m->demo->documents[m->demo->count - 1].whole_day = true;
    /* Sent with the first load, after the patient and the access. */
    m->demo->documents[m->demo->count - 1].arrives_s =
        (m->demo->end_day - YEAR_DAYS - 1) * DAY_S + 3600;
}

static enum err make_patient(struct demo *demo, uint64_t seed, size_t row)
{
    size_t count;
    const struct demo_patient *p = &demo_patients(&count)[row];
    const struct demo_step *steps = demo_steps(&count);
    int first = (int)(row % 2); /* Monday or Tuesday, and so on */
    struct maker m = { .demo = demo,
                       .patient = p,
                       .story = demo_story(p->story),
                       .unit = demo_unit(p->unit),
                       .row = row,
                       .pressed_ago = -1,
                       .err = ERR_OK };

    rng_init(&m.rng, seed, (uint64_t)p->number);
    for (int i = 1; i <= 5; i += 2)
        m.weekdays[i + first] = true;
    m.start_min =
        60 * (7 + 5 * rng_int(&m.rng, 0, 1)) + 5 * rng_int(&m.rng, 0, 6);
    m.usual_systolic = m.story->hand ? 116 : rng_between(&m.rng, 120, 146);
    m.usual_ktv = rng_between(&m.rng, 1.38, 1.66);
    m.pump_ml_min = 10 * rng_int(&m.rng, 28, 33);
    add_creation(&m);
    if (m.err == ERR_OK)
        add_background(&m);
    for (size_t i = 0; i < count && m.err == ERR_OK; i++)
        if (steps[i].story == p->story)
            add_step(&m, &steps[i]);
    return m.err;
}

static int by_arrival(const void *a, const void *b)
{
    const struct entry *x = a, *y = b;

    if (x->arrives_s != y->arrives_s)
        return x->arrives_s < y->arrives_s ? -1 : 1;
    return x->seq < y->seq ? -1 : x->seq > y->seq;
}

static void add_entry(struct demo *demo, struct entry entry)
{
    entry.seq = demo->entry_count;
    demo->entries[demo->entry_count++] = entry;
}

static enum err order(struct demo *demo)
{
    int64_t first_s = (demo->end_day - YEAR_DAYS - 1) * DAY_S;
    size_t count;
    const struct demo_patient *p = demo_patients(&count);

    demo->entries = calloc(3 * count + demo->count, sizeof(*demo->entries));
    if (demo->entries == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < count; i++) {
        int accesses = p[i].story == STORY_TWO_ACCESSES ? 2 : 1;

        add_entry(demo, (struct entry){ .arrives_s = first_s,
                                        .kind = ARRIVAL_PATIENT,
                                        .index = i });
        for (int a = 0; a < accesses; a++)
            add_entry(demo, (struct entry){ .arrives_s = first_s,
                                            .kind = ARRIVAL_ACCESS,
                                            .index = i,
                                            .access = a });
    }
    for (size_t i = 0; i < demo->count; i++)
        add_entry(demo,
                  (struct entry){ .arrives_s = demo->documents[i].arrives_s,
                                  .kind = ARRIVAL_DOCUMENT,
                                  .index = i });
    qsort(demo->entries, demo->entry_count, sizeof(*demo->entries), by_arrival);
    return ERR_OK;
}

enum err demo_new(int64_t end_day, uint64_t seed, struct demo **demo)
{
    struct demo *d;
    size_t count;
    enum err e = ERR_OK;

    if (end_day < 365 || end_day > 84005) /* 1971-01-01, 2199-12-31 */
        return ERR_RANGE;
    d = calloc(1, sizeof(*d));
    if (d == NULL)
        return ERR_MEMORY;
    d->end_day = end_day;
    (void)demo_patients(&count);
    for (size_t i = 0; i < count && e == ERR_OK; i++)
        e = make_patient(d, seed, i);
    if (e == ERR_OK)
        e = order(d);
    if (e != ERR_OK) {
        demo_free(d);
        return e;
    }
    *demo = d;
    return ERR_OK;
}

void demo_free(struct demo *demo)
{
    if (demo == NULL)
        return;
    free(demo->documents);
    free(demo->entries);
    free(demo);
}
