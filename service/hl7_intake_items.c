#include "service/hl7_intake_work.h"

#include "adapters/fhir_answer.h"
#include "adapters/fhir_touch.h"
#include "service/deceased.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

/* ---- what is left out ----------------------------------------------------- */

/* An item that has its answer already is not looked at by intake_apply. */
static void leave_out(struct fhir_item *item)
{
    item->outcome.status = 200;
    item->only_held = false;
}

static bool is_left_out(const struct fhir_item *item)
{
    return item->outcome.status == 200;
}

static enum err find_stored(struct db *db, const struct fhir_item *item,
                            struct resource *row)
{
    const struct fhir_identifier *first = &item->identifiers[0];

    if (item->identifier_count == 0)
        return ERR_ABSENT;
    return resource_by_identifier(db, item->type,
                                  first->system != NULL ? first->system : "",
                                  first->value, row);
}

/* Did HL7 v2 make this Patient?  Then a newer message may change it. */
static enum err is_of_hl7(struct db *db, const struct hl7_intake *in,
                          const struct resource *row, bool *ours)
{
    struct buf body, prefix;
    int64_t updated_ms;
    enum err e;

    buf_init(&body, BODY_MAX);
    buf_init(&prefix, 1024);
    buf_printf(&prefix, "%s/hl7/", in->reader.base);
    e = resource_body(db, row, 0, &body, &updated_ms);
    if (e == ERR_OK)
        e = buf_ok(&prefix);
    if (e == ERR_OK)
        *ours = fhir_source_begins(body.data, body.len, prefix.data);
    buf_clear(&prefix);
    buf_clear(&body);
    return e;
}

/* "Family, Given" begins with this family name, capitals or not.  From U+FFFD
 * on, in either, nothing is known. */
static bool same_family(const char *known, const char *family)
{
    static const char lost[] = "\xef\xbf\xbd";
    const char *one = strstr(known, lost), *two = strstr(family, lost);
    size_t len = strlen(family);

    if (one != NULL || two != NULL) {
        size_t a = one != NULL ? (size_t)(one - known) : SIZE_MAX;
        size_t b = two != NULL ? (size_t)(two - family) : SIZE_MAX;

        return strncasecmp(known, family, a < b ? a : b) == 0;
    }

    return strncasecmp(known, family, len) == 0 &&
           (known[len] == ',' || known[len] == '\0' || known[len] == ' ');
}

/* Another name beside a number that is known may be a mistyped number. */
static enum err compare_name(struct db *db, struct hl7_intake *in,
                             const struct fhir_item *item,
                             const struct hl7_entry *entry, bool *other)
{
    const struct fhir_identifier *first = &item->identifiers[0];
    const char *family = item->u.patient.family;
    struct hl7_place place = entry->place;
    struct patient known;
    int64_t id;
    enum err e;

    /* who says nothing changes nothing, and so does who says it in part */
    *other = family == NULL || entry->damaged;
    if (family == NULL || item->identifier_count == 0)
        return ERR_OK;
    e = patient_find(db, NULL, first->system != NULL ? first->system : "",
                     first->value, &id);
    if (e == ERR_OK)
        e = patient_get(db, id, &known);
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    if (known.name[0] == '\0' || same_family(known.name, family))
        return ERR_OK;
    *other = true;
    place.field = 5;
    hl7_issue_add(&in->issues, HL7_WARNING, HL7_UNKNOWN_KEY, "identity", &place,
                  "The name is not the one that is known for this number");
    return ERR_OK;
}

/* Of a Patient that stays as others made it: a death is of more weight.  Beside
 * another name it may be that of somebody else. */
