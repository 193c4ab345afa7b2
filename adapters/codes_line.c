/* A row of a site as texts: what they mean, and what does not go together. */
#include "adapters/codes_rows.h"
#include "adapters/units.h"

#include <stdio.h>
#include <string.h>

/* Says why, with the column; returns e so that a check is one statement. */
static enum err refuse(struct codes_fault *fault, enum err e,
                       const char *column, const char *text)
{
    fault->column = column;
    snprintf(fault->text, sizeof(fault->text), "%s", text);
    return e;
}

/* ---- a row by itself ------------------------------------------------------ */

/* Something to read, without control characters and blanks around it. */
static bool is_key(const char *text, size_t most)
{
    size_t len = strlen(text);

    if (len == 0 || len > most || text[0] == ' ' || text[len - 1] == ' ')
        return false;
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)text[i];

        if (c < ' ' || c == 0x7f)
            return false;
    }
    return true;
}

static enum err check_keys(const struct codes_row *row,
                           struct codes_fault *fault)
{
    bool of_unit = codes_is_unit(row->system);
    bool words = of_unit || strcmp(row->system, CODES_TEXT) == 0;

    if (!is_key(row->system, of_unit ? CODES_SCOPE_SIZE - 1 : CODES_SYSTEM_MAX))
        return refuse(fault, ERR_FORM, "source_system",
                      "is empty, too long, or has blanks around it or control "
                      "characters in it");
    if (!is_key(row->code, words ? CODES_WORDS_MAX : CODES_CODE_MAX))
        return refuse(fault, ERR_FORM, "source_code",
                      "is empty, too long, or has blanks around it or control "
                      "characters in it");
    return ERR_OK;
}

static bool target_known(const struct codes_row *row)
{
    size_t len = strlen(row->target);
    struct body_site site;
    enum method m;

    switch (row->kind) {
    case TARGET_OBSERVATION:
        return codes_observation_known(row->target);
    case TARGET_METHOD:
        return method_by_code(row->target, len, &m) == ERR_OK;
    case TARGET_SITE:
        return codes_parse_site(row->target, &site) == ERR_OK;
    case TARGET_UNIT:
        return units_listed(row->target, len);
    }
    return false;
}

/* The answer to a yes-or-no code: a sender's "yes" may be a word of its own. */
static bool is_answer(const char *target)
{
    return strcmp(target, "present") == 0 || strcmp(target, "absent") == 0;
}

/* What people call them. */
static const char *answer_word(const char *target)
{
    return strcmp(target, "yes") == 0  ? "present"
           : strcmp(target, "no") == 0 ? "absent"
                                       : target;
}

/* A word of a unit means a unit, and a text no quantity: what was measured is
 * never read from a text. */
static enum err check_kind(const struct codes_row *row,
                           struct codes_fault *fault)
{
    bool of_unit = codes_is_unit(row->system);
    const char *known;

    if (of_unit != (row->kind == TARGET_UNIT) ||
        (of_unit && (row->use != USE_EQUAL || row->target == NULL)))
        return refuse(fault, ERR_UNKNOWN, "target",
                      "a word of " CODES_UNIT " means a UCUM code, and nothing "
                      "else does");
    if (of_unit &&
        units_of_text(row->code, strlen(row->code), &known) == ERR_OK &&
        strcmp(known, row->target) != 0) {
        fault->column = "source_code";
        snprintf(fault->text, sizeof(fault->text),
                 "this unit is read as '%s' without a map", known);
        return ERR_CONFLICT;
    }
    if (of_unit && units_word_is_other(row->code, row->target)) {
        fault->column = "source_code";
        snprintf(fault->text, sizeof(fault->text),
                 "'%.40s' is the word of another unit than '%.40s'", row->code,
                 row->target);
        return ERR_CONFLICT;
    }
    if (strcmp(row->system, CODES_TEXT) == 0 && row->target != NULL &&
        row->kind == TARGET_OBSERVATION && !is_answer(row->target))
        return refuse(fault, ERR_UNKNOWN, "target",
                      "exact words are mapped to a method, a body site, or "
                      "'present' and 'absent' for yes and no; what is measured "
                      "is known by a code alone");
    return ERR_OK;
}

static enum err check_unit(const struct codes_row *row,
                           const struct code_entry *entry,
                           struct codes_fault *fault)
{
    double value;

    if (row->unit == NULL)
        return ERR_OK;
    if (row->use != USE_EQUAL || entry->meaning != CODE_QUANTITY ||
        quantity_info(entry->quantity)->kind != VALUE_NUMBER)
        return refuse(fault, ERR_CONFLICT, "unit_default",
                      "the target is not a number with a unit");
    if (units_convert(entry->quantity, row->unit, strlen(row->unit), 1,
                      &value) == ERR_OK)
        return ERR_OK;
    fault->column = "unit_default";
    snprintf(fault->text, sizeof(fault->text),
             "'%.40s' is not a UCUM code that converts to %s", row->unit,
             quantity_info(entry->quantity)->unit);
    return ERR_CONFLICT;
}

/* Blood pressure is the patient's, but that of an arm explains a finger's. */
static bool has_side(enum quantity q)
{
    return quantity_info(q)->scope == SCOPE_ACCESS ||
           quantity_info(q)->scope == SCOPE_ARM || q == Q_SYSTOLIC_PRESSURE ||
           q == Q_DIASTOLIC_PRESSURE || q == Q_MEAN_PRESSURE;
}

