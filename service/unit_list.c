#include "service/unit_list.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_list.h"
#include "adapters/fhir_time.h"
#include "adapters/hex.h"
#include "adapters/task_codes.h"
#include "service/draft.h"
#include "service/queue.h"
#include "service/queue_rows.h"

#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DIGEST_TEXT_SIZE = 65, TEXT_SIZE_MAX = 8192, SYSTEM_SIZE = 1024 };

#define MARK "unit_list_mark"

/* One list while it is put together; what its entries borrow. */
struct words {
    char patient[ALIAS_SIZE];
    char name[160];
    char code[TASK_CODE_SIZE];
    struct buf text;
};

struct keeping {
    struct db *db;
    const struct unit_list_options *options;
    struct queue_rows rows; /* of all units */
    char node[FID_SIZE], system[SYSTEM_SIZE];
    struct fhir_list_entry *entries; /* FHIR_LIST_ENTRIES_MAX of each */
    struct words *words;
    bool *told;
};

/* ---- an entry ------------------------------------------------------------------ */

static const char *urgency_said(enum urgency u)
{
    switch (u) {
    case URGENCY_IMMEDIATE:
        return _("To phone now.");
    case URGENCY_ASAP:
        return _("Very urgent.");
    case URGENCY_URGENT:
        return _("Urgent.");
    case URGENCY_ROUTINE:
        return _("Routine.");
    case URGENCY_NOTE:
        break;
    }
    return "";
}

static void sentence(struct buf *out, const char *text)
{
    if (text[0] != '\0')
        buf_printf(out, "%s%s", out->len > 0 ? " " : "", text);
}

/* What the queue says of it: nothing that changes by time alone. */
static void say(const struct keeping *k, const struct queue_row *row,
                struct buf *out)
{
    char date[FHIR_TIME_SIZE], text[128];
    int64_t now_s = k->options->now_ms() / 1000;

    buf_puts(out, row->headline);
    if (out->len > 0 && out->data[out->len - 1] != '.')
        buf_puts(out, ".");
    sentence(out, row->reminder ? _("Reminder.") : urgency_said(row->urgency));
    if (row->due_s != 0) {
        fhir_date_write(row->due_s, k->options->zone, date);
        /* TRANSLATORS: a date */
        snprintf(text, sizeof(text), _("Due %s."), date);
        sentence(out, text);
    }
    if (row->state == EPISODE_TAKEN)
        sentence(out, _("In hand."));
    if (queue_is_put_off(row, now_s)) {
        fhir_date_write(row->put_off_until_s, k->options->zone, date);
        /* TRANSLATORS: a date */
        snprintf(text, sizeof(text), _("Put off until %s."), date);
        sentence(out, text);
    }
}

static enum group group_of(const char *word)
{
    int g = 0;

    while (g < GROUP_COUNT - 1 && strcmp(group_word((enum group)g), word) != 0)
        g++;
    return (enum group)g;
}

/* Of a reminder the code of its Task, else the reason of the group. */
static enum err find_code(struct db *db, const struct queue_row *row,
                          struct words *w, struct fhir_list_entry *entry)
{
    const struct task_code *reason = task_code_reason(group_of(row->group));
    struct resource task;
    enum err e;

    entry->code = reason->code;
    entry->display = reason->display;
    if (!row->reminder)
        return ERR_OK;
    e = resource_by_fid(db, FHIR_TASK, row->task_id, &task);
    if (e == ERR_OK)
        e = db_first(db, Q_TASK_GET, "i", task.id);
    if (e != ERR_OK)
        return e;
    snprintf(w->code, sizeof(w->code), "%s", db_text(db, Q_TASK_GET, 4));
    db_done(db, Q_TASK_GET);
    entry->code = w->code;
    entry->display = strcmp(row->group, group_word(GROUP_FOLLOW_UP)) == 0
                         ? task_code_follow_up()->display
                         : TASK_REPEAT_DISPLAY;
    return ERR_OK;
}

static enum err fill(struct keeping *k, const struct queue_row *row,
                     struct words *w, struct fhir_list_entry *entry)
{
    struct patient patient;
    enum err e = patient_get(k->db, row->patient_id, &patient);

