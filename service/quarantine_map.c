/* A person says what a code or a unit means, or what a reading belongs to. */
#include "service/quarantine_act.h"

#include "adapters/fhir_glance.h"
#include "adapters/quarantine_text.h"
#include "adapters/queue_text.h"
#include "adapters/units.h"
#include "service/maps.h"

#include <stdio.h>
#include <string.h>

enum {
    CODE_MAX = 520,
    WHY_MAX = 1000,
    DETAIL_SIZE = 2048,
    BEFORE_ANY_S = 1 /* 1970-01-01: nothing was measured before */
};

/* A row on its way into the map; line borrows from the texts. */
struct mapping_line {
    char system[CODES_SCOPE_SIZE], code[CODE_MAX], target[CODE_MAX];
    struct codes_line line;
};

/* ---- keeping it ----------------------------------------------------------- */

/* What a person has typed wrongly must not be answered with a bare word. */
static enum err refuse_line(struct quarantine_act *act, enum err e,
                            const struct buf *why)
{
    if (e == ERR_MEMORY)
        return e;
    return quarantine_refuse(act, e == ERR_LIMIT ? 409 : 400, "%s",
                             why->len > 0 ? why->data
                                          : "this cannot be mapped");
}

/* Kept first and learnt last: nobody reads by a row that is not kept. */
static enum err learn(struct db *db, struct quarantine_act *act,
                      const struct quarantine_item *item,
                      struct mapping_line *m, enum deed_act deed)
{
    char detail[DETAIL_SIZE];
    struct buf why, text;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = codes_may_learn(act->site.codes, &m->line, &why);
    if (e == ERR_CONFLICT && deed == DEED_MAP_UNIT &&
        m->line.from_s == INT64_MIN) {
        /* a person has mapped the code before, without a unit: of two rows
         * the one counts that begins later */
        m->line.from_s = BEFORE_ANY_S;
        buf_empty(&why);
        if (codes_may_learn(act->site.codes, &m->line, &why) == ERR_OK)
            e = ERR_OK;
    }
    if (e == ERR_UNKNOWN && codes_is_unit(m->system)) {
        buf_empty(&why);
        buf_printf(&why, "'%s' is no unit of UCUM that is known here",
                   m->target);
    }
    if (e != ERR_OK) {
        e = refuse_line(act, e, &why);
        buf_clear(&why);
        return e;
    }
    buf_init(&text, sizeof(detail) - 1);
    quarantine_write_mapped(&m->line, &text);
    snprintf(detail, sizeof(detail), "%s", text.len > 0 ? text.data : "");
    buf_clear(&text);
    e = maps_store(db, &m->line, act->who, act->why, act->site.now_ms,
                   &m->line.id);
    act->mapping = m->line.id;
    if (e == ERR_OK)
        e = quarantine_keep(db, act, item->number, deed, detail);
    if (e == ERR_OK)
        e = codes_learn(act->site.codes, &m->line, &why);
    buf_clear(&why);
    if (e != ERR_OK)
        return e;
    buf_puts(&act->text, "Mapped: ");
    queue_text_clean(&act->text, detail);
    buf_printf(&act->text,
               ".\nIt is mapping %lld: headgate quarantine unmap %lld takes it "
               "back.\n",
               (long long)act->mapping, (long long)act->mapping);
    act->more = true;
    return ERR_OK;
}

static enum err fill_line(struct quarantine_act *act, struct mapping_line *m)
{
    struct fhir_time from;

    m->line = (struct codes_line){ .system = m->system,
                                   .code = m->code,
                                   .target = m->target,
                                   .unit = act->unit,
                                   .arm = act->arm,
                                   .from_s = INT64_MIN };
    if (act->from[0] == '\0')
        return ERR_OK;
    if (fhir_time_read(act->from, strlen(act->from), act->site.zone, &from) !=
        ERR_OK)
        return quarantine_refuse(act, 400,
                                 "--from is a date, such as 2026-03-31");
    m->line.from_s = from.start_s;
    return ERR_OK;
}

/* ---- a code --------------------------------------------------------------- */

/* Is it the one that the person named: "SYSTEM|CODE", or the code alone? */
static bool is_named(const char *named, const struct fhir_unmapped *u)
{
    const char *bar = strrchr(named, '|');

    if (named[0] == '\0')
        return true;
    if (bar == NULL)
        return strcmp(named, u->code) == 0;
    return strlen(u->system) == (size_t)(bar - named) &&
           memcmp(u->system, named, strlen(u->system)) == 0 &&
           strcmp(bar + 1, u->code) == 0;
}

