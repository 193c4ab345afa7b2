#include "service/tally_intake.h"

#include "service/tally.h"

#include <stdio.h>
#include <string.h>

enum { CODE_SHOWN_MAX = 20, WHAT_SIZE = 400 };

/* Where in what the sender sent the reason of a hold is to be mended. */
static const char *place_of(enum hold hold, bool v2)
{
    static const struct {
        const char *fhir, *v2;
    } places[HOLD_COUNT] = {
        [HOLD_NONE] = { "", "" },
        [HOLD_UNIT] = { "Observation.value", "OBX-6" },
        [HOLD_CODE] = { "Observation.code", "OBX-3" },
        [HOLD_IMPLAUSIBLE] = { "Observation.value", "OBX-5" },
        [HOLD_SIDE] = { "Observation.bodySite", "OBX-20" },
        [HOLD_ACCESS] = { "Observation.focus", "OBX-20" },
        [HOLD_TIME] = { "Observation.effective", "OBX-14" },
        [HOLD_VALUE] = { "Observation.value", "OBX-5" },
        [HOLD_OTHERWISE] = { "Observation.status", "OBX-11" },
    };

    return v2 ? places[hold].v2 : places[hold].fhir;
}

/* Of a whole intake: what all of its rows have in common. */
static struct tally_row row_of(const struct intake *in, const char *unit,
                               const char *sample)
{
    return (struct tally_row){ .at_ms = in->now_ms,
                               .source = in->sender,
                               .way = in->way != 0 ? in->way : QUARANTINE_HTTP,
                               .reason = "",
                               .what = "",
                               .place = "",
                               .unit = unit,
                               .sample = sample,
                               .count = 1 };
}

static void write_code(const struct fhir_observation *o,
                       const struct fhir_reading *fr, enum hold hold,
                       char out[WHAT_SIZE])
{
    const char *root = o->root_code != NULL ? o->root_code : "";
    const char *unit = fr->hint + strlen("unit ");
    size_t len = strlen(fr->hint);

    /* "unit ml?": the word that could not be read, as it was sent */
    if (hold == HOLD_UNIT && strncmp(fr->hint, "unit ", 5) == 0 && len > 6)
        snprintf(out, WHAT_SIZE, "%.300s in '%.*s'", root, (int)(len - 6),
                 unit);
    else if (hold == HOLD_UNIT)
        snprintf(out, WHAT_SIZE, "%.300s without a unit", root);
    else
        snprintf(out, WHAT_SIZE, "%.300s", root);
}

static enum err count_held(struct db *db, const struct tally_row *common,
                           bool v2, const struct fhir_observation *o,
                           const struct readings_fate *fate)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->reading_count; i++) {
        struct tally_row row = *common;
        char what[WHAT_SIZE];

        if (fate->hold[i] == HOLD_NONE)
            continue;
        write_code(o, &o->readings[i], fate->hold[i], what);
        row.class = TALLY_HELD;
        row.reason = hold_word(fate->hold[i]);
        row.what = what;
        row.place = place_of(fate->hold[i], v2);
        e = tally_add(db, &row);
    }
    return e;
}

static const char *place_of_code(const struct fhir_unmapped *u, bool v2)
{
    if (v2)
        return u->of_value ? "OBX-5" : "OBX-3";
    if (u->of_value)
        return "Observation.value";
    return u->slot > 0 ? "Observation.component.code" : "Observation.code";
}

/* A code is one word, and short.  What people type where a coded value belongs
 * may be anything, and the page of the unit is mailed. */
static bool looks_like_code(const char *text)
{
    return strlen(text) <= CODE_SHOWN_MAX && strpbrk(text, " \t\r\n") == NULL;
}

