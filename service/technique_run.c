#include "service/technique_run.h"

#include "planner/technique_cases.h"
#include "service/suggest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What a step does at most, and what there is room for. */
enum {
    ACCESSES_MAX = 400,
    ACCESSES_AT_ONCE = 4,
    FOUND_MAX = 500,
    REPLAYS_AT_ONCE = 16,
    ROUNDS_AT_ONCE = 25,
    LOOKBACK_D = 3650, /* a finished case does not become too old */
    LABEL_SIZE = 192
};

enum phase { PHASE_LIST, PHASE_FIND, PHASE_REPLAY, PHASE_LEARN, PHASE_DONE };

struct found {
    int64_t access, case_s;
    char label[LABEL_SIZE];
    enum technique_use use;
    struct plan_input in;
    size_t
        place; /* in what was learnt; TECHNIQUE_CASES_MAX: it was not given */
};

struct technique_run {
    enum phase phase;
    struct policy policy; /* that of the review, with a longer look-back */
    int64_t accesses[ACCESSES_MAX];
    size_t access_count, at, beyond;
    size_t found_count, given;
    struct found found[FOUND_MAX];
    struct technique_found list[TECHNIQUE_CASES_OF_ACCESS];
    struct technique technique;
    struct technique_row rows[FOUND_MAX];
    struct technique_work *work;
};

enum err technique_run_open(struct technique_run **run)
{
    struct technique_run *r = calloc(1, sizeof(*r));

    if (r != NULL)
        r->work = malloc(technique_work_size());
    if (r == NULL || r->work == NULL) {
        technique_run_close(r);
        return ERR_MEMORY;
    }
    technique_work_init(r->work);
    *run = r;
    return ERR_OK;
}

void technique_run_close(struct technique_run *run)
{
    if (run == NULL)
        return;
    free(run->work);
    free(run);
}

/* ---- the accesses -------------------------------------------------------------- */