    *entry = (struct fhir_list_entry){ .since_s = row->opened_s };
    if (e == ERR_OK)
        e = draft_refer(k->db, "Patient", patient.resource, patient.anchor,
                        patient.anchor_is_literal, w->patient, &entry->patient);
    if (e == ERR_OK)
        e = find_code(k->db, row, w, entry);
    if (e != ERR_OK)
        return e;
    snprintf(w->name, sizeof(w->name), "%s", patient.name);
    entry->patient.display = w->name[0] != '\0' ? w->name : NULL;
    buf_empty(&w->text);
    say(k, row, &w->text);
    entry->text = w->text.data;
    return buf_ok(&w->text);
}

/* ---- a list -------------------------------------------------------------------- */

static enum err gather(struct keeping *k, struct fhir_list *list)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < k->rows.count; i++) {
        const struct queue_row *row = &k->rows.rows[i];

        if (row->held || row->silent || row->deceased || row->patient_id == 0 ||
            strcmp(row->unit, list->unit) != 0)
            continue;
        if (list->count == FHIR_LIST_ENTRIES_MAX) {
            list->left_out++;
            continue;
        }
        e = fill(k, row, &k->words[list->count], &k->entries[list->count]);
        list->count++;
    }
    return e;
}

/* Of all but when it was put together. */
static enum err sum(const struct fhir_list *list, char text[DIGEST_TEXT_SIZE])
{
    struct fhir_list timeless = *list;
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int len = 0;
    struct buf json;
    enum err e;

    timeless.at_ms = 0;
    buf_init(&json, TASK_MAX);
    e = fhir_list_write(&timeless, &json);
    if (e == ERR_OK &&
        EVP_Digest(json.data, json.len, digest, &len, EVP_sha256(), NULL) != 1)
        e = ERR_MEMORY;
    if (e == ERR_OK)
        hex_write(digest, 32, text);
    buf_clear(&json);
    return e;
}

static enum err send(struct keeping *k, const struct resource *row,
                     int64_t part, const char *unit)
{
    if (!k->options->record || k->options->silent)
        return ERR_OK;
    *k->told = true;
    return db_run(k->db, Q_OUTBOX_WANT_LIST, "iiiis", row->id, part,
                  INT64(row->version), k->options->now_ms(), unit);
}

static enum err store(struct keeping *k, struct fhir_list *list,
                      struct resource *row, const char *digest)
{
    struct new_version v = { 0 };
    int64_t now_ms = k->options->now_ms(), part;
    struct buf json;
    enum err e;

    list->at_ms = now_ms;
    buf_init(&json, TASK_MAX);
    e = fhir_list_write(list, &json);
    v.body = json.data;
    v.len = json.len;
    /* which partition: as good as any, and always the same */
    part = 0;
    if (e == ERR_OK)
        e = resource_put(k->db, row, NULL, part, now_ms, &v);
    if (e == ERR_OK)
        e = db_run(k->db, Q_UNIT_LIST_PUT, "siiss", list->unit, part, row->id,
                   digest, list->retired ? "retired" : "current");
    if (e == ERR_OK)
        e = send(k, row, part, list->unit);
    buf_clear(&json);
    return e;
}

/* What there is of it; row->id 0 and digest "": nothing. */
static enum err find(struct keeping *k, const char *unit, struct resource *row,
                     char digest[DIGEST_TEXT_SIZE])
{
    const enum query q = Q_UNIT_LIST_GET;
    int64_t id;
    enum err e = db_first(k->db, q, "s", unit);

    *row = (struct resource){ .kind = FHIR_LIST };
    digest[0] = '\0';
    if (e == ERR_ABSENT)
        return ERR_OK;
    if (e != ERR_OK)
        return e;
    id = db_int(k->db, q, 0);
    snprintf(digest, DIGEST_TEXT_SIZE, "%s", db_text(k->db, q, 1));
    db_done(k->db, q);
    return resource_get(k->db, id, row);
}

/* The source: who keeps it. */
static struct fhir_out_ref keeper(struct keeping *k)
{
    return (struct fhir_out_ref){ .system = k->system,
                                  .value = k->node,
                                  .type = "Device",
                                  .display = "headgate" };
}

static enum err keep_one(struct keeping *k, const char *unit)
{
    struct fhir_list list = { .base = k->options->base,
                              .unit = unit,
                              .retired = k->options->silent,
                              .source = keeper(k),
                              .entries = k->entries };
    char before[DIGEST_TEXT_SIZE], now[DIGEST_TEXT_SIZE];
    struct resource row;
    enum err e = find(k, unit, &row, before);