static enum err count_unknown(struct db *db, const struct tally_row *common,
                              bool v2, const struct fhir_observation *o)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < o->unmapped_count; i++) {
        const struct fhir_unmapped *u = &o->unmapped[i];
        struct tally_row row = *common;
        char what[WHAT_SIZE];

        snprintf(what, sizeof(what), "%.200s|%.150s",
                 u->system != NULL ? u->system : "",
                 !u->of_value || looks_like_code(u->code) ? u->code
                                                          : "(a text)");
        row.class = TALLY_UNKNOWN;
        row.reason = "code-unknown";
        row.what = what;
        row.place = place_of_code(u, v2);
        e = tally_add(db, &row);
    }
    return e;
}

static bool is_warning(const struct issue *issue, const char *word)
{
    return issue->severity == SEV_WARNING && strcmp(issue->word, word) == 0;
}

static bool ends_in(const struct issue *issue, const char *end)
{
    size_t len = strlen(issue->place), tail = strlen(end);

    return len >= tail && strcmp(issue->place + len - tail, end) == 0;
}

/* An access that is named otherwise than the one that is known. */
static enum err count_name(struct db *db, const struct tally_row *common,
                           bool v2, const struct fhir_item *item)
{
    const struct fhir_observation *o = &item->u.observation;
    struct tally_row row = *common;

    for (size_t i = 0; i < item->outcome.count; i++) {
        const struct issue *issue = &item->outcome.issues[i];

        if (issue->severity != SEV_WARNING ||
            strcmp(issue->word, "identity") != 0 ||
            strcmp(issue->place, "Observation.focus") != 0)
            continue;
        row.class = TALLY_TOLERATED;
        row.reason = issue->word;
        row.what = o->root_code != NULL ? o->root_code : "";
        row.place = v2 ? "the name of the access" : issue->place;
        return tally_add(db, &row);
    }
    return ERR_OK;
}

/* A number that came as a text, say: it is no reading at all. */
static enum err count_unused(struct db *db, const struct tally_row *common,
                             bool v2, const struct fhir_item *item)
{
    const struct fhir_observation *o = &item->u.observation;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < item->outcome.count; i++) {
        const struct issue *issue = &item->outcome.issues[i];
        struct tally_row row = *common;

        if (strcmp(issue->word, "not-computed") != 0 ||
            strstr(issue->place, ".value") == NULL)
            continue;
        row.class = TALLY_HELD;
        row.reason = issue->word;
        row.what = o->root_code != NULL ? o->root_code : "";
        row.place = place_of(HOLD_VALUE, v2);
        e = tally_add(db, &row);
    }
    return e;
}

/*
 * What is said as a text alone can be in no map: it is counted, and its words
 * are not, since they are the sender's and may be anything.
 */
static enum err count_textual(struct db *db, const struct tally_row *common,
                              bool v2, const struct fhir_item *item)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < item->outcome.count; i++) {
        const struct issue *issue = &item->outcome.issues[i];
        struct tally_row row = *common;

        if (!is_warning(issue, "code-unknown") || !ends_in(issue, ".code"))
            continue;
        row.class = TALLY_HELD;
        row.reason = issue->word;
        row.place = v2 ? "OBX-3" : issue->place;
        e = tally_add(db, &row);
    }
    return e;
}

/*
 * What was understood though it was not said as it should be.  Not counted, on
 * purpose: access-assumed, access-provisional and type-unknown are true of most
 * feeds and no fault of theirs; unusual-value is of what was measured, not of
 * how it was sent; what is only told as information.
 */
static const struct {
    const char *word, *end; /* end of the place; "": any */
    const char *v2;
} tolerated[] = {
    { "unit-assumed", "", "OBX-6" },         { "stage-assumed", "", "OBX-5" },
    { "future-time", "", "OBX-14" }, /* a sign, which counts as seen now */
    { "access-side", "", "OBX-20" }, /* both sides are named */
    { "code-unknown", ".method", "OBX-17" },
};

