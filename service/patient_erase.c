#include "service/patient_erase.h"

#include "adapters/catalogue.h"
#include "service/app.h"
#include "service/db_copy.h"
#include "service/log.h"
#include "service/patient_present.h"
#include "service/patient_whole.h"
#include "service/unit_list.h"

#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { STEP_US = 3000, TEXT_MAX = 65536, DETAIL_MAX = 400 };

struct patient_erasure {
    struct service *service;
    struct store_steps steps;
    struct erase_sift sift;
    struct erase_rows rows;
    struct patient_names names;
    struct seeking seeking; /* of the removal */
    int64_t number, began_ms;
    bool under_way;
    bool finish; /* only what an earlier one has left */
    bool removed, told;
    bool even_if_urgent;
    char who[ERASE_WORDS_SIZE], why[ERASE_WORDS_SIZE];
    struct audit_request asked; /* who did, for the row of the end */
    struct buf text; /* of the thread that has its turn; then of the loop */
    atomic_int state;
    atomic_llong looked, total;
};

/* ---- store thread ------------------------------------------------------------- */

/* Room for the file once more, and for the log that it goes through. */
static enum err check_room(struct patient_erasure *p, struct db *db)
{
    int64_t bytes = 0;
    enum err e = db_bytes(db, &bytes);

    return e == ERR_OK
               ? store_room(p->service->config.store_path, 2 * bytes, &p->text)
               : e;
}

static enum err sift(struct patient_erasure *p, struct db *db, bool *more)
{
    uint64_t end_ns = uv_hrtime() + (uint64_t)STEP_US * 1000;
    enum err e = ERR_OK;

    *more = true;
    while (e == ERR_OK && *more && uv_hrtime() < end_ns)
        e = patient_erase_sift(db, &p->sift, more);
    atomic_store(&p->looked, p->sift.looked);
    atomic_store(&p->total, p->sift.total);
    return e;
}

/* Who is on them is in no other row any more: what is made now is without the
 * patient. */
static enum err renew_lists(struct patient_erasure *p, struct db *db)
{
    const struct service *s = p->service;
    const struct unit_list_options options = {
        .base = s->config.fhir_base,
        .zone = s->zone,
        .record = s->review.record && s->config.record_unit_list,
        .silent = s->review.silent,
        .now_ms = clock_ms
    };
    enum err e = unit_list_keep(db, &options, true, &p->told);

    return e == ERR_OK ? patient_erase_lists(&p->seeking) : e;
}

/* In the transaction of what it records. */
static enum err note_end(struct patient_erasure *p, struct db *db,
                         enum audit_outcome outcome)
{
    char detail[DETAIL_MAX] = "nothing was removed";
    const int64_t *n = p->rows.counts;
    struct audit_entry row = { .at_ms = clock_ms(),
                               .kind = p->asked.kind,
                               .actor = p->asked.actor,
                               .scope = p->asked.scope,
                               .who = p->asked.who,
                               .action = "patient-erase",
                               .type = "patient",
                               .key = "",
                               .patient = p->rows.patient,
                               .outcome = outcome };

    if (outcome == AUDIT_DONE)
        snprintf(detail, sizeof(detail),
                 "removed: resources %lld, hl7 %lld, quarantine %lld, journal "
                 "%lld; left %lld",
                 (long long)n[ERASE_RESOURCES], (long long)n[ERASE_MESSAGES],
                 (long long)n[ERASE_ITEMS], (long long)n[ERASE_JOURNAL],
                 (long long)patient_erase_left(&p->rows.left));
    row.detail = detail;
    return audit_note(db, &row);
}

/* A store that cannot do the one may be able to do the other. */
static void note_failure(struct patient_erasure *p, struct db *db)
{
    enum err e = db_run(db, Q_BEGIN, ""), back;

    if (e == ERR_OK) {
        e = note_end(p, db, AUDIT_FAILED);
        if (e == ERR_OK)
            e = db_run(db, Q_COMMIT, "");
        if (e != ERR_OK && (back = db_run(db, Q_ROLLBACK, "")) != ERR_OK)
            log_event(LOG_ERROR, "patient.rollback", KEY_ERR(back));
    }
    if (e != ERR_OK)
        log_event(LOG_ERROR, "patient.audit", KEY_ERR(e));
}

