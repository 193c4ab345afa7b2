#include "service/patient_export.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_search.h"
#include "adapters/fhir_time.h"
#include "service/audit_list.h"
#include "service/decisions.h"
#include "service/names.h"
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/patient_whole.h"
#include "service/quarantine_item.h"
#include "service/resources.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_MAX = 4096 };

struct giving {
    struct db *db;
    struct patient_export *e;
    struct buf *out; /* all lines */
    struct buf line; /* the one that is written */
};

static enum err end_line(struct giving *g)
{
    enum err e = buf_ok(&g->line);

    if (e != ERR_OK)
        return e;
    buf_add(g->out, g->line.data, g->line.len);
    buf_puts(g->out, "\n");
    buf_empty(&g->line);
    g->e->lines++;
    return buf_ok(g->out);
}

/* ---- resources ---------------------------------------------------------------- */

static enum err give_version(struct giving *g, const struct resource *row,
                             int version)
{
    struct buf json;
    int64_t updated_ms;
    enum err e;

    buf_init(&json, BODY_MAX + 4096);
    e = resource_served(g->db, g->e->base, row, version, &json, &updated_ms);
    if (e == ERR_OK) {
        fhir_out_raw(&g->line, NULL, json.data, json.len);
        e = end_line(g);
    }
    buf_clear(&json);
    return e == ERR_ABSENT ? ERR_OK : e; /* a version that was pruned */
}

struct rows {
    struct resource *list;
    size_t count, room;
};

static enum err add_row(struct rows *rows, const struct resource *row)
{
    if (rows->count == rows->room) {
        size_t room = rows->room == 0 ? 256 : 2 * rows->room;
        struct resource *list = realloc(rows->list, room * sizeof(*list));

        if (list == NULL)
            return ERR_MEMORY;
        rows->list = list;
        rows->room = room;
    }
    rows->list[rows->count++] = *row;
    return ERR_OK;
}

/* First: reading one uses the same connection. */
static enum err list_rows(struct db *db, struct rows *rows)
{
    const enum query q = Q_WHOLE_LIST;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct resource row = { .kind = (enum fhir_type)db_int(db, q, 0),
                                .version = (int)db_int(db, q, 2),
                                .updated_ms = db_int(db, q, 3),
                                .id = db_int(db, q, 4) };

        snprintf(row.fid, sizeof(row.fid), "%s", db_text(db, q, 1));
        e = add_row(rows, &row);
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err give_resources(struct giving *g)
{
    struct rows rows = { .list = NULL };
    enum err e = list_rows(g->db, &rows);

    for (size_t i = 0; e == ERR_OK && i < rows.count; i++) {
        for (int v = 1; e == ERR_OK && v <= rows.list[i].version; v++)
            e = give_version(g, &rows.list[i], v);
    }
    free(rows.list);
    return e;
}

/* ---- what was decided, and done ------------------------------------------------- */

static void open_provenance(struct giving *g, const char *kind, int64_t number,
                            const char *type, const char *id)
{
    char text[256];

    fhir_out_open(&g->line, NULL, '{');
    fhir_out_text(&g->line, "resourceType", "Provenance");
    snprintf(text, sizeof(text), "%s-%lld", kind, (long long)number);
    fhir_out_text(&g->line, "id", text);
    fhir_out_open(&g->line, "target", '[');
    fhir_out_open(&g->line, NULL, '{');
    snprintf(text, sizeof(text), "%s/%s", type, id);
    fhir_out_text(&g->line, "reference", text);
    fhir_out_close(&g->line, '}');
    fhir_out_close(&g->line, ']');
}

/* what was done, when, and who did it */
static void close_provenance(struct giving *g, int64_t at_ms, const char *what,
                             const char *reason, const char *who)
{
    char at[FHIR_TIME_SIZE];

    fhir_time_write_ms(at_ms, at);
    fhir_out_text(&g->line, "recorded", at);
    if (reason != NULL && reason[0] != '\0') {
        fhir_out_open(&g->line, "reason", '[');
        fhir_out_open(&g->line, NULL, '{');
        fhir_out_text(&g->line, "text", reason);
        fhir_out_close(&g->line, '}');
        fhir_out_close(&g->line, ']');
    }
    fhir_out_open(&g->line, "activity", '{');
    fhir_out_text(&g->line, "text", what);
    fhir_out_close(&g->line, '}');
    fhir_out_open(&g->line, "agent", '[');
    fhir_out_open(&g->line, NULL, '{');
    fhir_out_open(&g->line, "who", '{');
    fhir_out_text(&g->line, "display", who);
    fhir_out_close(&g->line, '}');
    fhir_out_close(&g->line, '}');
    fhir_out_close(&g->line, ']');
    fhir_out_close(&g->line, '}');
}

static enum err give_decision(struct giving *g)
{
    const enum query q = Q_WHOLE_DECISIONS;
    struct db *db = g->db;
    enum act act = (enum act)db_int(db, q, 2);
    enum decision_how how = (enum decision_how)db_int(db, q, 8);
    bool reminder = db_int(db, q, 7) != 0;
    const char *task = db_text(db, q, 10), *access = db_text(db, q, 12);
    struct buf what;
    enum err e;

