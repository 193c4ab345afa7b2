#include "adapters/codes.h"
#include "adapters/codes_rows.h"

#include <stdio.h>
#include <string.h>

/* Longest exact text that is looked up. */
enum { TEXT_SIZE = CODES_WORDS_MAX + 1 };

/* Regions as people write them, and the word used inside. */
static const struct {
    const char *text, *word;
} regions[] = {
    { "hand", "hand" },
    { "finger", "finger" },
    { "thumb", "finger" },
    { "index finger", "finger" },
    { "middle finger", "finger" },
    { "ring finger", "finger" },
    { "little finger", "finger" },
    { "forearm", "forearm" },
    { "lower arm", "forearm" },
    { "upper arm", "upper-arm" },
    { "arm", "arm" },
    { "thigh", "thigh" },
    { "chest", "chest" },
};

/* A row whose target is of this CodeSystem and means it exactly. */
static const struct codes_row *find_equal(const struct codes *codes,
                                          const char *system, const char *code,
                                          enum codes_target kind, int64_t at_s)
{
    const struct codes_row *row = codes_row_find(codes, system, code, at_s);

    if (row == NULL || row->use != USE_EQUAL || row->kind != kind)
        return NULL;
    return row;
}

/* The text in lower case; false if it is too long to be one of the map's. */
static bool lower(const char *text, char low[TEXT_SIZE])
{
    if (text == NULL || strlen(text) >= TEXT_SIZE)
        return false;
    snprintf(low, TEXT_SIZE, "%s", text);
    codes_to_lower(low);
    return true;
}

static bool is_sign(const char *code)
{
    size_t len = strlen(code);

    for (unsigned q = 1; q < QUANTITY_COUNT; q++) {
        enum sign s;

        if (sign_by_code((enum quantity)q, code, len, &s) == ERR_OK)
            return true;
    }
    return false;
}

struct code_entry codes_entry_of(const char *code)
{
    struct code_entry entry = { .meaning = CODE_UNKNOWN };
    size_t len = strlen(code);

    if (quantity_by_code(code, len, &entry.quantity) == ERR_OK) {
        entry.meaning = CODE_QUANTITY;
    } else if (strcmp(code, CODES_STAGE) == 0) {
        entry.meaning = CODE_STAGE;
        entry.quantity = Q_HAND_ISCHAEMIA_GRADE;
    } else if (sign_by_question(code, len, &entry.sign) == ERR_OK) {
        entry.meaning = CODE_QUESTION;
        entry.quantity = sign_info(entry.sign)->quantity;
    }
    return entry;
}

bool codes_observation_known(const char *code)
{
    return codes_entry_of(code).meaning != CODE_UNKNOWN || is_sign(code);
}

struct code_entry codes_find(const struct codes *codes, const char *system,
                             const char *code, int64_t at_s)
{
    struct code_entry entry = { .meaning = CODE_UNKNOWN };
    const struct codes_row *row;

    if (system == NULL || code == NULL)
        return entry;
    if (strcmp(system, codes->observation) == 0)
        return codes_entry_of(code);
    row = codes_row_find(codes, system, code, at_s);
    if (row == NULL || row->kind != TARGET_OBSERVATION)
        return entry;
    if (row->target != NULL)
        entry = codes_entry_of(row->target);
    if (row->use == USE_STORE)
        entry.meaning = CODE_STORE;
    if (row->use == USE_IGNORE)
        entry.meaning = CODE_IGNORE;
    entry.side = row->side;
    entry.needs_hand = row->needs_hand;
    entry.access_arm = row->access_arm;
    entry.unit = row->unit;
    return entry;
}

const char *codes_entry_word(const struct code_entry *entry)
{
    switch (entry->meaning) {
    case CODE_UNKNOWN:
        break;
    case CODE_QUANTITY:
        return quantity_info(entry->quantity)->code;
    case CODE_QUESTION:
        return sign_info(entry->sign)->code;
    case CODE_STAGE:
        return CODES_STAGE;
    case CODE_IGNORE:
        return "ignore";
    case CODE_STORE:
        return "store";
    }
    return "";
}