/* What was not there when it was asked for may be there by now. */
static enum err look_again(struct patient_erasure *p, struct db *db)
{
    struct patient_present present;
    int hours = policy_count(&p->service->work_policy, P_PLAN_CASE_H);
    enum err e =
        patient_present(db, p->rows.patient,
                        clock_ms() / 1000 - (int64_t)hours * HOUR_S, &present);

    if (e != ERR_OK || p->even_if_urgent ||
        !patient_present_is_urgent(&present))
        return e;
    patient_present_write_urgent(&present, &p->text);
    return ERR_CONFLICT;
}

static enum err remove_all(struct patient_erasure *p, struct db *db)
{
    enum err e = db_run(db, Q_BEGIN, ""), back;

    if (e != ERR_OK)
        return e;
    p->rows.now_ms = clock_ms();
    p->seeking = (struct seeking){ .db = db,
                                   .names = &p->names,
                                   .senders = p->sift.senders,
                                   .base = p->sift.base };
    p->rows.seeking = &p->seeking;
    e = look_again(p, db);
    if (e == ERR_OK)
        e = patient_erase_sift_rest(db, &p->sift);
    if (e == ERR_OK)
        e = patient_erase_rows(db, &p->rows);
    if (e == ERR_OK)
        e = renew_lists(p, db);
    if (e == ERR_OK)
        e = note_end(p, db, AUDIT_DONE);
    if (e == ERR_OK)
        e = db_run(db, Q_COMMIT, "");
    if (e == ERR_OK)
        return ERR_OK;
    back = db_run(db, Q_ROLLBACK, "");
    db_forget_ids(db);
    if (back != ERR_OK)
        log_event(LOG_ERROR, "patient.rollback", KEY_ERR(back));
    return e;
}

static enum err rewrite(struct patient_erasure *p, struct db *db)
{
    char folder[STORE_PATH_SIZE];
    uint64_t from_ns = uv_hrtime();
    enum err e;

    store_folder_of(p->service->config.store_path, folder, sizeof(folder));
    e = db_rewrite(db, folder);
    if (e == ERR_OK)
        e = db_run(db, Q_ERASED_DONE, "");
    if (e == ERR_OK)
        log_event(LOG_INFO, "store.rewritten",
                  KEY_INT("ms", (uv_hrtime() - from_ns) / 1000000));
    return e;
}

/* Is there one whose file is still to be written anew? */
static enum err is_left(struct db *db, bool *left)
{
    enum err e = db_first(db, Q_ERASED_OPEN, "");

    *left = e == ERR_OK && db_int(db, Q_ERASED_OPEN, 0) > 0;
    db_done(db, Q_ERASED_OPEN);
    return e;
}

static enum err step_finish(struct patient_erasure *p, struct db *db)
{
    bool left = false;
    enum err e = is_left(db, &left);

    if (e == ERR_OK && left)
        e = check_room(p, db);
    return e == ERR_OK && left ? rewrite(p, db) : e;
}

static enum err step_sift(struct patient_erasure *p, struct db *db, bool *more)
{
    enum err e = p->sift.stage == 0 ? check_room(p, db) : ERR_OK;

    if (e == ERR_OK)
        e = sift(p, db, more);
    if (e == ERR_OK && !*more) {
        e = remove_all(p, db);
        p->removed = e == ERR_OK;
        atomic_store(&p->state, ERASE_WRITING);
        *more = true; /* what has waited has its turn first */
    }
    if (e != ERR_OK)
        note_failure(p, db);
    return e;
}

static enum err step(struct db *db, void *arg, bool *more)
{
    struct patient_erasure *p = arg;

    *more = false;
    if (p->finish)
        return step_finish(p, db);
    return atomic_load(&p->state) == ERASE_SIFTING ? step_sift(p, db, more)
                                                   : rewrite(p, db);
}