static enum err count_assumption(struct db *db, const struct tally_row *common,
                                 bool v2, const struct fhir_item *item,
                                 const struct issue *issue)
{
    const struct fhir_observation *o = &item->u.observation;
    struct tally_row row = *common;

    for (size_t i = 0; i < COUNT(tolerated); i++) {
        if (!is_warning(issue, tolerated[i].word) ||
            !ends_in(issue, tolerated[i].end))
            continue;
        row.class = TALLY_TOLERATED;
        row.reason = issue->word;
        row.what = o->root_code != NULL ? o->root_code : "";
        row.place = v2 ? tolerated[i].v2 : issue->place;
        return tally_add(db, &row);
    }
    return ERR_OK;
}

static enum err count_assumed(struct db *db, const struct tally_row *common,
                              bool v2, const struct fhir_item *item)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < item->outcome.count; i++)
        e = count_assumption(db, common, v2, item, &item->outcome.issues[i]);
    return e;
}

static enum err unit_of(struct db *db, int64_t patient, struct patient *p)
{
    enum err e = patient != 0 ? patient_get(db, patient, p) : ERR_ABSENT;

    if (e == ERR_ABSENT)
        p->unit[0] = '\0';
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err tally_intake(struct db *db, const struct intake *in,
                      const struct fhir_item *item,
                      const struct readings_fate *fate, int64_t patient,
                      const char *fid)
{
    const struct fhir_observation *o = &item->u.observation;
    char sample[FID_SIZE + 16];
    struct tally_row row;
    struct patient p;
    enum err e = unit_of(db, patient, &p);

    if (e != ERR_OK || o->reading_status == READING_WITHDRAWN)
        return e;
    snprintf(sample, sizeof(sample), "Observation/%s", fid);
    row = row_of(in, p.unit, in->sample != NULL ? in->sample : sample);
    e = count_name(db, &row, in->v2, item);
    if (e == ERR_OK)
        e = count_unused(db, &row, in->v2, item);
    if (e == ERR_OK)
        e = count_textual(db, &row, in->v2, item);
    /* where something is held, its reason says it */
    if (e == ERR_OK && fate->used > 0 && fate->held == 0)
        e = count_assumed(db, &row, in->v2, item);
    if (e == ERR_OK && fate->held > 0)
        e = count_held(db, &row, in->v2, o, fate);
    return e == ERR_OK ? count_unknown(db, &row, in->v2, o) : e;
}

static enum err add_used(struct db *db, const struct intake *in,
                         const char *unit, int64_t used)
{
    struct tally_row row = row_of(in, unit, "");

    row.class = TALLY_TAKEN;
    row.count = used;
    return used > 0 ? tally_add(db, &row) : ERR_OK;
}

enum err tally_intake_used(struct db *db, const struct intake *in)
{
    struct patient p = { .id = 0 }, next;
    int64_t whose = 0, used = 0;
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < fhir_doc_count(in->doc); i++) {
        const struct intake_result *r = &in->results[i];

        if (r->used == 0)
            continue;
        if (used == 0 || r->patient != whose)
            e = unit_of(db, r->patient, &next);
        if (e == ERR_OK && used > 0 && r->patient != whose &&
            strcmp(next.unit, p.unit) != 0) {
            e = add_used(db, in, p.unit, used);
            used = 0;
        }
        if (used == 0 || r->patient != whose)
            p = next;
        whose = r->patient;
        used += r->used;
    }
    return e == ERR_OK ? add_used(db, in, p.unit, used) : e;
}

enum err tally_intake_late(struct db *db, const struct intake *in,
                           int64_t patient, const char *fid)
{
    char sample[FID_SIZE + 16];
    struct tally_row row;
    struct patient p;
    enum err e = in->v2 ? ERR_OK : unit_of(db, patient, &p);

    if (in->v2 || e != ERR_OK)
        return e;
    snprintf(sample, sizeof(sample), "Observation/%s", fid);
    row = row_of(in, p.unit, in->sample != NULL ? in->sample : sample);
    row.class = TALLY_HELD;
    row.reason = "out-of-order";
    row.place = "Observation.issued";
    return tally_add(db, &row);
}