/* The codes of it that no map has, as they may be named; each once. */
struct unmapped_found {
    struct mapping_line *line; /* takes the first */
    const char *named;
    struct buf list;
    size_t count, bare; /* bare: without a system, which no map can have */
};

static void find_in(struct unmapped_found *f, const struct fhir_observation *o)
{
    for (size_t i = 0; i < o->unmapped_count; i++) {
        const struct fhir_unmapped *u = &o->unmapped[i];

        if (u->system == NULL || u->system[0] == '\0') {
            f->bare++;
            continue;
        }
        if (!is_named(f->named, u) ||
            (f->count > 0 && strcmp(f->line->system, u->system) == 0 &&
             strcmp(f->line->code, u->code) == 0))
            continue;
        if (f->count++ == 0) {
            snprintf(f->line->system, sizeof(f->line->system), "%s", u->system);
            snprintf(f->line->code, CODE_MAX, "%s", u->code);
        }
        buf_printf(&f->list, "%s%s|%s", f->list.len > 0 ? ", " : "", u->system,
                   u->code);
    }
}

static void find_unmapped(const struct fhir_reader *reader,
                          const struct buf *bytes, struct unmapped_found *f)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;

    outcome_init(&outcome);
    if (fhir_read(reader, bytes->data, bytes->len, &outcome, &doc) != ERR_OK)
        return;
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct fhir_item *item = fhir_doc_item(doc, i);

        if (item->type == FHIR_OBSERVATION)
            find_in(f, &item->u.observation);
    }
    fhir_doc_free(doc);
}

/* Which code is meant is never guessed: one of them may be a pump's. */
static enum err choose_code(struct quarantine_act *act,
                            const struct quarantine_item *item,
                            const struct buf *bytes, struct mapping_line *m)
{
    struct unmapped_found f = { .line = m, .named = act->code };
    enum err e = ERR_OK;

    buf_init(&f.list, WHY_MAX);
    find_unmapped(&act->site.reader, bytes, &f);
    if (f.count > 1)
        e = quarantine_refuse(act, 409,
                              "No map has several codes of %lld; say which one "
                              "is meant with --code: %s",
                              (long long)item->number,
                              f.list.data != NULL ? f.list.data : "");
    else if (f.count == 0 && f.bare > 0)
        e = quarantine_refuse(act, 409,
                              "The code comes without a system, and no map can "
                              "have it: the sender has to send one");
    else if (f.count == 0)
        e = quarantine_refuse(act, 409,
                              act->code[0] != '\0'
                                  ? "There is no such code in %lld that no map "
                                    "has"
                                  : "Every code of %lld is in a map",
                              (long long)item->number);
    buf_clear(&f.list);
    return e;
}

static enum err map_code(struct db *db, struct quarantine_act *act,
                         const struct quarantine_item *item,
                         const struct buf *bytes)
{
    struct mapping_line m;
    enum err e = choose_code(act, item, bytes, &m);

    if (e != ERR_OK)
        return e;
    snprintf(m.target, sizeof(m.target), "%s", act->target);
    e = fill_line(act, &m);
    return e == ERR_OK ? learn(db, act, item, &m, DEED_MAP_CODE) : e;
}

/* ---- a unit --------------------------------------------------------------- */

/* Where the unit is at fault. */
static enum err unit_slot(struct db *db, const struct quarantine_item *item,
                          int *slot)
{
    const enum query q = Q_HELD_SLOTS;
    enum err e = db_query(db, q, "i", item->number);
    enum err found = ERR_ABSENT;

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (found == ERR_OK || strcmp(db_text(db, q, 1), "unit") != 0)
            continue;
        *slot = (int)db_int(db, q, 0);
        found = ERR_OK;
    }
    return e == ERR_ABSENT ? found : e;
}

/* The coding of what was measured that a map knows; ERR_ABSENT. */
static enum err known_coding(const struct quarantine_act *act,
                             const struct buf *bytes, int slot,
                             struct mapping_line *m, enum quantity *quantity)
{
    struct buf system, code;
    enum err e = ERR_OK;
    bool found = false;