static bool is_measured(const struct code_entry *entry)
{
    return entry->meaning == CODE_QUANTITY || entry->meaning == CODE_QUESTION ||
           entry->meaning == CODE_STAGE;
}

static enum err check_arm(const struct codes_row *row,
                          const struct code_entry *entry,
                          struct codes_fault *fault)
{
    if (!row->access_arm && row->side == SIDE_UNKNOWN)
        return ERR_OK;
    if (row->use != USE_EQUAL || !is_measured(entry) ||
        !has_side(entry->quantity))
        return refuse(fault, ERR_CONFLICT, "arm_rule",
                      "the target is not measured at an arm");
    if (row->access_arm && quantity_info(entry->quantity)->scope != SCOPE_ARM)
        return refuse(fault, ERR_CONFLICT, "arm_rule",
                      "'access' is for what is seen or measured at a hand");
    return ERR_OK;
}

enum err codes_row_check(const struct codes *codes, const struct codes_row *row,
                         struct codes_fault *fault)
{
    struct code_entry entry = { .meaning = CODE_UNKNOWN };
    enum codes_target own;
    enum err e = check_keys(row, fault);

    if (e != ERR_OK)
        return e;
    if (row->target != NULL && !target_known(row))
        return refuse(fault, ERR_UNKNOWN, "target",
                      "target code is not known here");
    if ((codes_target_of(codes, row->system, &own) == ERR_OK &&
         own != TARGET_UNIT) ||
        strcmp(row->system, codes->type) == 0)
        return refuse(fault, ERR_CONFLICT, "source_system",
                      "a code of a CodeSystem of ours is mapped already: it "
                      "means itself");
    e = check_kind(row, fault);
    if (row->kind == TARGET_OBSERVATION && row->target != NULL)
        entry = codes_entry_of(row->target);
    if (e == ERR_OK)
        e = check_unit(row, &entry, fault);
    return e == ERR_OK ? check_arm(row, &entry, fault) : e;
}

/* ---- the texts of a row ------------------------------------------------------ */

/* The CodeSystem that a target is of follows from the target: no word stands
 * in two of them. */
static enum err read_target(const struct codes_line *line,
                            struct codes_row *row, struct codes_fault *fault)
{
    row->target = answer_word(line->target);
    if (codes_is_unit(line->system)) {
        row->kind = TARGET_UNIT;
    } else if (strcmp(line->target, "store") == 0) {
        row->use = USE_STORE;
        row->target = NULL;
    } else if (strcmp(line->target, "ignore") == 0) {
        row->use = USE_IGNORE;
        row->target = NULL;
    } else {
        static const enum codes_target kinds[] = { TARGET_OBSERVATION,
                                                   TARGET_METHOD, TARGET_SITE };

        for (size_t i = 0; i < COUNT(kinds); i++) {
            row->kind = kinds[i];
            if (target_known(row))
                return ERR_OK;
        }
        return refuse(fault, ERR_UNKNOWN, "target",
                      line->target[0] != '\0'
                          ? "target code is not known here"
                          : "is empty; say 'ignore' or 'store' to leave a "
                            "code out");
    }
    return ERR_OK;
}

static enum err read_arm(const char *arm, struct codes_row *row,
                         struct codes_fault *fault)
{
    if (strcmp(arm, "left") == 0)
        row->side = SIDE_LEFT;
    else if (strcmp(arm, "right") == 0)
        row->side = SIDE_RIGHT;
    else if (strcmp(arm, "access") == 0)
        row->access_arm = true;
    else if (arm[0] != '\0')
        return refuse(fault, ERR_UNKNOWN, "arm_rule",
                      "is not one of left, right, access");
    return ERR_OK;
}

enum err codes_row_of_line(const struct codes_line *line, struct codes_row *row,
                           struct codes_fault *fault)
{
    enum err e;

    *row =
        (struct codes_row){ .system = line->system,
                            .code = line->code,
                            .use = USE_EQUAL,
                            .unit = line->unit[0] != '\0' ? line->unit : NULL,
                            .from_s = line->from_s,
                            .id = line->id };
    e = read_target(line, row, fault);
    return e == ERR_OK ? read_arm(line->arm, row, fault) : e;
}

static enum err say(enum err e, const struct codes_fault *fault,
                    struct buf *why)
{
    if (e != ERR_OK && fault->column[0] != '\0')
        buf_printf(why, "%s: %s", fault->column, fault->text);
    else if (e != ERR_OK)
        buf_puts(why, fault->text[0] != '\0' ? fault->text : err_word(e));
    return e;
}

enum err codes_learn(struct codes *codes, const struct codes_line *line,
                     struct buf *why)
{
    struct codes_fault fault = { .column = "" };
    struct codes_row row;
    enum err e = codes_row_of_line(line, &row, &fault);

    if (e == ERR_OK)
        e = codes_add_rows(codes, &row, 1, CODES_LEARNT, &fault);
    return say(e, &fault, why);
}

enum err codes_may_learn(const struct codes *codes,
                         const struct codes_line *line, struct buf *why)
{
    struct codes_fault fault = { .column = "" };
    struct codes_row row;
    bool there;
    enum err e = codes_row_of_line(line, &row, &fault);

    if (e == ERR_OK)
        e = codes_try_row(codes, &row, CODES_LEARNT, &there, &fault);
    return say(e, &fault, why);
}