static enum err tell_death(struct db *db, struct hl7_intake *in,
                           struct fhir_item *item,
                           const struct hl7_entry *entry, bool other)
{
    const struct fhir_identifier *first = &item->identifiers[0];
    struct fhir_patient *said = &item->u.patient;
    int64_t id;
    enum err e;

    if (said->death == DEATH_UNSAID || item->identifier_count == 0 ||
        entry->damaged || (other && said->family != NULL))
        return ERR_OK;
    e = patient_find(db, NULL, first->system != NULL ? first->system : "",
                     first->value, &id);
    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    said->of_v2 = true;
    in->news = true;
    return deceased_take(db, id, said);
}

/* A Patient that others have made stays theirs: it is created where there is
 * none (If-None-Exist), and changed where HL7 v2 had made it. */
static enum err prepare_patient(struct db *db, struct hl7_intake *in,
                                struct fhir_item *item,
                                const struct hl7_entry *entry)
{
    struct resource row;
    bool ours = false, other = false;
    enum err e = compare_name(db, in, item, entry, &other);

    if (e == ERR_OK)
        e = find_stored(db, item, &row);
    if (e == ERR_OK)
        e = is_of_hl7(db, in, &row, &ours);
    if (e == ERR_ABSENT)
        return ERR_OK;
    if (e == ERR_AMBIGUOUS || (e == ERR_OK && (!ours || other))) {
        leave_out(item);
        return tell_death(db, in, item, entry, other);
    }
    if (e == ERR_OK)
        item->if_none_exist = NULL;
    return e;
}

static enum err prepare_result(struct db *db, struct hl7_intake *in, size_t i)
{
    struct fhir_item *item = fhir_doc_item(in->doc, i);
    const struct hl7_entry *entry = &in->oru.entries[i];
    struct resource row;
    enum err e = hl7_items_match(db, in, i);

    if (e != ERR_OK)
        return e;
    if (in->matches[i].tie == HL7_UNCLEAR &&
        item->u.observation.reading_status == READING_WITHDRAWN) {
        in->refused++;
        leave_out(item);
        return ERR_OK;
    }
    if (entry->promote) {
        leave_out(item); /* see hl7_items_promote */
        return ERR_OK;
    }
    if (!entry->if_known)
        return ERR_OK;
    e = hl7_find_result(db, item, &row);
    if (e == ERR_ABSENT)
        leave_out(item);
    return e == ERR_ABSENT || e == ERR_AMBIGUOUS ? ERR_OK : e;
}

enum err hl7_items_prepare(struct db *db, struct hl7_intake *in)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < fhir_doc_count(in->doc); i++) {
        struct fhir_item *item = fhir_doc_item(in->doc, i);
        const struct hl7_entry *entry = &in->oru.entries[i];

        if (item->type == FHIR_PATIENT)
            e = prepare_patient(db, in, item, entry);
        else
            e = prepare_result(db, in, i);
    }
    return e;
}

/* ---- what became of each -------------------------------------------------- */

static bool is_held_word(const char *word)
{
    for (int w = ANSWER_HELD; w < ANSWER_WORD_COUNT; w++) {
        if (strcmp(answer_word((enum answer_word)w), word) == 0)
            return true;
    }
    return false;
}

/* What is true of most messages of most senders, and no fault of theirs. */
static bool is_usual(const char *word)
{
    return strcmp(word, "access-assumed") == 0 ||
           strcmp(word, "access-provisional") == 0 ||
           strcmp(word, "type-unknown") == 0;
}

static bool is_there_word(const struct issue *issue)
{
    return issue->place[0] == '\0' &&
           (strcmp(issue->word, answer_word(ANSWER_DUPLICATE)) == 0 ||
            strcmp(issue->word, answer_word(ANSWER_OUT_OF_ORDER)) == 0);
}

bool hl7_is_sign(const struct hl7_intake *in, const struct fhir_observation *o)
{
    const char *code = o->root_code != NULL && o->root_system != NULL
                           ? o->root_code + strlen(o->root_system)
                           : "";
    struct code_entry entry;

    if (code[0] != '|')
        return false;
    entry = codes_find(in->reader.codes, o->root_system, code + 1,
                       o->effective.start_s);
    return entry.meaning == CODE_QUESTION ||
           (entry.meaning == CODE_QUANTITY &&
            quantity_info(entry.quantity)->kind != VALUE_NUMBER);
}

