#include "tests/demo/oracle.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define LIVE_DAYS    30.0
#define SESSION_DAYS (4.0 / 24.0)

static bool counts(const struct observed *o)
{
    return !o->replaced && (strcmp(o->status, "final") == 0 ||
                            strcmp(o->status, "corrected") == 0);
}

/* The two units that name accesses must name the first one. */
static bool of_first_access(const struct observed *o)
{
    char first[16];

    if (o->patient > 300)
        return true;
    snprintf(first, sizeof(first), "%04d", o->patient);
    return strcmp(o->access, first) == 0;
}

static int oldest_first(const void *a, const void *b)
{
    const struct flow *x = a, *y = b;

    return x->ago_days > y->ago_days ? -1 : x->ago_days < y->ago_days;
}

/* Two readings of one session by one method are one. */
static void average_sessions(struct flows *f)
{
    size_t kept = 0;

    for (size_t i = 0; i < f->count; i++) {
        struct flow *last = kept > 0 ? &f->list[kept - 1] : NULL;

        if (last != NULL && last->method == f->list[i].method &&
            last->ago_days - f->list[i].ago_days < SESSION_DAYS)
            last->ml_min = (last->ml_min + f->list[i].ml_min) / 2.0;
        else
            f->list[kept++] = f->list[i];
    }
    f->count = kept;
}

void oracle_flows(const struct observed_feed *feed, int patient,
                  struct flows *out)
{
    out->count = 0;
    for (size_t i = 0; i < feed->count && out->count < FLOWS_MAX; i++) {
        const struct observed *o = &feed->list[i];

        if (o->patient == patient && o->quantity == Q_ACCESS_FLOW &&
            counts(o) && of_first_access(o) && o->value > 8.0)
            out->list[out->count++] =
                (struct flow){ o->ago_days, o->value, o->bound, o->method };
    }
    qsort(out->list, out->count, sizeof(out->list[0]), oldest_first);
    average_sessions(out);
}

static bool beyond(const struct flow *f, double limit, bool above)
{
    return above ? f->ml_min >= limit
                 : f->ml_min < limit && f->bound == BOUND_NONE;
}

/* The reading of the same method before the i-th; NULL if there is none. */
static const struct flow *before(const struct flows *f, size_t i)
{
    for (size_t j = i; j > 0; j--)
        if (f->list[j - 1].method == f->list[i].method)
            return &f->list[j - 1];
    return NULL;
}

static bool pair(const struct flows *f, size_t i, double limit, bool above,
                 double window_days)
{
    const struct flow *earlier = before(f, i);

    return earlier != NULL && beyond(earlier, limit, above) &&
           beyond(&f->list[i], limit, above) &&
           earlier->ago_days - f->list[i].ago_days <= window_days;
}

bool oracle_ever(const struct flows *f, double limit, bool above,
                 double window_days)
{
    for (size_t i = 0; i < f->count; i++)
        if (pair(f, i, limit, above, window_days))
            return true;
    return false;
}

/* A pair whose second reading is of the last thirty days. */
static bool live(const struct flows *f, double limit, bool above,
                 double window_days)
{
    for (size_t i = 0; i < f->count; i++)
        if (f->list[i].ago_days <= LIVE_DAYS &&
            pair(f, i, limit, above, window_days))
            return true;
    return false;
}

static double baseline(const struct flows *f, size_t i)
{
    double sum = 0.0;
    int n = 0;

    for (size_t j = i; j > 0 && n < 3; j--) {
        if (f->list[j - 1].ago_days - f->list[i].ago_days > 180.0)
            break;
        sum += f->list[j - 1].ml_min;
        n++;
    }
    return n >= 2 ? sum / n : NAN;
}

bool oracle_falls(const struct flows *f)
{
    for (size_t i = 1; i < f->count; i++) {
        double limit = 0.75 * baseline(f, i - 1);
        double higher = fmax(f->list[i - 1].ml_min, f->list[i].ml_min);

        /* Without a baseline the limit is NaN, and the answer no. */
        if (higher < limit && higher < 1000.0)
            return true;
    }
    return false;
}

/* Sessions of the last two months whose flow is at least 800 mL/min and
 * 0.30 of the cardiac output; the live ones are counted. */
static int shares(const struct observed_feed *feed, int patient,
                  const struct flows *f)
{
    int n = 0;

    for (size_t i = 0; i < feed->count; i++) {
        const struct observed *o = &feed->list[i];

        if (o->patient != patient || o->quantity != Q_CARDIAC_OUTPUT)
            continue;
        for (size_t j = 0; j < f->count; j++)
            if (fabs(f->list[j].ago_days - o->ago_days) < SESSION_DAYS &&
                f->list[j].ml_min >= 800.0 && o->ago_days <= LIVE_DAYS &&
                f->list[j].ml_min / 1000.0 / o->value >= 0.30)
                n++;
    }
    return n;
}