/* ---- loop thread ----------------------------------------------------------------- */

static void say_failed(struct patient_erasure *p, enum err e)
{
    if (p->text.len == 0 && e == ERR_STOPPED)
        buf_puts(&p->text, _("the service was stopped before it was done"));
    else if (p->text.len == 0)
        buf_printf(&p->text, _("the store could not do it (%s)"), err_word(e));
    if (p->removed)
        buf_printf(&p->text, "\n%s",
                   _("The rows are gone; the file is written anew with the "
                     "next start of the service."));
    else if (!p->finish)
        buf_printf(&p->text, "\n%s", _("Nothing was removed."));
}

static void done(void *arg, enum err e)
{
    struct patient_erasure *p = arg;
    struct service *s = p->service;

    p->under_way = false;
    if (e == ERR_OK && !p->finish)
        patient_erase_say(&p->rows, &p->text);
    else if (e != ERR_OK)
        say_failed(p, e);
    atomic_store(&p->state, e == ERR_OK ? ERASE_DONE : ERASE_FAILED);
    if (p->told && s->outbox != NULL)
        outbox_kick(s->outbox);
    if (p->finish && e == ERR_STOPPED)
        return; /* nobody has asked for it: the next start looks again */
    if (e != ERR_OK)
        log_event(LOG_ERROR, "patient.erase", KEY_ERR(e),
                  KEY_INT("removed", p->removed));
    else if (!p->finish)
        log_event(LOG_INFO, "patient.erase",
                  KEY_INT("ms", clock_ms() - p->began_ms));
}

enum err patient_erasure_open(struct service *service,
                              struct patient_erasure **out)
{
    struct patient_erasure *p = calloc(1, sizeof(*p));

    if (p == NULL)
        return ERR_MEMORY;
    p->service = service;
    buf_init(&p->text, TEXT_MAX);
    *out = p;
    return ERR_OK;
}

static void begin(struct patient_erasure *p)
{
    buf_empty(&p->text);
    p->removed = p->told = false;
    p->under_way = true;
    p->began_ms = clock_ms();
    atomic_store(&p->looked, 0);
    atomic_store(&p->total, 0);
    atomic_store(&p->state, ERASE_SIFTING);
    p->steps = (struct store_steps){ .step = step, .done = done, .arg = p };
    store_begin_steps(p->service->store, &p->steps);
}

enum err patient_erase_begin(struct patient_erasure *p,
                             const struct erase_wish *wish,
                             const struct audit_request *asked)
{
    if (p->under_way)
        return ERR_DENIED;
    snprintf(p->who, sizeof(p->who), "%s", wish->who);
    snprintf(p->why, sizeof(p->why), "%s", wish->why);
    p->even_if_urgent = wish->even_if_urgent;
    p->asked = *asked;
    p->number++;
    p->finish = false;
    p->sift = (struct erase_sift){ .patient = wish->patient,
                                   .mark = p->number,
                                   .names = &p->names,
                                   .senders = p->service->senders,
                                   .base = p->service->config.fhir_base };
    p->rows = (struct erase_rows){ .patient = wish->patient,
                                   .mark = p->number,
                                   .who = p->who,
                                   .why = p->why,
                                   .since_ms = clock_ms() };
    begin(p);
    return ERR_OK;
}

bool patient_erase_busy(const struct patient_erasure *p)
{
    return p->under_way;
}

void patient_erase_finish(struct patient_erasure *p)
{
    if (p->under_way)
        return;
    p->finish = true;
    begin(p);
}

void patient_erase_look(struct patient_erasure *p, struct erase_view *view)
{
    *view = (struct erase_view){
        .number = p->number,
        .state = (enum erase_state)atomic_load(&p->state),
        .looked = atomic_load(&p->looked),
        .total = atomic_load(&p->total),
        .text = !p->under_way && p->text.len > 0 ? p->text.data : ""
    };
}

void patient_erasure_close(struct patient_erasure *p)
{
    if (p == NULL)
        return;
    patient_names_free(&p->names);
    buf_clear(&p->text);
    free(p);
}
