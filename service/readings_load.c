#include "service/readings.h"

#include <stdlib.h>

enum {
    OWNERS_MAX = 16,
    GROUND_MAX = 512,      /* evidence of what is open: some of each group */
    LOOK_BACK_ROWS = 1024, /* within a session more are not compared */
    PATIENT_SHARE = 4,     /* a quarter of the room is the patient's */
    FACT_KINDS = 16,       /* by quantity and sign; there are ten */
    FACTS_OF_KIND_MAX = 32 /* newest of each kind from before the look-back: a
                              procedure has a dozen at most */
};

/* What stays true however long ago it was recorded: the list of STANDING_FACTS
 * in db_schema.h, by whose numbers the statement and its index go. */
_Static_assert(Q_DOWEL_DIAMETER == 9 && Q_BAND_RELEASED == 10 &&
                   Q_BAND_STRETCHED == 11 && Q_BAND_FORM == 12 &&
                   Q_ACCESS_INTERVENTION == 24,
               "STANDING_FACTS has the numbers of these quantities");

/* A reading that an open suggestion rests on. */
struct ground {
    int64_t id;
    int slot;
};

struct load {
    struct db *db;
    const struct policy *policy;
    int64_t from_s;
    struct reading *list; /* newest first, of each owner */
    size_t count;
    size_t first;   /* of those that share the room that is filled now */
    size_t max;     /* where that room ends */
    size_t numbers; /* in that room no number lies at or after this one */
    int64_t cut_s;  /* newest for which there was no room */
    bool cut;
    size_t ground_count;
    struct ground ground[GROUND_MAX];
};

/* q: Q_READING_LIST or Q_READING_FACTS, which have the same columns. */
static void read_row(struct db *db, enum query q, struct reading *r)
{
    *r = (struct reading){ .start_s = db_int(db, q, 0),
                           .quantity = (enum quantity)db_int(db, q, 1),
                           .id = db_int(db, q, 2),
                           .slot = (int)db_int(db, q, 3),
                           .version = (int)db_int(db, q, 4),
                           .status = (enum reading_status)db_int(db, q, 5),
                           .end_s = db_int(db, q, 6),
                           .precision = (enum precision)db_int(db, q, 7),
                           .value = db_double(db, q, 8),
                           .bound = (enum bound)db_int(db, q, 9),
                           .sign = (enum sign)db_int(db, q, 10),
                           .present = db_int(db, q, 11) != 0,
                           .method = (enum method)db_int(db, q, 12),
                           .side = (enum side)db_int(db, q, 13) };
}

/* ---- thinning ------------------------------------------------------------- */

/* A number, and not one that tells of an intervention. */
static bool is_number(const struct reading *r)
{
    return quantity_info(r->quantity)->kind == VALUE_NUMBER &&
           !reading_is_intervention(r);
}

static enum reading_status use_of(const struct reading *r)
{
    return reading_counts(r) ? READING_FINAL : r->status;
}

/* What cannot be used in the place of another must not take its place: a
 * withdrawn one that of a valid one, a day that of a second. */
static bool same_kind(const struct reading *a, const struct reading *b)
{
    return a->quantity == b->quantity && a->method == b->method &&
           a->side == b->side && use_of(a) == use_of(b) &&
           a->precision == b->precision &&
           (a->bound == BOUND_NONE) == (b->bound == BOUND_NONE);
}

static bool is_ground(const struct load *l, const struct reading *r)
{
    for (size_t i = 0; i < l->ground_count; i++) {
        if (l->ground[i].id == r->id && l->ground[i].slot == r->slot)
            return true;
    }
    return false;
}

/* Are there enough of its kind within a session, on its side of any
 * intervention?  start: where the newest of its owner lies. */
static bool is_one_too_many(const struct load *l, size_t start,
                            const struct reading *r)
{
    double session_s = policy_get(l->policy, P_SESSION_H) * HOUR_S;
    int same = 0, rows = 0;

    for (size_t i = l->count; i-- > start && rows < LOOK_BACK_ROWS; rows++) {
        const struct reading *newer = &l->list[i];

        if ((double)(newer->start_s - r->start_s) > session_s ||
            (newer->start_s > r->start_s && reading_is_intervention(newer)))
            return false;
        if (same_kind(newer, r) && ++same == POINT_READINGS_MAX)
            return !is_ground(l, r);
    }
    return false;
}

/* ---- room ----------------------------------------------------------------- */

static void leave_out(struct load *l, const struct reading *r)
{
    if (!l->cut || r->start_s > l->cut_s)
        l->cut_s = r->start_s;
    l->cut = true;
}

/* There is no room: what is coded takes the place of the number that was loaded
 * last, the oldest of its owner.  The order is lost; but once a room is full,
 * no number comes in that would be compared with its neighbours. */
static void squeeze(struct load *l, const struct reading *r)
{
    if (is_number(r)) {
        leave_out(l, r);
        return;
    }
    while (l->numbers > l->first && !is_number(&l->list[l->numbers - 1]))
        l->numbers--;
    if (l->numbers == l->first) {
        leave_out(l, r);
        return;
    }
    leave_out(l, &l->list[--l->numbers]);
    l->list[l->numbers] = *r;
}

