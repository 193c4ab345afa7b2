#include "service/audit_list.h"

#include "adapters/fhir_audit.h"
#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <string.h>

/* What a patient's number means today: "" it has no Patient resource here. */
static enum err find_patient(struct db *db, int64_t patient, char *id,
                             size_t size)
{
    const enum query q = Q_AUDIT_SUBJECT;
    enum err e;

    id[0] = '\0';
    if (patient == 0)
        return ERR_OK;
    e = db_first(db, q, "i", patient);
    if (e == ERR_OK)
        snprintf(id, size, "%s", db_text(db, q, 0));
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void write_table(const struct audit_row *row, const char *patient,
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
    if (patient[0] != '\0')
        buf_printf(out, "  Patient/%s", patient);
    else if (e->patient != 0)
        buf_printf(out, "  patient %lld", (long long)e->patient);
    if (e->detail[0] != '\0')
        buf_printf(out, "  %s", e->detail);
    buf_puts(out, e->outcome == AUDIT_DONE      ? "\n"
                  : e->outcome == AUDIT_REFUSED ? "  REFUSED\n"
                                                : "  FAILED\n");
}

static void write_json(const struct audit_row *row, const char *patient,
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
    if (e->patient != 0)
        fhir_out_int(out, "patient", e->patient);
    fhir_out_text(out, "patient_id", patient);
    fhir_out_int(out, "outcome", e->outcome);
    fhir_out_text(out, "detail", e->detail);
    fhir_out_text(out, "hash", hash);
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}

static void write_fhir(const struct audit_row *row, const char *patient,
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
                                .patient = e->patient,
                                .patient_id = patient,
                                .hash = hash };

    audit_hex(row->hash, hash);
    fhir_audit_write(base, &event, out);
    buf_puts(out, "\n");
}

static enum err write_one(struct db *db, struct audit_wish *w,
                          const struct audit_row *row, struct buf *out)
{
    const struct audit_entry *e = &row->entry;
    char patient[80];
    enum err err;

    if (e->at_ms < w->from_ms || e->at_ms >= w->to_ms ||
        (w->patient != 0 && e->patient != w->patient))
        return ERR_OK;
    err = find_patient(db, e->patient, patient, sizeof(patient));
    if (err != ERR_OK)
        return err;
    w->count++;
    if (w->form == AUDIT_TABLE)
        write_table(row, patient, out);
    else if (w->form == AUDIT_JSON)
        write_json(row, patient, out);
    else
        write_fhir(row, patient, w->base, out);
    return ERR_OK;
}

enum err audit_list(struct db *db, struct audit_wish *w, struct buf *out)
{
    const enum query q = Q_AUDIT_ROWS;
    enum err e = db_query(db, q, "ii", w->after, INT64(AUDIT_STEP_ROWS));
    int64_t last = w->after;
    int count = 0;

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct audit_row row;

        audit_row_get(db, &row);
        last = row.seq;
        count++;
        e = write_one(db, w, &row, out);
    }
    db_done(db, q);
    w->next = count == AUDIT_STEP_ROWS ? last : 0;
    if (e == ERR_ABSENT)
        e = ERR_OK;
    return e == ERR_OK ? buf_ok(out) : e;
}