/* Codings that contradict each other, one of which is a sign of emergency. */
static bool has_urgent(const struct fhir_observation *o)
{
    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].hold == HOLD_CODE &&
            fhir_reading_is_urgent(&o->readings[i]))
            return true;
    }
    return false;
}

/*
 * The value of a sign cannot be read: it is held, since it may be an emergency,
 * and the sender is told that its content is bad.  Where a number cannot be
 * read, or a code of a value is unknown, the sender is warned.
 */
static bool judge_unread(struct hl7_intake *in, size_t i,
                         const struct issue *issue)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    bool sign;

    if (item->type != FHIR_OBSERVATION ||
        item->u.observation.reading_status == READING_WITHDRAWN)
        return false;
    sign = strcmp(issue->word, "value-unread") == 0 ||
           (strcmp(issue->word, "code-conflict") == 0 &&
            has_urgent(&item->u.observation));
    if (!sign && (strstr(issue->place, ".value") == NULL ||
                  (strcmp(issue->word, "not-computed") != 0 &&
                   strcmp(issue->word, "code-unknown") != 0)))
        return false;
    in->held_errors += sign ? 1 : 0;
    hl7_say_issue(in, &in->oru.entries[i], issue,
                  sign ? HL7_ERROR : HL7_WARNING);
    return true;
}

/* It takes something back, or corrects it, that never came. */
static void judge_first(struct hl7_intake *in, size_t i)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    struct hl7_place place = in->oru.entries[i].place;
    enum reading_status status;

    if (item->type != FHIR_OBSERVATION || in->results[i].status != 201 ||
        in->oru.entries[i].if_known)
        return;
    status = item->u.observation.reading_status;
    if (status != READING_WITHDRAWN && status != READING_CORRECTED)
        return;
    place.field = 11;
    hl7_issue_add(&in->issues, HL7_WARNING, HL7_UNKNOWN_KEY, "not-found",
                  &place,
                  "It corrects or withdraws a result that has not come; if one "
                  "is in use, its key (OBX-21, or OBR-3, OBX-4 and the time) "
                  "is another");
}

/* Of what is refused the errors are told; else what is held, and warnings. */
static void judge_item(struct hl7_intake *in, size_t i)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    const struct outcome *o = &item->outcome;
    bool refused = in->results[i].status >= 400;
    bool held = false, there = false;

    for (size_t k = 0; k < o->count; k++) {
        const struct issue *issue = &o->issues[k];
        bool error = issue->severity >= SEV_ERROR;

        held = held || is_held_word(issue->word);
        there = there || is_there_word(issue);
        if (refused && error)
            hl7_say_issue(in, &in->oru.entries[i], issue, HL7_ERROR);
        else if (!refused && judge_unread(in, i, issue))
            continue;
        else if (!refused && (error || issue->severity == SEV_WARNING) &&
                 !is_usual(issue->word))
            hl7_say_issue(in, &in->oru.entries[i], issue, HL7_WARNING);
        else if (strcmp(issue->word, "code-unknown") == 0)
            hl7_say_issue(in, &in->oru.entries[i], issue, HL7_INFORMATION);
    }
    judge_first(in, i);
    in->matches[i].passed_over = refused || there;
    if (item->type != FHIR_OBSERVATION)
        return;
    if (refused)
        in->refused++;
    else if (there)
        in->there++;
    else if (held)
        in->held++;
    else
        in->stored++;
}

void hl7_items_judge(struct hl7_intake *in)
{
    for (size_t i = 0; i < fhir_doc_count(in->doc); i++) {
        if (!is_left_out(fhir_doc_item(in->doc, i)))
            judge_item(in, i);
    }
}