    buf_init(&what, WORDS_MAX);
    buf_printf(&what, "%s %s", reminder ? "reminder" : "suggestion",
               decision_act_words(act, how));
    if (act == ACT_END)
        buf_printf(&what, " (%s)",
                   decision_end_words(reminder, how,
                                      (enum end_reason)db_int(db, q, 3)));
    buf_puts(&what, ", rules ");
    rules_words((unsigned)db_int(db, q, 5), &what);
    buf_printf(&what, ", policy %s%s", db_text(db, q, 4),
               db_int(db, q, 9) != 0 ? ", posted to nobody" : "");
    e = buf_ok(&what);
    if (e == ERR_OK) {
        if (task != NULL)
            open_provenance(g, "decision", db_int(db, q, 0), "Task", task);
        else
            open_provenance(g, "decision", db_int(db, q, 0), "BodyStructure",
                            access != NULL ? access : "");
        close_provenance(g, db_int(db, q, 1), what.data, NULL, "headgate");
        e = end_line(g);
    }
    buf_clear(&what);
    return e;
}

static enum err give_deed(struct giving *g)
{
    const enum query q = Q_WHOLE_DEEDS;
    struct db *db = g->db;
    const char *word = deed_word((enum deed_act)db_int(db, q, 2));
    const char *detail = db_text(db, q, 3);
    struct buf what;
    enum err e;

    buf_init(&what, WORDS_MAX);
    buf_puts(&what, word);
    if (detail != NULL && detail[0] != '\0')
        buf_printf(&what, ": %s", detail);
    e = buf_ok(&what);
    if (e == ERR_OK) {
        open_provenance(g, "deed", db_int(db, q, 0),
                        search_type_word((enum fhir_type)db_int(db, q, 6)),
                        db_text(db, q, 7));
        close_provenance(g, db_int(db, q, 1), what.data, db_text(db, q, 5),
                         db_text(db, q, 4));
        e = end_line(g);
    }
    buf_clear(&what);
    return e;
}

/* ---- what came, as it came ------------------------------------------------------- */

static enum err give_binary(struct giving *g, enum query q, const char *kind,
                            const char *type)
{
    size_t len, size;
    const void *body = db_blob(g->db, q, 3, &len);
    struct buf bytes;
    char *coded, id[64];
    enum err e;

    buf_init(&bytes, BODY_MAX);
    e = unpack(body, len, (size_t)db_int(g->db, q, 2), &bytes);
    size = 4 * ((bytes.len + 2) / 3) + 1;
    coded = e == ERR_OK ? malloc(size) : NULL;
    if (e == ERR_OK && coded == NULL)
        e = ERR_MEMORY;
    if (e == ERR_OK) {
        EVP_EncodeBlock((unsigned char *)coded,
                        (const unsigned char *)bytes.data, (int)bytes.len);
        fhir_out_open(&g->line, NULL, '{');
        fhir_out_text(&g->line, "resourceType", "Binary");
        snprintf(id, sizeof(id), "%s-%lld", kind,
                 (long long)db_int(g->db, q, 0));
        fhir_out_text(&g->line, "id", id);
        fhir_out_text(&g->line, "contentType", type);
        fhir_out_text(&g->line, "data", coded);
        fhir_out_close(&g->line, '}');
        e = end_line(g);
    }
    free(coded);
    buf_clear(&bytes);
    return e;
}

/* Source: HL7 v2 over HTTP, "x-application/hl7-v2+er7". */
static enum err give_message(struct giving *g)
{
    return give_binary(g, Q_WHOLE_MESSAGE_LIST, "hl7",
                       "x-application/hl7-v2+er7");
}

static enum err give_item(struct giving *g)
{
    return give_binary(g, Q_WHOLE_ITEM_LIST, "quarantine",
                       "application/octet-stream");
}

static enum err give_each(struct giving *g, enum query q,
                          enum err (*give)(struct giving *g))
{
    enum err e = db_query(g->db, q, "");

    while (e == ERR_OK && (e = db_next(g->db, q)) == ERR_OK)
        e = give(g);
    db_done(g->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err give_audit(struct giving *g)
{
    struct audit_wish wish = { .form = AUDIT_FHIR,
                               .to_ms = INT64_MAX,
                               .patient = g->e->patient,
                               .base = g->e->base,
                               .zone = g->e->zone };
    enum err e = ERR_OK;

    do {
        e = audit_list(g->db, &wish, g->out);
        g->e->lines += e == ERR_OK ? wish.count : 0;
        wish.after = wish.next;
    } while (e == ERR_OK && wish.next != 0);
    return e;
}

static enum err give_all(struct giving *g)
{
    enum err e = give_resources(g);

    if (e == ERR_OK)
        e = give_each(g, Q_WHOLE_DECISIONS, give_decision);
    if (e == ERR_OK)
        e = give_each(g, Q_WHOLE_DEEDS, give_deed);
    if (e == ERR_OK)
        e = give_each(g, Q_WHOLE_MESSAGE_LIST, give_message);
    if (e == ERR_OK)
        e = give_each(g, Q_WHOLE_ITEM_LIST, give_item);
    return e == ERR_OK ? give_audit(g) : e;
}

/* Besides what is known by its rows: what waits in quarantine. */
static enum err collect(struct db *db, const struct patient_export *x)
{
    struct patient_names names = { .list = NULL };
    const struct seeking seeking = { .db = db,
                                     .names = &names,
                                     .senders = x->senders,
                                     .base = x->base != NULL ? x->base : "" };
    enum err e = patient_whole_collect(db, x->patient, 0);

    if (e == ERR_OK)
        e = patient_names_read(db, x->patient, &names);
    if (e == ERR_OK)
        e = patient_sift_known(&seeking);
    if (e == ERR_OK)
        e = patient_whole_settle(db);
    patient_names_free(&names);
    return e;
}

enum err patient_export(struct db *db, const char *name,
                        struct patient_export *export, struct buf *out)
{
    struct giving g = { .db = db, .e = export, .out = out };
    enum err e = patient_whole_find(db, name, &export->patient);

    export->lines = 0;
    if (e == ERR_OK)
        e = collect(db, export);
    if (e != ERR_OK)
        return e;
    buf_init(&g.line, (size_t)2 * BODY_MAX);
    e = give_all(&g);
    buf_clear(&g.line);
    return e;
}
