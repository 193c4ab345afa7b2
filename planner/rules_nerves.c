/*
 * IS-1: the nerves of the hand may be dying, within hours of a procedure.
 *
 * New weakness, or numbness in several nerve territories, that began soon
 * after the access was made or its flow was raised.  A time that is not known
 * does not suppress; only one that is known to be too long ago does.  The hand
 * is warm and may have a pulse: a grade of ischaemia says nothing against it.
 *
 * Numbness, unlike weakness, has many other causes and often is of long
 * standing.  It must be new: not where no procedure is known and the access is
 * known for longer, nor where the same was said before the procedure.
 */
#include "planner/rules_work.h"

#include <stddef.h>
#include <string.h>

enum { PROCEDURES_MAX = 64 };

/* What is looked at, and what was found on the way. */
struct nerves {
    const struct work *w;
    size_t hand_count;
    size_t procedures[PROCEDURES_MAX]; /* the newest that raise the flow, newest
                                          first; indices into history */
    size_t procedure_count;
    int64_t known_s; /* since when the access or the hand is known; INT64_MAX:
                        not at all */
    bool late;       /* some such sign was there, too long after, or not new */
    bool gone;       /* or was taken back */
    struct hand_point hand[HAND_POINTS_MAX];
};

/* How a sign lies to the newest procedure before it. */
enum onset {
    ONSET_ANY,    /* no procedure is known */
    ONSET_SOON,   /* seen soon after it */
    ONSET_UNSEEN, /* seen later, when the hand was first looked at */
    ONSET_LATE
};

/* A sign that may be of the nerves. */
struct suspect {
    size_t index;
    enum onset onset;
    size_t procedure; /* unless ONSET_ANY */
};

static bool raises_flow(const struct reading *r)
{
    if (!reading_counts(r))
        return false;
    if (r->quantity == Q_BAND_RELEASED)
        return r->value > 0.5;
    return r->quantity == Q_BAND_STRETCHED ||
           (r->present &&
            (r->sign == SIGN_CREATED || r->sign == SIGN_ANGIOPLASTY_OUTFLOW ||
             r->sign == SIGN_ANGIOPLASTY_INFLOW));
}

static void find_procedures(struct nerves *n)
{
    n->procedure_count = 0;
    for (size_t i = n->w->h->count;
         i-- > 0 && n->procedure_count < PROCEDURES_MAX;) {
        if (raises_flow(&n->w->h->readings[i]))
            n->procedures[n->procedure_count++] = i;
    }
}

/* Does it show that there was an access, or that the hand was asked for?  The
 * pressure of a finger is measured before there is one. */
static bool shows_access(const struct reading *r)
{
    enum scope scope = quantity_info(r->quantity)->scope;

    if (!reading_counts(r))
        return false;
    return scope == SCOPE_ACCESS || r->quantity == Q_HAND_SYMPTOM ||
           r->quantity == Q_HAND_ISCHAEMIA_GRADE;
}

static void find_known(struct nerves *n)
{
    n->known_s = INT64_MAX;
    for (size_t i = 0; i < n->w->h->count; i++) {
        const struct reading *r = &n->w->h->readings[i];

        if (shows_access(r) && r->end_s < n->known_s)
            n->known_s = r->end_s;
    }
}

static int64_t onset_most_s(const struct nerves *n)
{
    return (int64_t)(work_get(n->w, P_IS1_ONSET_H) * HOUR_S);
}

/* Did anybody say anything of the hand between the procedure and the session
 * of the sign?  If not, it may have begun at any time since. */
static bool was_seen_between(const struct nerves *n,
                             const struct reading *procedure, size_t sign)
{
    for (size_t i = 0; i < n->hand_count && n->hand[i].last < sign; i++) {
        if (n->hand[i].at_s >= procedure->start_s)
            return true;
    }
    return false;
}

/* A sign that is known to the day only may have been seen at the end of it,
 * and a procedure of that day before it. */
static enum onset onset_of(const struct nerves *n, size_t sign,
                           size_t *procedure)
{
    const struct reading *r = &n->w->h->readings[sign];
    int64_t recent_s = (int64_t)work_count(n->w, P_HISTORIC_D) * DAY_S;

    for (size_t i = 0; i < n->procedure_count; i++) {
        const struct reading *done = &n->w->h->readings[n->procedures[i]];

        if (done->start_s >= r->end_s)
            continue;
        *procedure = n->procedures[i];
        if (r->start_s - done->end_s <= onset_most_s(n))
            return ONSET_SOON;
        return r->start_s - done->end_s <= recent_s &&
                       !was_seen_between(n, done, sign)
                   ? ONSET_UNSEEN
                   : ONSET_LATE;
    }
    return ONSET_ANY;
}