bool codes_listed(const struct codes *codes, const char *system,
                  const char *code, int64_t at_s)
{
    char low[TEXT_SIZE];

    if (system == NULL || code == NULL)
        return false;
    if (strcmp(system, CODES_TEXT) == 0) {
        if (!lower(code, low))
            return false;
        code = low;
    }
    return codes_row_find(codes, system, code, at_s) != NULL;
}

enum sign codes_sign(const struct codes *codes, enum quantity q,
                     const char *system, const char *code, int64_t at_s)
{
    const struct codes_row *row;
    enum sign s;

    if (system == NULL || code == NULL)
        return SIGN_NONE;
    if (strcmp(system, codes->observation) != 0 &&
        !(q == Q_ACCESS_TYPE && strcmp(system, codes->type) == 0)) {
        row = find_equal(codes, system, code, TARGET_OBSERVATION, at_s);
        if (row == NULL)
            return SIGN_NONE;
        code = row->target;
    }
    return sign_by_code(q, code, strlen(code), &s) == ERR_OK ? s : SIGN_NONE;
}

enum sign codes_answer_text(const struct codes *codes, const char *text,
                            int64_t at_s)
{
    char low[TEXT_SIZE];
    size_t len;

    if (text == NULL || !lower(text + strspn(text, " \t\r\n"), low))
        return SIGN_NONE;
    len = strlen(low);
    while (len > 0 && strchr(" \t\r\n", low[len - 1]) != NULL)
        low[--len] = '\0';
    return codes_sign(codes, Q_THRILL, CODES_TEXT, low, at_s);
}

enum method codes_method(const struct codes *codes, const char *system,
                         const char *code, int64_t at_s)
{
    const struct codes_row *row;
    enum method m;

    if (system == NULL || code == NULL)
        return METHOD_UNSTATED;
    if (strcmp(system, codes->method) != 0) {
        row = find_equal(codes, system, code, TARGET_METHOD, at_s);
        if (row == NULL)
            return METHOD_UNSTATED;
        code = row->target;
    }
    return method_by_code(code, strlen(code), &m) == ERR_OK ? m
                                                            : METHOD_UNSTATED;
}

enum method codes_method_text(const struct codes *codes, const char *text,
                              int64_t at_s)
{
    const struct codes_row *row;
    char low[TEXT_SIZE];

    if (!lower(text, low))
        return METHOD_UNSTATED;
    row = find_equal(codes, CODES_TEXT, low, TARGET_METHOD, at_s);
    if (row != NULL)
        return codes_method(codes, codes->method, row->target, at_s);
    /* The words that our own CodeSystem displays need no map. */
    for (int m = METHOD_UNSTATED + 1; m < METHOD_COUNT; m++) {
        if (strcmp(method_display((enum method)m), low) == 0)
            return (enum method)m;
    }
    return METHOD_UNSTATED;
}

const char *codes_region(size_t i)
{
    return i < COUNT(regions) ? regions[i].text : NULL;
}

static const char *after(const char *text, const char *word)
{
    size_t len = strlen(word);

    return strncmp(text, word, len) == 0 ? text + len : NULL;
}

enum err codes_parse_site(const char *text, struct body_site *site)
{
    struct body_site found = { SIDE_UNKNOWN, "" };
    char low[TEXT_SIZE];
    const char *rest;