    if (e != ERR_OK || (row.id == 0 && k->options->silent))
        return e; /* none is begun in silent mode */
    if (row.id == 0)
        new_fid(row.fid);
    list.id = row.fid;
    if (!list.retired)
        e = gather(k, &list);
    if (e == ERR_OK && row.id == 0 && list.count == 0)
        return ERR_OK; /* begun with the first patient */
    if (e == ERR_OK)
        e = sum(&list, now);
    if (e == ERR_OK && strcmp(before, now) != 0)
        e = store(k, &list, &row, now);
    return e;
}

/* ---- all of them ---------------------------------------------------------------- */

/* Names first: what is done with them uses the same connection. */
static enum err keep_all(struct keeping *k)
{
    const enum query q = Q_UNIT_LIST_UNITS;
    char **units = calloc(UNITS_MAX, sizeof(*units));
    size_t count = 0;
    enum err e;

    if (units == NULL)
        return ERR_MEMORY;
    e = db_query(k->db, q, "i", INT64(UNITS_MAX));
    while (e == ERR_OK && (e = db_next(k->db, q)) == ERR_OK) {
        units[count] = strdup(db_text(k->db, q, 0));
        if (units[count] == NULL)
            e = ERR_MEMORY;
        else
            count++;
    }
    db_done(k->db, q);
    e = e == ERR_ABSENT ? ERR_OK : e;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = keep_one(k, units[i]);
    for (size_t i = 0; i < count; i++)
        free(units[i]);
    free(units);
    return e;
}

/* Lists that the record was not to have before, and now is. */
static enum err catch_up(struct keeping *k)
{
    const enum query q = Q_UNIT_LIST_UNSENT;
    enum err e = ERR_OK;

    if (!k->options->record || k->options->silent)
        return ERR_OK;
    while (e == ERR_OK && (e = db_first(k->db, q, "")) == ERR_OK) {
        struct resource row = { .id = db_int(k->db, q, 0),
                                .version = (int)db_int(k->db, q, 2) };
        int64_t part = db_int(k->db, q, 1);
        char unit[160];

        snprintf(unit, sizeof(unit), "%s", db_text(k->db, q, 3));
        db_done(k->db, q);
        e = send(k, &row, part, unit);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err open_keeping(struct keeping *k)
{
    enum err e = draft_node(k->db, k->node);

    k->entries = calloc(FHIR_LIST_ENTRIES_MAX, sizeof(*k->entries));
    k->words = calloc(FHIR_LIST_ENTRIES_MAX, sizeof(*k->words));
    if (k->entries == NULL || k->words == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < FHIR_LIST_ENTRIES_MAX; i++)
        buf_init(&k->words[i].text, TEXT_SIZE_MAX);
    snprintf(k->system, sizeof(k->system), "%s/NamingSystem/node",
             k->options->base);
    /* what is held has no entry: none is read */
    return e == ERR_OK ? queue_rows_read(k->db, INT64_MAX,
                                         k->options->now_ms() / 1000, &k->rows)
                       : e;
}

static void close_keeping(struct keeping *k)
{
    for (size_t i = 0; k->words != NULL && i < FHIR_LIST_ENTRIES_MAX; i++)
        buf_clear(&k->words[i].text);
    free(k->words);
    free(k->entries);
    queue_rows_clear(&k->rows);
}

/* Has the queue changed since the lists were kept last? */
static enum err has_changed(struct db *db,
                            const struct unit_list_options *options,
                            char mark[QUEUE_MARK_SIZE], bool *changed)
{
    const struct queue_options o = { .silent = options->silent,
                                     .now_s = options->now_ms() / 1000,
                                     .zone = options->zone };
    enum err e = queue_mark(db, &o, mark);

    if (e == ERR_OK)
        e = db_first(db, Q_META_GET, "s", MARK);
    *changed = e == ERR_ABSENT ||
               (e == ERR_OK && strcmp(db_text(db, Q_META_GET, 0), mark) != 0);
    db_done(db, Q_META_GET);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err unit_list_keep(struct db *db, const struct unit_list_options *options,
                        bool anew, bool *told)
{
    struct keeping k = { .db = db, .options = options, .told = told };
    char mark[QUEUE_MARK_SIZE];
    bool changed;
    enum err e = has_changed(db, options, mark, &changed);

    if (e != ERR_OK || (!changed && !anew))
        return e;
    e = open_keeping(&k);
    if (e == ERR_OK)
        e = keep_all(&k);
    if (e == ERR_OK)
        e = catch_up(&k);
    if (e == ERR_OK)
        e = db_run(db, Q_META_PUT, "ss", MARK, mark);
    close_keeping(&k);
    return e;
}
