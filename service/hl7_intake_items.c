#include "service/hl7_intake_work.h"

#include "adapters/fhir_answer.h"
#include "adapters/fhir_touch.h"
#include "service/patients.h"

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

/* "Family, Given" begins with this family name, capitals or not. */
static bool same_family(const char *known, const char *family)
{
    size_t len = strlen(family);

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

    *other = family == NULL; /* who says nothing changes nothing */
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
        return ERR_OK;
    }
    if (e == ERR_OK)
        item->if_none_exist = NULL;
    return e;
}

static enum err prepare_result(struct db *db, struct fhir_item *item,
                               const struct hl7_entry *entry)
{
    struct resource row;
    enum err e;

    if (entry->promote) {
        leave_out(item); /* see hl7_items_promote */
        return ERR_OK;
    }
    if (!entry->if_known)
        return ERR_OK;
    e = find_stored(db, item, &row);
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
            e = prepare_result(db, item, entry);
    }
    return e;
}

/* ---- what becomes final --------------------------------------------------- */

static void say_unknown(struct hl7_intake *in, const struct hl7_entry *entry)
{
    struct hl7_place place = entry->place;

    place.field = 11;
    in->refused++;
    hl7_issue_add(&in->issues, HL7_ERROR, HL7_UNKNOWN_KEY, "not-found", &place,
                  "It makes a result final that is not known here");
}

/* The stored bytes with another status, as an entry of a batch. */
static enum err put_final(struct db *db, const struct resource *row,
                          struct buf *out)
{
    struct buf body;
    int64_t updated_ms;
    enum err e;

    buf_init(&body, BODY_MAX);
    e = resource_body(db, row, 0, &body, &updated_ms);
    if (e == ERR_OK) {
        buf_puts(out, out->len == 0
                          ? "{\"resourceType\":\"Bundle\",\"type\":\"batch\","
                            "\"entry\":[{\"resource\":"
                          : ",{\"resource\":");
        e = fhir_put_status(body.data, body.len, "final", out);
        buf_puts(out, ",\"request\":{\"method\":\"POST\","
                      "\"url\":\"Observation\"}}");
    }
    buf_clear(&body);
    return e;
}

static enum err promote_one(struct db *db, struct hl7_intake *in, size_t i,
                            struct buf *out)
{
    const struct hl7_entry *entry = &in->oru.entries[i];
    struct resource row;
    enum err e;

    if (!entry->promote)
        return ERR_OK;
    e = find_stored(db, fhir_doc_item(in->doc, i), &row);
    if (e == ERR_ABSENT && entry->if_known)
        return ERR_OK; /* it may have had fewer repetitions */
    if (e == ERR_ABSENT || e == ERR_AMBIGUOUS) {
        say_unknown(in, entry);
        return ERR_OK;
    }
    if (e != ERR_OK)
        return e;
    if (row.status != READING_PRELIMINARY) {
        in->there++; /* it is final, or more than that */
        return ERR_OK;
    }
    return put_final(db, &row, out);
}

/* A Bundle of stored Observations, which have been read before. */
static enum err apply_final(struct db *db, struct hl7_intake *in,
                            const struct buf *body)
{
    struct outcome outcome;
    struct intake final = { .reader = &in->reader,
                            .body = body->data,
                            .len = body->len,
                            .source = SOURCE_FEED,
                            .merge_implied = in->merge_implied,
                            .now_ms = in->now_ms,
                            .sender = in->profile->name,
                            .sample = in->control,
                            .way = in->way };
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(&in->reader, body->data, body->len, &outcome, &final.doc);
    if (e != ERR_OK)
        return e;
    final.results =
        calloc(fhir_doc_count(final.doc) + 1, sizeof(*final.results));
    e = final.results != NULL ? intake_apply(db, &final) : ERR_MEMORY;
    if (e == ERR_OK) {
        in->news = in->news || final.news;
        in->stored += (unsigned)fhir_doc_count(final.doc);
    }
    free(final.results);
    fhir_doc_free(final.doc);
    return e;
}

enum err hl7_items_promote(struct db *db, struct hl7_intake *in)
{
    struct buf body;
    enum err e = ERR_OK;

    buf_init(&body, BODY_MAX);
    for (size_t i = 0; e == ERR_OK && i < in->oru.entry_count; i++)
        e = promote_one(db, in, i, &body);
    if (e == ERR_OK && body.len > 0) {
        buf_puts(&body, "]}");
        e = buf_ok(&body);
        if (e == ERR_OK)
            e = apply_final(db, in, &body);
    }
    buf_clear(&body);
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

/* Is the code known, and what is measured a sign or a state? */
static bool is_of_code(const struct hl7_intake *in,
                       const struct fhir_observation *o)
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

/*
 * The code is known and the value is of a form or a code that no rule reads.
 * A sign that nobody sees may be an emergency: a person has to look at it.
 */
static bool judge_unread(struct hl7_intake *in, size_t i,
                         const struct issue *issue)
{
    const struct fhir_item *item = fhir_doc_item(in->doc, i);
    bool unread = strcmp(issue->word, "not-computed") == 0;
    bool sign;

    if (item->type != FHIR_OBSERVATION ||
        strstr(issue->place, ".value") == NULL ||
        (!unread && strcmp(issue->word, "code-unknown") != 0))
        return false;
    sign = is_of_code(in, &item->u.observation);
    hl7_say_issue(in, &in->oru.entries[i], issue,
                  unread && sign ? HL7_ERROR : HL7_WARNING);
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
        else if (!refused && (error || issue->severity == SEV_WARNING) &&
                 !is_usual(issue->word))
            hl7_say_issue(in, &in->oru.entries[i], issue, HL7_WARNING);
        else if (!refused && judge_unread(in, i, issue))
            continue;
        else if (strcmp(issue->word, "code-unknown") == 0)
            hl7_say_issue(in, &in->oru.entries[i], issue, HL7_INFORMATION);
    }
    judge_first(in, i);
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
