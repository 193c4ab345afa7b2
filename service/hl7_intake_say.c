#include "service/hl7_intake_work.h"

#include <stdio.h>
#include <string.h>

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
                                  .message = in->id };
    int64_t id;

    if (first != NULL) {
        hl7_place_write(&first->place, place);
        row.reason = first->word;
        if (in->issues.errors > 1)
            snprintf(text, sizeof(text), "%s (and %zu more)", first->text,
                     in->issues.errors - 1);
        else
            snprintf(text, sizeof(text), "%s", first->text);
    }
    return quarantine_add(db, &row, &id);
}

enum err hl7_count_errors(struct db *db, const struct hl7_intake *in,
                          enum tally_class class)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < in->issues.count; i++) {
        const struct hl7_issue *issue = &in->issues.list[i];
        char place[16] = "";
        const struct tally_row row = { .at_ms = in->now_ms,
                                       .source = source_of(in),
                                       .way = in->way,
                                       .class = class,
                                       .reason = issue->word,
                                       .what = "",
                                       .place = place,
                                       .unit = "",
                                       .sample = in->control,
                                       .count = 1 };

        if (issue->severity != HL7_ERROR)
            continue;
        /* without its number, so that equal faults are counted together */
        if (issue->place.segment[0] != '\0' && issue->place.field > 0)
            snprintf(place, sizeof(place), "%s-%d", issue->place.segment,
                     issue->place.field);
        else
            snprintf(place, sizeof(place), "%s", issue->place.segment);
        e = tally_add(db, &row);
    }
    return e;
}