    if (!lower(text, low))
        return ERR_UNKNOWN;
    for (char *p = low; *p != '\0'; p++) {
        if (*p == '-')
            *p = ' ';
    }
    rest = low;
    if (after(low, "left") != NULL) {
        found.side = SIDE_LEFT;
        rest = after(low, "left");
    } else if (after(low, "right") != NULL) {
        found.side = SIDE_RIGHT;
        rest = after(low, "right");
    }
    if (found.side != SIDE_UNKNOWN && *rest == '\0') {
        *site = found;
        return ERR_OK;
    }
    if (found.side != SIDE_UNKNOWN && *rest++ != ' ')
        return ERR_UNKNOWN;
    for (size_t i = 0; i < COUNT(regions); i++) {
        if (strcmp(regions[i].text, rest) == 0) {
            found.region = regions[i].word;
            *site = found;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

static struct body_site site_or_none(const char *text)
{
    struct body_site site;

    if (text == NULL || codes_parse_site(text, &site) != ERR_OK)
        return (struct body_site){ SIDE_UNKNOWN, "" };
    return site;
}

void codes_site_word(const struct body_site *site, char out[CODES_SITE_SIZE])
{
    static const char *const sides[] = {
        [SIDE_UNKNOWN] = "", [SIDE_LEFT] = "left", [SIDE_RIGHT] = "right"
    };
    const char *side = sides[site->side];

    snprintf(out, CODES_SITE_SIZE, "%s%s%s", side,
             side[0] != '\0' && site->region[0] != '\0' ? "-" : "",
             site->region);
}

struct body_site codes_site(const struct codes *codes, const char *system,
                            const char *code, int64_t at_s)
{
    const struct codes_row *row;

    if (system == NULL || code == NULL)
        return site_or_none(NULL);
    if (strcmp(system, codes->site) == 0)
        return site_or_none(code);
    row = find_equal(codes, system, code, TARGET_SITE, at_s);
    return site_or_none(row != NULL ? row->target : NULL);
}

struct body_site codes_site_text(const struct codes *codes, const char *text,
                                 int64_t at_s)
{
    const struct codes_row *row;
    char low[TEXT_SIZE];

    if (!lower(text, low))
        return site_or_none(NULL);
    row = find_equal(codes, CODES_TEXT, low, TARGET_SITE, at_s);
    return site_or_none(row != NULL ? row->target : low);
}

const char *codes_unit_text(const struct codes *codes, const char *text,
                            int64_t at_s)
{
    const struct codes_row *row =
        find_equal(codes, CODES_UNIT, text, TARGET_UNIT, at_s);

    return row != NULL ? row->target : NULL;
}

/* ---- words of the units of one code ---------------------------------------- */

bool codes_is_unit(const char *system)
{
    const char *rest = after(system, CODES_UNIT);
    const char *bar;

    if (rest == NULL || *rest == '\0')
        return rest != NULL;
    bar = strrchr(rest, '|');
    return *rest == ':' && bar != NULL && bar > rest + 1 && bar[1] != '\0';
}

enum err codes_unit_scope(const char *system, const char *code,
                          char out[CODES_SCOPE_SIZE])
{
    if (system == NULL || system[0] == '\0' || code == NULL || code[0] == '\0')
        return ERR_FORM;
    if (strlen(system) > CODES_SYSTEM_MAX || strlen(code) > CODES_CODE_MAX)
        return ERR_LIMIT;
    snprintf(out, CODES_SCOPE_SIZE, CODES_UNIT ":%s|%s", system, code);
    return ERR_OK;
}

const char *codes_unit_of(const struct codes *codes, const char *system,
                          const char *code, const char *text, int64_t at_s)
{
    const struct codes_row *row = NULL;
    char scope[CODES_SCOPE_SIZE];

    if (codes_unit_scope(system, code, scope) == ERR_OK)
        row = find_equal(codes, scope, text, TARGET_UNIT, at_s);
    return row != NULL ? row->target : codes_unit_text(codes, text, at_s);
}

/* ---- taking back ----------------------------------------------------------- */

enum err codes_unlearn(struct codes *codes, int64_t id)
{
    enum err e = ERR_ABSENT;

    for (size_t i = 0; id != 0 && i < CODES_BUCKETS; i++) {
        struct codes_kept *k =
            atomic_load_explicit(&codes->buckets[i], memory_order_acquire);

        for (; k != NULL; k = k->next) {
            if (k->row.id != id ||
                atomic_exchange_explicit(&k->gone, true, memory_order_acq_rel))
                continue;
            e = ERR_OK;
        }
    }
    return e;
}
