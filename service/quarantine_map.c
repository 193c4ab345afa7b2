/* A person says what a code or a unit means, or what a reading belongs to. */
#include "service/quarantine_act.h"

#include "adapters/fhir_glance.h"
#include "adapters/queue_text.h"
#include "service/maps.h"

#include <stdio.h>
#include <string.h>

enum {
    CODE_MAX = 500,
    WHY_MAX = 1000,
    BEFORE_ANY_S = 1 /* 1970-01-01: nothing was measured before */
};

/* A row on its way into the map; line borrows from the texts. */
struct mapping_line {
    char system[CODE_MAX], code[CODE_MAX], target[CODE_MAX];
    struct codes_line line;
};

/* ---- keeping it ----------------------------------------------------------- */

static enum err keep_deed(struct db *db, struct quarantine_act *act,
                          const struct quarantine_item *item,
                          enum deed_act deed, const char *detail)
{
    const struct deed done = { .item = item->number,
                               .act = deed,
                               .detail = detail,
                               .who = act->who,
                               .why = act->why,
                               .now_ms = act->site.now_ms };

    return deed_add(db, &done, &act->deed);
}

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

static enum err newest_mapping(struct db *db, int64_t *id)
{
    enum err e = db_first(db, Q_MAPPING_LAST, "");

    if (e == ERR_OK)
        *id = db_int(db, Q_MAPPING_LAST, 0);
    db_done(db, Q_MAPPING_LAST);
    return e;
}

/* Kept first and learnt last: nobody reads by a row that is not kept. */
static enum err learn(struct db *db, struct quarantine_act *act,
                      const struct quarantine_item *item,
                      struct mapping_line *m, enum deed_act deed)
{
    char detail[2 * CODE_MAX + 100];
    struct buf why;
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
    if (e == ERR_UNKNOWN && strcmp(m->system, CODES_UNIT) == 0) {
        buf_empty(&why);
        buf_printf(&why, "'%s' is no unit of UCUM that is known here",
                   m->target);
    }
    if (e != ERR_OK) {
        e = refuse_line(act, e, &why);
        buf_clear(&why);
        return e;
    }
    snprintf(detail, sizeof(detail), "%.200s|%.200s is %.200s%s%s%s%s",
             m->system, m->code, m->target, act->unit[0] != '\0' ? " in " : "",
             m->line.unit, act->arm[0] != '\0' ? ", arm " : "", m->line.arm);
    e = maps_store(db, &m->line, act->who, act->why, act->site.now_ms);
    if (e == ERR_OK)
        e = newest_mapping(db, &act->mapping);
    if (e == ERR_OK)
        e = keep_deed(db, act, item, deed, detail);
    if (e == ERR_OK)
        e = codes_learn(act->site.codes, &m->line, &why);
    buf_clear(&why);
    if (e != ERR_OK)
        return e;
    buf_puts(&act->text, "Mapped: ");
    queue_text_clean(&act->text, detail);
    buf_puts(&act->text, ".\n");
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
            snprintf(f->line->system, CODE_MAX, "%s", u->system);
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
                             struct mapping_line *m)
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
        snprintf(m->system, CODE_MAX, "%s", system.data);
        snprintf(m->code, CODE_MAX, "%s", code.data);
        snprintf(m->target, CODE_MAX, "%s", codes_entry_word(&entry));
    }
    buf_clear(&system);
    buf_clear(&code);
    return found ? ERR_OK : e;
}

static enum err map_unit(struct db *db, struct quarantine_act *act,
                         const struct quarantine_item *item,
                         const struct buf *bytes)
{
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
    if (e == ERR_OK && word.len > 0) { /* the word of this sender */
        snprintf(m.system, CODE_MAX, "%s", CODES_UNIT);
        snprintf(m.code, CODE_MAX, "%s", word.data);
        snprintf(m.target, CODE_MAX, "%s", act->unit);
        act->unit[0] = '\0';
    } else if (e == ERR_OK) { /* what comes without one */
        e = known_coding(act, bytes, slot, &m);
        if (e == ERR_ABSENT)
            e = quarantine_refuse(act, 409, "No code of %lld is in a map",
                                  (long long)item->number);
    }
    buf_clear(&word);
    if (e == ERR_OK)
        e = fill_line(act, &m);
    return e == ERR_OK ? learn(db, act, item, &m, DEED_MAP_UNIT) : e;
}

/* ---- which access, which side --------------------------------------------- */

static enum err find_access(struct db *db, struct quarantine_act *act,
                            const struct quarantine_item *item, int64_t *access)
{
    const enum query q = Q_ACCESS_OF_PATIENT_NAMED;
    enum err e = db_first(db, q, "is", item->patient, act->access);

    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 404,
                                 "The patient of %lld has no access of this "
                                 "name",
                                 (long long)item->number);
    if (e != ERR_OK)
        return e;
    *access = db_int(db, q, 0);
    e = db_next(db, q);
    db_done(db, q);
    if (e == ERR_OK)
        return quarantine_refuse(act, 409,
                                 "Two accesses of the patient have this name; "
                                 "use the number or id of one");
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err read_side(struct quarantine_act *act, enum side *side)
{
    if (act->side[0] == '\0')
        return ERR_OK;
    if (strcmp(act->side, "left") == 0)
        *side = SIDE_LEFT;
    else if (strcmp(act->side, "right") == 0)
        *side = SIDE_RIGHT;
    else
        return quarantine_refuse(act, 400, "--side is left or right");
    return ERR_OK;
}

static enum err map_place(struct db *db, struct quarantine_act *act,
                          const struct quarantine_item *item)
{
    struct person_verdict verdict = { .version = item->row.version,
                                      .acts = VERDICT_PLACED,
                                      .side = SIDE_UNKNOWN };
    const bool by_name = act->access[0] != '\0';
    const bool anew =
        item->held_count == 0; /* a word said before is replaced */
    unsigned count = 0;
    enum err e = read_side(act, &verdict.side);

    if (e == ERR_OK && by_name)
        e = find_access(db, act, item, &verdict.access);
    if (e == ERR_OK)
        e = quarantine_say(db, act, item, "access", "side", &verdict, &count);
    if (e == ERR_OK && count == 0)
        return quarantine_refuse(act, 409,
                                 "Nothing of %lld is held for its access or "
                                 "side",
                                 (long long)item->number);
    if (e == ERR_OK)
        e = keep_deed(db, act, item, DEED_PLACE,
                      by_name ? act->access : act->side);
    if (e == ERR_OK)
        e = again_resource(db, &act->site.reader, item->number, NULL,
                           &act->count);
    if (e != ERR_OK)
        return e;
    if (act->count.settled > 0 || (anew && act->count.held == 0))
        buf_printf(&act->text,
                   "%lld belongs there now, and so will later versions of it; "
                   "its access is reviewed.\n",
                   (long long)item->number);
    e = quarantine_say_left(db, item, &act->text);
    if (e == ERR_OK && act->count.settled == 0 && !anew) {
        act->status = 409;
        return ERR_CONFLICT;
    }
    return e;
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
        return map_place(db, act, item);
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
