#include "service/hl7_intake_work.h"

#include "service/quarantine_urgent.h"

#include <stdio.h>
#include <string.h>

enum { PATIENTS_SHOWN = 3, NUMBER_SHOWN = 40 };

void hl7_say(struct hl7_intake *in, enum hl7_severity severity,
             enum hl7_error code, const char *word, const char *segment,
             int field, const char *text)
{
    struct hl7_place place = { .sequence = segment[0] != '\0' ? 1 : 0,
                               .field = field };

    snprintf(place.segment, sizeof(place.segment), "%s", segment);
    hl7_issue_add(&in->issues, severity, code, word, &place, "%s", text);
}

/* What a word of outcome.h is in table 0357, and which field of OBX it is
 * about; 0: the segment as a whole. */
static const struct {
    const char *word;
    enum hl7_error code;
    int field;
} words[] = {
    { "unit", HL7_TABLE_VALUE, 6 },
    { "unit-assumed", HL7_TABLE_VALUE, 6 },
    { "code-unknown", HL7_TABLE_VALUE, 3 },
    { "code-conflict", HL7_TABLE_VALUE, 3 },
    { "code-unclear", HL7_TABLE_VALUE, 3 },
    { "no-subject", HL7_MISSING, 0 },
    { "no-time", HL7_MISSING, 14 },
    { "timing", HL7_DATA_TYPE, 14 },
    { "bad-datetime", HL7_DATA_TYPE, 14 },
    { "future-time", HL7_DATA_TYPE, 14 },
    { "missing-element", HL7_MISSING, 0 },
    { "too-many", HL7_TOO_LONG, 0 },
    { "too-long", HL7_TOO_LONG, 0 },
    { "access-ambiguous", HL7_UNKNOWN_KEY, 0 },
    { "access-side", HL7_UNKNOWN_KEY, 0 },
    { "identity", HL7_DUPLICATE_KEY, 0 },
    { "implausible", HL7_DATA_TYPE, 5 },
    { "unusual-value", HL7_DATA_TYPE, 5 },
    { "held", HL7_DATA_TYPE, 5 },
    { "value-unread", HL7_DATA_TYPE, 5 },
    { "not-computed", HL7_DATA_TYPE, 5 },
    { "value-conflict", HL7_DATA_TYPE, 5 },
    { "bad-value", HL7_DATA_TYPE, 5 },
    { "not-found", HL7_UNKNOWN_KEY, 0 },
    { "internal", HL7_INTERNAL, 0 },
};

void hl7_say_issue(struct hl7_intake *in, const struct hl7_entry *entry,
                   const struct issue *issue, enum hl7_severity severity)
{
    struct hl7_place place = entry->place;
    enum hl7_error code = HL7_DATA_TYPE;
    size_t i = 0;

    while (i < COUNT(words) && strcmp(words[i].word, issue->word) != 0)
        i++;
    if (i < COUNT(words))
        code = words[i].code;
    if (i < COUNT(words) && place.field == 0 &&
        strcmp(place.segment, "OBX") == 0)
        place.field = strcmp(issue->word, "code-unknown") == 0 &&
                              strstr(issue->place, ".value") != NULL
                          ? 5 /* of the value, not of what is measured */
                          : words[i].field;
    hl7_issue_add(&in->issues, severity, code, issue->word, &place, "%s",
                  issue->text);
}

const struct hl7_issue *hl7_first_error(const struct hl7_issues *issues)
{
    for (size_t i = 0; i < issues->count; i++) {
        if (issues->list[i].severity == HL7_ERROR)
            return &issues->list[i];
    }
    return NULL;
}

static const char *source_of(const struct hl7_intake *in)
{
    return in->profile != NULL ? in->profile->name : "unknown";
}

/* ---- may it be an emergency? ---------------------------------------------- */

/* Is a sign asked for in this OBX that may be an emergency? */
static bool asks_urgent(const struct hl7_intake *in, size_t segment)
{
    struct buf system;
    bool urgent = false;

    buf_init(&system, 2048);
    for (int first = 1; first <= 4 && !urgent; first += 3) {
        const char *code = hl7_text(in->message, segment, 3, 1, first, 1);

        buf_empty(&system);
        hl7_system_uri(in->profile,
                       hl7_text(in->message, segment, 3, 1, first + 2, 1),
                       &system);
        urgent = buf_ok(&system) == ERR_OK &&
                 quarantine_asks_urgent(in->reader.codes, system.data, code);
    }
    buf_clear(&system);
    return urgent;
}