    buf_init(&system, CODE_MAX - 1);
    buf_init(&code, CODE_MAX - 1);
    for (size_t i = 0; e == ERR_OK && !found; i++) {
        struct code_entry entry;

        buf_empty(&system);
        buf_empty(&code);
        e = fhir_glance_coding(bytes->data, bytes->len, slot, i, &system,
                               &code);
        if (e != ERR_OK)
            break;
        entry =
            codes_find(act->site.codes, system.data, code.data, CODES_NEWEST);
        found = entry.meaning == CODE_QUANTITY;
        if (!found)
            continue;
        *quantity = entry.quantity;
        snprintf(m->system, sizeof(m->system), "%s", system.data);
        snprintf(m->code, CODE_MAX, "%s", code.data);
        snprintf(m->target, CODE_MAX, "%s", codes_entry_word(&entry));
    }
    buf_clear(&system);
    buf_clear(&code);
    return found ? ERR_OK : e;
}

/* The word is of this code alone: another code may mean another unit by it,
 * and so may another sender. */
static enum err scope_word(struct quarantine_act *act, const struct buf *word,
                           enum quantity quantity, struct mapping_line *m)
{
    char scope[CODES_SCOPE_SIZE];
    double value;
    enum err e = codes_unit_scope(m->system, m->code, scope);

    if (e != ERR_OK)
        return quarantine_refuse(act, 409,
                                 "The code of it is longer than a map may have "
                                 "one");
    if (units_listed(act->unit, strlen(act->unit)) &&
        units_convert(quantity, act->unit, strlen(act->unit), 1, &value) !=
            ERR_OK)
        return quarantine_refuse(act, 400, "'%.60s' does not convert to %s",
                                 act->unit, quantity_info(quantity)->unit);
    snprintf(m->system, sizeof(m->system), "%s", scope);
    snprintf(m->code, CODE_MAX, "%s", word->data);
    snprintf(m->target, CODE_MAX, "%s", act->unit);
    act->unit[0] = '\0';
    return ERR_OK;
}

static enum err map_unit(struct db *db, struct quarantine_act *act,
                         const struct quarantine_item *item,
                         const struct buf *bytes)
{
    enum quantity quantity = Q_NONE;
    struct mapping_line m;
    struct buf word;
    bool coded = false;
    int slot = 0;
    enum err e = unit_slot(db, item, &slot);

    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 409,
                                 "No value of %lld is held for its unit",
                                 (long long)item->number);
    buf_init(&word, CODE_MAX - 1);
    if (e == ERR_OK)
        e = fhir_glance_unit(bytes->data, bytes->len, slot, &word, &coded);
    if (e == ERR_OK && coded)
        e = quarantine_refuse(act, 409,
                              "%lld gives its unit as a code, which does not "
                              "fit what is measured: its sender has to correct "
                              "it; or discard it",
                              (long long)item->number);
    if (e == ERR_OK)
        e = known_coding(act, bytes, slot, &m, &quantity);
    if (e == ERR_ABSENT)
        e = quarantine_refuse(act, 409, "No code of %lld is in a map",
                              (long long)item->number);
    if (e == ERR_OK && word.len > 0) /* else: what comes without one */
        e = scope_word(act, &word, quantity, &m);
    buf_clear(&word);
    if (e == ERR_OK)
        e = fill_line(act, &m);
    return e == ERR_OK ? learn(db, act, item, &m, DEED_MAP_UNIT) : e;
}

enum err quarantine_map(struct db *db, struct quarantine_act *act,
                        const struct quarantine_item *item)
{
    bool code = act->target[0] != '\0', unit = act->unit[0] != '\0';
    bool place = act->access[0] != '\0' || act->side[0] != '\0';
    struct buf bytes;
    enum err e;

    if ((code || unit) == place)
        return quarantine_refuse(act, 400,
                                 "Say what it is: --target CODE, --unit UCUM, "
                                 "--access NAME or --side left|right");
    if ((place || !code) && !item->held)
        return quarantine_refuse(act, 409,
                                 "%lld is a whole input: only a code in it can "
                                 "be mapped (--target)",
                                 (long long)item->number);
    if (place)
        return quarantine_place(db, act, item);
    buf_init(&bytes, BODY_MAX);
    e = quarantine_bundle(db, &act->site, item, &bytes);
    if (e == ERR_ABSENT)
        e = quarantine_refuse(act, 409, "The bytes of %lld were not kept",
                              (long long)item->number);
    else if (e == ERR_OK)
        e = code ? map_code(db, act, item, &bytes)
                 : map_unit(db, act, item, &bytes);
    buf_clear(&bytes);
    return e;
}
