#include "service/audit_list.h"

#include "adapters/fhir_audit.h"
#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PAGE_BYTES = 4 * 1024 * 1024 };

/* ---- whom ----------------------------------------------------------------- */

/* Whom a row is of, as it is told. */
struct people {
    struct fhir_audit_patient *list; /* of AUDIT_PATIENTS_MAX */
    size_t count;
    char of[32]; /* how many they are in all, where not all are told; "" */
};

static void take_id(struct db *db, enum query q, int column,
                    struct fhir_audit_patient *patient)
{
    const char *id = db_text(db, q, column);

    snprintf(patient->id, sizeof(patient->id), "%s", id != NULL ? id : "");
}

/* What a patient's number means today: "" it has no Patient resource here. */
static enum err add_one(struct db *db, int64_t number, struct people *p)
{
    const enum query q = Q_AUDIT_SUBJECT;
    struct fhir_audit_patient *patient = &p->list[p->count];
    enum err e;

    if (number == 0)
        return ERR_OK;
    *patient = (struct fhir_audit_patient){ .number = number };
    p->count++;
    e = db_first(db, q, "i", number);
    if (e == ERR_OK)
        take_id(db, q, 0, patient);
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err add_all(struct db *db, int64_t seq, struct people *p)
{
    const enum query q = Q_AUDIT_PATIENTS;
    enum err e = db_query(db, q, "ii", seq, INT64(AUDIT_PATIENTS_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        p->list[p->count].number = db_int(db, q, 0);
        take_id(db, q, 1, &p->list[p->count++]);
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Of the one who is wished for nobody else is told: the list may be for him. */
static enum err find_people(struct db *db, const struct audit_wish *w,
                            const struct audit_row *row, struct people *p)
{
    const char *said = row->entry.patients;

    p->count = 0;
    p->of[0] = '\0';
    if (said[0] == '>') {
        snprintf(p->of, sizeof(p->of), "more than %d", AUDIT_PATIENTS_MAX);
        return ERR_OK;
    }
    if (said[0] == '\0')
        return add_one(db, row->entry.patient, p);
    if (w->patient == 0)
        return add_all(db, row->seq, p);
    snprintf(p->of, sizeof(p->of), "%.*s", (int)strcspn(said, " "), said);
    return add_one(db, w->patient, p);
}

static enum err is_wished(struct db *db, const struct audit_wish *w,
                          const struct audit_row *row, bool *wished)
{
    const struct audit_entry *entry = &row->entry;
    enum err e;

    *wished = entry->at_ms >= w->from_ms && entry->at_ms < w->to_ms;
    if (!*wished || w->patient == 0 || entry->patient == w->patient ||
        entry->patients[0] == '>') /* may be among them */
        return ERR_OK;
    *wished = false;
    if (entry->patients[0] == '\0')
        return ERR_OK;
    e = db_first(db, Q_AUDIT_HAS, "ii", row->seq, w->patient);
    *wished = e == ERR_OK;
    db_done(db, Q_AUDIT_HAS);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* ---- forms ---------------------------------------------------------------- */

static void write_people(const struct people *p, struct buf *out)
{
    if (p->count == 1 && p->list[0].id[0] != '\0')
        buf_printf(out, "  Patient/%s", p->list[0].id);
    else if (p->count == 1)
        buf_printf(out, "  patient %lld", (long long)p->list[0].number);
    else if (p->count > 1)
        buf_printf(out, "  %zu patients", p->count);
    if (p->of[0] != '\0')
        buf_printf(out, "%s of %s patients", p->count > 0 ? "," : " ", p->of);
}

static void write_table(const struct audit_row *row, const struct people *p,
                        struct buf *out)
{
    const struct audit_entry *e = &row->entry;
    char at[FHIR_TIME_SIZE];

    fhir_time_write_ms(e->at_ms, at);
    buf_printf(out, "%lld  %s  %s%s%s", (long long)row->seq, at, e->kind,
               e->actor[0] != '\0' ? " " : "", e->actor);
    if (e->who[0] != '\0')
        buf_printf(out, " (%s)", e->who);
    buf_printf(out, "  %s", e->action);
    if (e->type[0] != '\0')
        buf_printf(out, "  %s%s%s", e->type, e->key[0] != '\0' ? "/" : "",
                   e->key);
    write_people(p, out);
    if (e->detail[0] != '\0')
        buf_printf(out, "  %s", e->detail);
    buf_puts(out, e->outcome == AUDIT_DONE      ? "\n"
                  : e->outcome == AUDIT_REFUSED ? "  REFUSED\n"
                                                : "  FAILED\n");
}

/* patient and patient_id of one; patients of several; of: not all are here. */
static void write_json_people(const struct people *p, struct buf *out)
{
    if (p->count == 1)
        fhir_out_int(out, "patient", p->list[0].number);
    fhir_out_text(out, "patient_id", p->count == 1 ? p->list[0].id : "");
    if (p->count > 1) {
        fhir_out_open(out, "patients", '[');
        for (size_t i = 0; i < p->count; i++) {
            fhir_out_open(out, NULL, '{');
            fhir_out_int(out, "patient", p->list[i].number);
            fhir_out_text(out, "patient_id", p->list[i].id);
            fhir_out_close(out, '}');
        }
        fhir_out_close(out, ']');
    }
    fhir_out_text(out, "of", p->of);
}

static void write_json(const struct audit_row *row, const struct people *p,
                       struct buf *out)
{
    const struct audit_entry *e = &row->entry;
    char at[FHIR_TIME_SIZE], hash[AUDIT_HEX_SIZE];

    fhir_time_write_ms(e->at_ms, at);
    audit_hex(row->hash, hash);
    buf_puts(out, "{"); /* no comma behind a line before */
    fhir_out_int(out, "seq", row->seq);
    fhir_out_text(out, "time", at);
    fhir_out_text(out, "kind", e->kind);
    fhir_out_text(out, "actor", e->actor);
    fhir_out_text(out, "scope", e->scope);
    fhir_out_text(out, "who", e->who);
    fhir_out_text(out, "action", e->action);
    fhir_out_text(out, "type", e->type);
    fhir_out_text(out, "key", e->key);
    write_json_people(p, out);
    fhir_out_int(out, "outcome", e->outcome);
    fhir_out_text(out, "detail", e->detail);
    fhir_out_text(out, "hash", hash);
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}

static void write_fhir(const struct audit_row *row, const struct people *p,
                       const char *base, struct buf *out)
{
    const struct audit_entry *e = &row->entry;
    char hash[AUDIT_HEX_SIZE];
    struct fhir_audit event = { .seq = row->seq,
                                .at_ms = e->at_ms,
                                .kind = e->kind,
                                .actor = e->actor,
                                .scope = e->scope,
                                .who = e->who,
                                .action = e->action,
                                .type = e->type,
                                .key = e->key,
                                .detail = e->detail,
                                .outcome = (int)e->outcome,
                                .patients = p->list,
                                .patient_count = p->count,
                                .of = p->of,
                                .hash = hash };

    audit_hex(row->hash, hash);
    fhir_audit_write(base, &event, out);
    buf_puts(out, "\n");
}

static enum err write_one(struct db *db, struct audit_wish *w,
                          const struct audit_row *row, struct people *p,
                          struct buf *out)
{
    bool wished;
    enum err e = is_wished(db, w, row, &wished);

    if (e != ERR_OK || !wished)
        return e;
    e = find_people(db, w, row, p);
    if (e != ERR_OK)
        return e;
    w->count++;
    if (w->form == AUDIT_TABLE)
        write_table(row, p, out);
    else if (w->form == AUDIT_JSON)
        write_json(row, p, out);
    else
        write_fhir(row, p, w->base, out);
    return ERR_OK;
}

static enum err list(struct db *db, struct audit_wish *w, struct people *p,
                     struct buf *out)
{
    const enum query q = Q_AUDIT_ROWS;
    const size_t before = out->len;
    enum err e = db_query(db, q, "ii", w->after, INT64(AUDIT_STEP_ROWS));
    int64_t last = w->after;
    int count = 0;

    while (e == ERR_OK && out->len - before < PAGE_BYTES &&
           (e = db_next(db, q)) == ERR_OK) {
        struct audit_row row;

        audit_row_get(db, &row);
        last = row.seq;
        count++;
        e = write_one(db, w, &row, p, out);
    }
    db_done(db, q);
    w->next = count == AUDIT_STEP_ROWS || e == ERR_OK ? last : 0;
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err audit_list(struct db *db, struct audit_wish *w, struct buf *out)
{
    struct people p = { .list = calloc(AUDIT_PATIENTS_MAX, sizeof(*p.list)) };
    enum err e = p.list != NULL ? list(db, w, &p, out) : ERR_MEMORY;

    free(p.list);
    return e == ERR_OK ? buf_ok(out) : e;
}