/* Was all of this OBX taken in: a result for it, and no error of it? */
static bool is_taken(const struct hl7_intake *in, size_t segment)
{
    struct hl7_place at = hl7_place_of(in->message, segment);
    bool taken = false;

    for (size_t i = 0; in->doc != NULL && i < in->oru.entry_count; i++) {
        const struct hl7_place *of = &in->oru.entries[i].place;

        taken = taken ||
                (strcmp(of->segment, at.segment) == 0 &&
                 of->sequence == at.sequence && in->results[i].status < 400);
    }
    for (size_t i = 0; i < in->issues.count; i++) {
        const struct hl7_issue *issue = &in->issues.list[i];

        if (issue->severity == HL7_ERROR &&
            strcmp(issue->word, "value-unread") != 0 &&
            strcmp(issue->word, "code-conflict") != 0 &&
            strcmp(issue->place.segment, at.segment) == 0 &&
            issue->place.sequence == at.sequence)
            taken = false;
    }
    return taken && in->issues.dropped == 0;
}

/* Of what could not be taken apart nothing is known: it may be one. */
static bool is_urgent(const struct hl7_intake *in)
{
    if (in->message == NULL)
        return in->live_from_s != 0;
    for (size_t i = 0; i < hl7_segments(in->message); i++) {
        if (strcmp(hl7_name(in->message, i), "OBX") == 0 &&
            asks_urgent(in, i) && !is_taken(in, i))
            return true;
    }
    return false;
}

/* Was such a sign read in it?  It is not kept without the whole. */
static bool carries_sign(const struct hl7_intake *in)
{
    for (size_t i = 0; in->doc != NULL && i < fhir_doc_count(in->doc); i++) {
        const struct fhir_item *item = fhir_doc_item(in->doc, i);
        const struct fhir_observation *o = &item->u.observation;

        for (size_t k = 0;
             item->type == FHIR_OBSERVATION && k < o->reading_count; k++) {
            if (fhir_reading_is_urgent(&o->readings[k]))
                return true;
        }
    }
    return false;
}

/*
 * PID-3 of what could not be taken apart, as far as its bytes are plain ones:
 * the first component of its first repetition.
 */
static void write_raw_patient(const struct hl7_intake *in, struct buf *out)
{
    const char *at = in->bytes, *end = in->bytes + in->len;
    char bar = (char)(in->len > 3 ? at[3] : '|');

    while (at < end) {
        const char *next = memchr(at, '\r', (size_t)(end - at));
        const char *stop = next != NULL ? next : end;
        int field = 0;

        if (stop - at > 4 && memcmp(at, "PID", 3) == 0 && at[3] == bar) {
            for (; at < stop && field < 3; at++)
                field += *at == bar ? 1 : 0;
            while (field == 3 && at<stop && * at> ' ' && *at < 0x7f &&
                   *at != bar && strchr("^~&\\", *at) == NULL &&
                   out->len < NUMBER_SHOWN)
                buf_add(out, at++, 1);
            return;
        }
        at = stop + 1;
    }
}

/* The numbers of PID-3, for a person: "4711 / 4712". */
static void write_patient(const struct hl7_intake *in, struct buf *out)
{
    if (in->message == NULL)
        write_raw_patient(in, out);
    for (size_t i = 0; in->message != NULL && i < hl7_segments(in->message);
         i++) {
        int count;

        if (strcmp(hl7_name(in->message, i), "PID") != 0)
            continue;
        count = (int)hl7_repetitions(in->message, i, 3);
        for (int k = 1; k <= count && k <= PATIENTS_SHOWN; k++) {
            const char *number = hl7_text(in->message, i, 3, k, 1, 1);

            if (number[0] != '\0')
                buf_printf(out, "%s%.40s", out->len > 0 ? " / " : "", number);
        }
    }
}

enum err hl7_quarantine(struct db *db, struct hl7_intake *in)
{
    const struct hl7_issue *first = hl7_first_error(&in->issues);
    char place[HL7_PLACE_SIZE] = "", text[256] = "";
    struct quarantine_row row = { .at_ms = in->now_ms,
                                  .way = in->way,
                                  .source = source_of(in),
                                  .kind = FHIR_OTHER,
                                  .line = in->line,
                                  .start = in->start,
                                  .status = 422,
                                  .reason = "bad-request",
                                  .place = place,
                                  .text = text,
                                  .message = in->id,
                                  .urgent = is_urgent(in),
                                  .carries = carries_sign(in) };
    struct buf patient;
    int64_t id;
    enum err e;

    if (first != NULL) {
        hl7_place_write(&first->place, place);
        row.reason = first->word;
        if (in->issues.errors > 1)
            snprintf(text, sizeof(text), "%s (and %zu more)", first->text,
                     in->issues.errors - 1);
        else
            snprintf(text, sizeof(text), "%s", first->text);
    }
    buf_init(&patient, 400);
    write_patient(in, &patient);
    row.patient = patient.len > 0 ? patient.data : NULL;
    e = quarantine_add(db, &row, &id);
    buf_clear(&patient);
    return e;
}

/* ---- the weekly report ---------------------------------------------------- */