static unsigned territory_signs(void)
{
    return HAND_BIT(SIGN_NUMBNESS_MEDIAN) | HAND_BIT(SIGN_NUMBNESS_ULNAR) |
           HAND_BIT(SIGN_NUMBNESS_RADIAL);
}

static unsigned numb_signs(void)
{
    return territory_signs() | HAND_BIT(SIGN_NUMBNESS);
}

static bool denies_numbness(const struct reading *r, enum sign sign)
{
    return r->present ? r->sign == SIGN_NO_COMPLAINT
                      : r->sign == sign || r->sign == SIGN_NUMBNESS;
}

/* Was the very same numbness there in the days before the procedure, and never
 * denied since?  One that may be of after it does not say so. */
static bool was_numb_before(const struct nerves *n, size_t sign,
                            const struct reading *procedure)
{
    const struct reading *readings = n->w->h->readings;
    int64_t from_s =
        procedure->start_s - (int64_t)work_count(n->w, P_HISTORIC_D) * DAY_S;
    bool numb = false;

    for (size_t i = 0; i < sign; i++) {
        const struct reading *r = &readings[i];

        if (r->start_s < from_s || !reading_counts(r))
            continue;
        if (r->present && r->sign == readings[sign].sign)
            numb = numb || r->end_s <= procedure->start_s;
        else if (denies_numbness(r, readings[sign].sign))
            numb = false;
    }
    return numb;
}

/* Numbness that is known not to be new. */
static bool is_old_numbness(const struct nerves *n, const struct suspect *s)
{
    const struct reading *readings = n->w->h->readings;

    if (!(HAND_BIT(readings[s->index].sign) & numb_signs()))
        return false;
    if (s->onset != ONSET_ANY)
        return was_numb_before(n, s->index, &readings[s->procedure]);
    return n->known_s < readings[s->index].start_s - onset_most_s(n);
}

/* Only what is said of the nerves takes it back: that there is no weakness, or
 * no complaint at all, or not the very numbness. */
static bool is_gone(const struct nerves *n, const struct reading *r)
{
    struct hand_end end = { .again = HAND_BIT(SIGN_MOTOR_WEAKNESS),
                            .denied = HAND_BIT(SIGN_MOTOR_WEAKNESS),
                            .no_complaint = true,
                            .below = GRADE_1,
                            .apart_s = HAND_ALARM_LEAST_S };

    if (r->sign != SIGN_MOTOR_WEAKNESS) {
        end.again |= numb_signs();
        end.denied |= HAND_BIT(r->sign) | HAND_BIT(SIGN_NUMBNESS);
    }
    return hand_taken_back(n->hand, n->hand_count, r->start_s, &end);
}

/* Is it much enough to tell people that it was there, but too late? */
static bool is_much(const struct nerves *n, size_t index)
{
    const struct hand_point *p = hand_point_of(n->hand, n->hand_count, index);

    return n->w->h->readings[index].sign == SIGN_MOTOR_WEAKNESS ||
           (p != NULL &&
            hand_territories(p->seen) >= work_count(n->w, P_IS1_TERRITORIES));
}

/* One of these signs that did not come too late, and was not taken back. */
static bool may_count(struct nerves *n, size_t index, unsigned signs,
                      struct suspect *s)
{
    const struct reading *r = &n->w->h->readings[index];

    if (!hand_is_alarm(r, signs) || r->precision == AT_MONTH ||
        r->precision == AT_YEAR)
        return false;
    s->index = s->procedure = index;
    s->onset = onset_of(n, index, &s->procedure);
    if (s->onset == ONSET_LATE || is_old_numbness(n, s)) {
        n->late = n->late || is_much(n, index);
        return false;
    }
    if (is_gone(n, r)) {
        n->gone = n->gone || is_much(n, index);
        return false;
    }
    return true;
}

/* A numb hand may be of many causes: of this one after a procedure only. */
static bool is_suspect(struct nerves *n, size_t index, unsigned signs,
                       struct suspect *s)
{
    return may_count(n, index, signs, s) &&
           (n->w->h->readings[index].sign != SIGN_NUMBNESS ||
            s->onset == ONSET_SOON);
}