static enum err list_accesses(struct technique_run *r, struct db *db,
                              const struct review *review)
{
    const enum query q = Q_TECHNIQUE_ACCESSES;
    enum err e = db_query(db, q, "iiii", INT64(Q_DOWEL_DIAMETER),
                          INT64(Q_ACCESS_INTERVENTION), INT64(SIGN_BANDED),
                          INT64(READING_PRELIMINARY));

    r->policy = *review->policy;
    r->policy.values[P_LOOKBACK_D].value = LOOKBACK_D;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (r->access_count < ACCESSES_MAX)
            r->accesses[r->access_count++] = db_int(db, q, 0);
        else
            r->beyond++;
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- their cases ----------------------------------------------------------------- */

static void keep_cases(struct technique_run *r, const struct look *look)
{
    size_t count = technique_cases(&look->history, &r->policy, r->list,
                                   TECHNIQUE_CASES_OF_ACCESS);

    for (size_t i = 0; i < count; i++) {
        struct found *f = &r->found[r->found_count++];

        *f = (struct found){ .access = look->access.id,
                             .case_s = r->list[i].case_s,
                             .use = r->list[i].use,
                             .in = r->list[i].in,
                             .place = TECHNIQUE_CASES_MAX };
        snprintf(f->label, sizeof(f->label), "%s", access_name(&look->access));
    }
}

/* All that is of an access, or none of it. */
static enum err find_cases(struct technique_run *r, struct db *db,
                           const struct review *review)
{
    struct review wide = *review;
    struct look look;
    enum err e = ERR_OK;

    wide.policy = &r->policy;
    for (int n = 0;
         e == ERR_OK && n < ACCESSES_AT_ONCE && r->at < r->access_count; n++) {
        if (r->found_count + TECHNIQUE_CASES_OF_ACCESS > FOUND_MAX) {
            r->beyond += r->access_count - r->at;
            r->at = r->access_count;
            break;
        }
        e = look_at(db, &wide, r->accesses[r->at], &look);
        if (e != ERR_OK)
            break;
        keep_cases(r, &look);
        look_clear(&look);
        r->at++;
    }
    return e;
}

/* ---- learning --------------------------------------------------------------------- */

static int newest_first(const void *a, const void *b)
{
    const struct found *x = a, *y = b;

    if (x->case_s != y->case_s)
        return x->case_s > y->case_s ? -1 : 1;
    return x->access < y->access ? -1 : x->access > y->access;
}

/* Those that say nothing take no room. */
static void replay_case(struct technique_run *r, struct found *f)
{
    if (f->use != TECHNIQUE_USED)
        return;
    f->use = technique_add(r->work, &f->in);
    if (f->use != TECHNIQUE_ROOM)
        f->place = r->given++;
}

static void replay_cases(struct technique_run *r)
{
    for (int n = 0; n < REPLAYS_AT_ONCE && r->at < r->found_count; n++)
        replay_case(r, &r->found[r->at++]);
}

static void finish(struct technique_run *r)
{
    technique_result(r->work, &r->technique);
    for (size_t i = 0; i < r->found_count; i++) {
        const struct found *f = &r->found[i];
        struct technique_row *row = &r->rows[i];

        *row =
            (struct technique_row){ .access = f->label, .case_s = f->case_s };
        if (f->place < TECHNIQUE_CASES_MAX)
            row->evidence = r->technique.evidence[f->place];
        else
            row->evidence = technique_unused(f->use);
    }
}

static void go(struct technique_run *r, enum phase phase)
{
    r->phase = phase;
    r->at = 0;
}

enum err technique_run_step(struct technique_run *r, struct db *db,
                            const struct review *review, bool *done)
{
    enum err e = ERR_OK;

    switch (r->phase) {
    case PHASE_LIST:
        e = list_accesses(r, db, review);
        if (e == ERR_OK)
            go(r, PHASE_FIND);
        break;
    case PHASE_FIND:
        e = find_cases(r, db, review);
        if (e != ERR_OK || r->at < r->access_count)
            break;
        qsort(r->found, r->found_count, sizeof(r->found[0]), newest_first);
        go(r, PHASE_REPLAY);
        break;
    case PHASE_REPLAY:
        replay_cases(r);
        if (r->at == r->found_count)
            go(r, PHASE_LEARN);
        break;
    case PHASE_LEARN:
        if (!technique_round(r->work, ROUNDS_AT_ONCE))
            break;
        finish(r);
        go(r, PHASE_DONE);
        break;
    case PHASE_DONE:
        break;
    }
    *done = r->phase == PHASE_DONE;
    return e;
}

/* ---- what was learnt ---------------------------------------------------------------- */

const struct technique *technique_run_result(const struct technique_run *run)
{
    return &run->technique;
}

enum err technique_run_evidence(const struct technique_run *run,
                                struct buf *out)
{
    for (size_t i = 0; i < run->found_count; i++) {
        const struct found *f = &run->found[i];

        if (run->rows[i].evidence.use == TECHNIQUE_USED)
            buf_printf(out, "%s%lld/%lld", out->len > 0 ? " " : "",
                       (long long)f->access, (long long)f->case_s);
    }
    return buf_ok(out);
}

enum err technique_run_write(const struct technique_run *run, struct db *db,
                             const struct zone *zone, bool json,
                             struct buf *out)
{
    struct technique_switch now = { .on = false };
    enum err e = technique_switch_get(db, &now);
    struct technique_document d = { .technique = &run->technique,
                                    .base = &prior_default,
                                    .rows = run->rows,
                                    .row_count = run->found_count,
                                    .beyond = run->beyond,
                                    .on = now.on,
                                    .in_use =
                                        now.on ? &now.prior : &prior_default,
                                    .switched_ms = now.at_ms,
                                    .who = now.who,
                                    .model = now.model,
                                    .cases = now.cases,
                                    .zone = zone };

    if (e != ERR_OK)
        return e;
    if (json)
        technique_json(&d, out);
    else
        technique_text(&d, out);
    return buf_ok(out);
}