static enum err count_row(struct db *db, const struct hl7_intake *in,
                          enum tally_class class, const char *reason,
                          const char *place, size_t count)
{
    const struct tally_row row = { .at_ms = in->now_ms,
                                   .source = source_of(in),
                                   .way = in->way,
                                   .class = class,
                                   .reason = reason,
                                   .what = "",
                                   .place = place,
                                   .unit = "",
                                   .sample = in->control,
                                   .count = INT64(count) };

    return tally_add(db, &row);
}

static enum err count_issue(struct db *db, const struct hl7_intake *in,
                            enum tally_class class,
                            const struct hl7_issue *issue)
{
    char place[16];

    /* without its number, so that equal faults are counted together */
    if (issue->place.segment[0] != '\0' && issue->place.field > 0)
        snprintf(place, sizeof(place), "%s-%d", issue->place.segment,
                 issue->place.field);
    else
        snprintf(place, sizeof(place), "%s", issue->place.segment);
    return count_row(db, in, class, issue->word, place, 1);
}

enum err hl7_count_errors(struct db *db, const struct hl7_intake *in,
                          enum tally_class class)
{
    size_t listed = 0;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < in->issues.count; i++) {
        const struct hl7_issue *issue = &in->issues.list[i];

        if (issue->severity != HL7_ERROR)
            continue;
        listed++;
        /* its sign is held, and counted as that (tally_intake) */
        if (strcmp(issue->word, "value-unread") != 0)
            e = count_issue(db, in, class, issue);
    }
    /* of the others the answer has no more than their number */
    if (e == ERR_OK && in->issues.errors > listed)
        e = count_row(db, in, class, "error", "", in->issues.errors - listed);
    return e;
}

/*
 * Warnings of the message itself, each a thing that its sender can mend.
 * Field 0: at any place.
 *
 * Those of its results are counted with these (tally_intake.c says which), and
 * another final report under the same key where it is told (hl7_intake_match.c).
 * Counted nowhere, on purpose:
 *   - a message that came again and is answered as before: its faults were
 *     counted then (metric headgate_hl7_repeated_total);
 *   - a time of day that is none (TM): what it is kept as, a text, is counted
 *     as no number, or as a code that no map has;
 *   - an OBX with nothing in it: so machines send what they did not measure, and
 *     the sender is not warned.  Of a sign it is held, and counted as that;
 *   - what is not of the content: a full disk or quarantine, a failed sync.
 *     The sender still has the message.
 */
static const struct {
    const char *word, *segment;
    int field;
    enum tally_class class;
} warnings[] = {
    { "bad-datetime", "", 0, TALLY_TOLERATED }, /* clocks, PID-7, OBR-8 */
    { "bad-value", "", 0, TALLY_TOLERATED },    /* bytes of what is shown */
    { "too-many", "NTE", 0, TALLY_TOLERATED },
    { "too-long", "NTE", 0, TALLY_TOLERATED },
    { "death-doubtful", "PID", 0, TALLY_TOLERATED },
    { "identity", "PID", 5, TALLY_TOLERATED },
    { "access-ambiguous", "OBX", 4, TALLY_TOLERATED },
    { "identity", "OBX", 4, TALLY_TOLERATED },
    { "not-found", "OBX", 11, TALLY_TOLERATED },
    { "duplicate", "MSH", 10, TALLY_TOLERATED },
    { "not-supported", "OBX", 2, TALLY_HELD },
    { "out-of-order", "OBX", 0, TALLY_HELD },
};

/* Is the sign that it is about held for it? */
static bool is_held_at(const struct hl7_intake *in, const struct hl7_place *at)
{
    for (size_t i = 0; i < in->issues.count; i++) {
        const struct hl7_issue *issue = &in->issues.list[i];

        if (strcmp(issue->word, "value-unread") == 0 &&
            strcmp(issue->place.segment, at->segment) == 0 &&
            issue->place.sequence == at->sequence)
            return true;
    }
    return false;
}

static enum err count_warning(struct db *db, const struct hl7_intake *in,
                              const struct hl7_issue *issue)
{
    const struct hl7_place *at = &issue->place;

    for (size_t i = 0; i < COUNT(warnings); i++) {
        const char *segment = warnings[i].segment;

        if (strcmp(warnings[i].word, issue->word) != 0 ||
            (segment[0] != '\0' && strcmp(segment, at->segment) != 0) ||
            (warnings[i].field != 0 && warnings[i].field != at->field))
            continue;
        if (warnings[i].class == TALLY_HELD && is_held_at(in, at))
            return ERR_OK;
        return count_issue(db, in, warnings[i].class, issue);
    }
    return ERR_OK;
}

enum err hl7_count_warnings(struct db *db, const struct hl7_intake *in)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < in->issues.count; i++) {
        if (in->issues.list[i].severity == HL7_WARNING)
            e = count_warning(db, in, &in->issues.list[i]);
    }
    return e;
}