static void say(char out[ORACLE_TEXT], const char *rule)
{
    size_t len = strlen(out);

    snprintf(out + len, ORACLE_TEXT - len, "%s%s", len > 0 ? " " : "", rule);
}

static void judge_flow(const struct observed_feed *feed, int patient,
                       const struct flows *f, char out[ORACLE_TEXT])
{
    bool share = shares(feed, patient, f) >= 2;

    if (live(f, 2000.0, true, 90.0))
        say(out, "HF-1");
    else if (live(f, 1500.0, true, 90.0))
        say(out, "HF-2");
    if (share)
        say(out, "HF-3");
    if (out[0] != '\0')
        say(out, share ? "urgent" : "routine");
}

static bool swollen(const struct observed_feed *feed, int patient)
{
    for (size_t i = 0; i < feed->count; i++)
        if (feed->list[i].patient == patient &&
            feed->list[i].sign == SIGN_ARM_SWELLING &&
            feed->list[i].ago_days <= LIVE_DAYS)
            return true;
    return false;
}

static void judge_low(const struct observed_feed *feed, int patient, bool graft,
                      const struct flows *f, char out[ORACLE_TEXT])
{
    if (graft && live(f, 600.0, false, 30.0))
        say(out, "LF-1");
    if (!graft && live(f, 500.0, false, 45.0))
        say(out, "LF-2");
    if (out[0] != '\0')
        say(out, swollen(feed, patient) ? "urgent" : "routine");
}

/* What was seen of the hand in the last thirty days. */
struct hand {
    enum grade worst;
    int tolerable;   /* sessions with grade 2a within 14 days */
    int low, severe; /* exams below the limits within 14 days */
    double last_tolerable, last_low;
};

static void see_grade(struct hand *h, enum grade g, double ago_days)
{
    if (g > h->worst)
        h->worst = g;
    if (g != GRADE_2A)
        return;
    h->tolerable = h->last_tolerable - ago_days <= 14.0 ? h->tolerable + 1 : 1;
    h->last_tolerable = ago_days;
}

/* Finger pressure and index come in pairs: the index says it all when it is
 * at least 0.6 only together with a pressure of at least 60. */
static void see_finger(struct hand *h, const struct observed *o)
{
    bool pressure = o->quantity == Q_DIGITAL_PRESSURE;

    h->severe += !pressure && o->value < 0.4;
    if (!pressure || !(o->value < 60.0))
        return;
    h->low = h->last_low - o->ago_days <= 14.0 ? h->low + 1 : 1;
    h->last_low = o->ago_days;
}

static struct hand see_hand(const struct observed_feed *feed, int patient)
{
    struct hand h = { .worst = GRADE_NONE,
                      .last_tolerable = 9999.0,
                      .last_low = 9999.0 };

    for (size_t i = 0; i < feed->count; i++) {
        const struct observed *o = &feed->list[i];

        if (o->patient != patient || !(o->ago_days <= LIVE_DAYS))
            continue;
        if (o->quantity == Q_HAND_SYMPTOM ||
            o->quantity == Q_HAND_ISCHAEMIA_GRADE)
            see_grade(&h, sign_info(o->sign)->grade, o->ago_days);
        if (o->quantity == Q_DIGITAL_PRESSURE ||
            o->quantity == Q_DIGITAL_BRACHIAL_INDEX)
            see_finger(&h, o);
    }
    return h;
}

static void judge_hand(const struct hand *h, const struct flows *f,
                       struct oracle *out)
{
    bool low = h->worst >= GRADE_1 && (h->low >= 2 || h->severe > 0);
    const char *urgency = "routine";

    out->repeat_finger = h->worst >= GRADE_1 && h->low == 1 && !low;
    if (low)
        urgency = h->severe > 0 ? "asap" : "urgent";
    if (h->worst >= GRADE_4A) {
        say(out->hand, "IS-2");
        urgency = "immediate";
    } else if (h->worst == GRADE_3) {
        say(out->hand, "IS-3");
        urgency = "asap";
    } else if (h->worst == GRADE_2B || h->tolerable >= 2) {
        say(out->hand, "IS-4");
        if (h->worst == GRADE_2B && !low)
            urgency = "urgent";
    }
    if (low)
        say(out->hand, "IS-5");
    if (out->hand[0] == '\0')
        return;
    if (f->count > 0 && f->list[f->count - 1].ago_days <= 60.0)
        say(out->hand,
            f->list[f->count - 1].ml_min >= 1000.0 ? "IS-6" : "IS-7");
    say(out->hand, urgency);
}

void oracle_judge(const struct observed_feed *feed, int patient, bool graft,
                  struct oracle *out)
{
    struct hand hand = see_hand(feed, patient);
    struct flows flows;

    *out = (struct oracle){ .repeat_finger = false };
    oracle_flows(feed, patient, &flows);
    judge_flow(feed, patient, &flows, out->flow);
    judge_low(feed, patient, graft, &flows, out->low_flow);
    judge_hand(&hand, &flows, out);
}