static bool is_same_procedure(const struct suspect *a, const struct suspect *b)
{
    return (a->onset == ONSET_ANY) == (b->onset == ONSET_ANY) &&
           (a->onset == ONSET_ANY || a->procedure == b->procedure);
}

/* Territories add up over the hours in which it may begin.  Where no territory
 * is said it is the whole hand. */
static bool is_numb_enough(struct nerves *n, const struct suspect *newest,
                           size_t *oldest)
{
    const struct reading *readings = n->w->h->readings;
    unsigned numb = 0;

    for (size_t i = newest->index + 1; i-- > 0;) {
        struct suspect s;

        if (readings[newest->index].start_s - readings[i].start_s >
            onset_most_s(n))
            break;
        if (!is_suspect(n, i, numb_signs() & ~numb, &s) ||
            !is_same_procedure(newest, &s))
            continue;
        numb |= HAND_BIT(readings[i].sign);
        *oldest = i;
        if ((numb & HAND_BIT(SIGN_NUMBNESS)) ||
            hand_territories(numb) >= work_count(n->w, P_IS1_TERRITORIES))
            return true;
    }
    return false;
}

static bool find_weakness(struct nerves *n, struct suspect *found)
{
    for (size_t i = n->w->h->count; i-- > 0;) {
        if (is_suspect(n, i, HAND_BIT(SIGN_MOTOR_WEAKNESS), found))
            return true;
    }
    return false;
}

/* The newest numbness that is enough, and the oldest that it takes. */
static bool find_numbness(struct nerves *n, struct suspect *found,
                          size_t *oldest)
{
    for (size_t i = n->w->h->count; i-- > 0;) {
        if (is_suspect(n, i, numb_signs(), found) &&
            is_numb_enough(n, found, oldest))
            return true;
    }
    return false;
}

/* The signs of the nerves from one reading to another, and of the rest of the
 * sessions of both: what was there before the procedure is left out. */
static void rest_on_signs(struct nerves *n, struct finding *f, size_t oldest,
                          const struct suspect *newest)
{
    const struct hand_point *first =
        hand_point_of(n->hand, n->hand_count, oldest);
    const struct hand_point *last =
        hand_point_of(n->hand, n->hand_count, newest->index);
    size_t from = first != NULL ? first->first : oldest;
    size_t to = last != NULL ? last->last : newest->index;

    for (size_t i = from; i <= to; i++) {
        enum sign sign = n->w->h->readings[i].sign;
        struct suspect s;

        if (!may_count(n, i, numb_signs() | HAND_BIT(SIGN_MOTOR_WEAKNESS),
                       &s) ||
            !is_same_procedure(newest, &s))
            continue;
        work_rest_on(n->w, f, i);
        if (sign_info(sign)->grade > f->grade)
            f->grade = sign_info(sign)->grade;
    }
}

static void rest_on_procedure(const struct nerves *n, struct finding *f,
                              const struct suspect *s)
{
    int64_t at_s = f->at_s;

    if (s->onset == ONSET_ANY)
        return;
    work_rest_on(n->w, f, s->procedure);
    f->at_s = at_s;
}

void rules_nerves(struct work *w)
{
    struct nerves n;
    struct suspect weakness, numbness;
    bool is_weak, is_numb;
    struct finding *f;
    size_t oldest = 0;

    memset(&n, 0, offsetof(struct nerves, hand)); /* the points are counted */
    n.w = w;
    n.hand_count = hand_collect(w->h, w->policy, true, n.hand, HAND_POINTS_MAX);
    find_procedures(&n);
    find_known(&n);
    is_weak = find_weakness(&n, &weakness);
    is_numb = find_numbness(&n, &numbness, &oldest);
    if (!is_weak && !is_numb) {
        work_not(w, RULE_IS_1,
                 n.hand_count == 0 ? WHY_NO_READING
                 : n.gone          ? WHY_TAKEN_BACK
                 : n.late          ? WHY_TOO_LATE
                                   : WHY_INSIDE);
        return;
    }
    f = work_add(w, RULE_IS_1);
    f->quantity = Q_HAND_SYMPTOM;
    f->urgency = work_urgency(w, P_IS1_URGENCY);
    f->limit = P_IS1_ONSET_H;
    f->with_sign = is_weak;
    if (is_weak)
        rest_on_signs(&n, f, weakness.index, &weakness);
    if (is_numb)
        rest_on_signs(&n, f, oldest, &numbness);
    if (is_weak)
        rest_on_procedure(&n, f, &weakness);
    if (is_numb)
        rest_on_procedure(&n, f, &numbness);
}