static void take(struct load *l, size_t start, const struct reading *r)
{
    if (is_number(r) && is_one_too_many(l, start, r))
        return;
    if (l->count == l->max) {
        squeeze(l, r);
        return;
    }
    l->list[l->count++] = *r;
    l->numbers = l->count;
}

/* All of the look-back is gone through, since a sign may lie behind many
 * numbers. */
static enum err load_owner(struct load *l, int64_t owner)
{
    const enum query q = Q_READING_LIST;
    size_t start = l->count;
    struct reading r;
    enum err e = db_query(l->db, q, "ii", owner, l->from_s);

    while (e == ERR_OK && (e = db_next(l->db, q)) == ERR_OK) {
        read_row(l->db, q, &r);
        take(l, start, &r);
    }
    db_done(l->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- lasting facts ---------------------------------------------------------- */

/* How many of each kind were loaded of one owner. */
struct facts {
    size_t kinds;
    struct {
        enum quantity quantity;
        enum sign sign;
        int count;
    } kind[FACT_KINDS];
};

/* A fact that counts, unless there are enough newer ones of its kind. */
static bool is_wanted(struct facts *f, const struct reading *r)
{
    size_t i = 0;

    if (!reading_is_intervention(r) &&
        !(r->quantity == Q_BAND_FORM && reading_counts(r) && r->present))
        return false;
    while (i < f->kinds &&
           (f->kind[i].quantity != r->quantity || f->kind[i].sign != r->sign))
        i++;
    if (i == FACT_KINDS)
        return false;
    if (i == f->kinds) {
        f->kind[i].quantity = r->quantity;
        f->kind[i].sign = r->sign;
        f->kind[i].count = 0;
        f->kinds++;
    }
    return f->kind[i].count++ < FACTS_OF_KIND_MAX;
}

/* A band is in place until it is known to be gone, however long ago it was
 * tied.  These few come first, so that nothing takes their room. */
static enum err load_facts(struct load *l, int64_t owner)
{
    const enum query q = Q_READING_FACTS;
    struct facts facts = { .kinds = 0 };
    struct reading r;
    enum err e = db_query(l->db, q, "ii", owner, l->from_s);

    while (e == ERR_OK && (e = db_next(l->db, q)) == ERR_OK) {
        read_row(l->db, q, &r);
        if (is_wanted(&facts, &r))
            take(l, l->count, &r);
    }
    db_done(l->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- all ------------------------------------------------------------------ */

static enum err load_ground(struct load *l, int64_t access)
{
    const enum query q = Q_READING_GROUND;
    enum err e = db_query(l->db, q, "ii", access, INT64(GROUND_MAX));

    while (e == ERR_OK && (e = db_next(l->db, q)) == ERR_OK) {
        if (l->ground_count < GROUND_MAX)
            l->ground[l->ground_count++] =
                (struct ground){ .id = db_int(l->db, q, 0),
                                 .slot = (int)db_int(l->db, q, 1) };
    }
    db_done(l->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err load_all(struct load *l, const struct access *a, size_t max)
{
    const enum query q = Q_ACCESS_MERGED_INTO;
    int64_t owners[OWNERS_MAX] = { a->id };
    size_t owner_count = 1;
    enum err e = load_ground(l, a->id);

    if (e == ERR_OK)
        e = db_query(l->db, q, "i", a->id);
    while (e == ERR_OK && (e = db_next(l->db, q)) == ERR_OK) {
        if (owner_count < OWNERS_MAX)
            owners[owner_count++] = db_int(l->db, q, 0);
    }
    if (e == ERR_ABSENT)
        e = ERR_OK;
    l->max = max - max / PATIENT_SHARE;
    for (size_t i = 0; e == ERR_OK && i < owner_count; i++)
        e = load_facts(l, owners[i]);
    l->first = l->numbers = l->count;
    for (size_t i = 0; e == ERR_OK && i < owner_count; i++)
        e = load_owner(l, owners[i]);
    l->first = l->numbers = l->count;
    l->max = max;
    return e == ERR_OK ? load_owner(l, a->patient) : e;
}

static int by_time(const void *a, const void *b)
{
    const struct reading *x = a, *y = b;

    if (x->start_s != y->start_s)
        return x->start_s < y->start_s ? -1 : 1;
    if (x->id != y->id)
        return x->id < y->id ? -1 : 1;
    return x->slot - y->slot;
}

enum err readings_load(struct db *db, const struct access *a,
                       const struct policy *policy, struct reading *list,
                       size_t max, struct history *h)
{
    struct load l = { .db = db,
                      .policy = policy,
                      .from_s =
                          h->now_s -
                          (int64_t)policy_count(policy, P_LOOKBACK_D) * DAY_S,
                      .list = list };
    enum err e = load_all(&l, a, max);

    if (e != ERR_OK)
        return e;
    if (l.count > 0)
        qsort(list, l.count, sizeof(*list), by_time);
    h->readings = list;
    h->count = l.count;
    /* others of that second may have been left out as well */
    h->loaded_from_s = l.cut ? l.cut_s + 1 : 0;
    return ERR_OK;
}
