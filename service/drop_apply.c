/* The step of a file into the store: on its thread, in one transaction. */
#include "service/drop_work.h"

#include "adapters/fhir_answer.h"
#include "service/audit_feeds.h"
#include "service/quarantine_urgent.h"
#include "service/tally.h"

#include <string.h>

/* ---- what was refused ----------------------------------------------------- */

static const struct issue *first_error(const struct outcome *o)
{
    for (size_t i = 0; i < o->count; i++) {
        if (o->issues[i].severity >= SEV_ERROR)
            return &o->issues[i];
    }
    return NULL;
}

static enum err quarantine(struct db *db, struct drop *d,
                           const struct drop_refusal *r,
                           const struct issue *issue, bool *fresh)
{
    const struct quarantine_row row = {
        .at_ms = d->options.now_ms(),
        .way = QUARANTINE_FILE,
        .source = drop_sender(d),
        .kind = r->kind,
        .file = d->row.number,
        .line = (int64_t)r->place.line,
        .start = (int64_t)r->place.offset,
        .status = r->status,
        .reason = issue != NULL ? issue->word : "bad-request",
        .place = issue != NULL ? issue->place : "",
        .text = issue != NULL ? issue->text : "",
        .urgent = quarantine_is_urgent(d->reader.codes, r->body, r->len),
        .body = r->body,
        .len = r->len
    };
    int64_t id;

    return quarantine_add_new(db, &row, &id, fresh);
}

static enum err count(struct db *db, struct drop *d,
                      const struct drop_refusal *r, const struct issue *issue)
{
    char sample[64];
    const struct tally_row row = { .at_ms = d->options.now_ms(),
                                   .source = drop_sender(d),
                                   .way = QUARANTINE_FILE,
                                   .class = TALLY_QUARANTINED,
                                   .reason = issue != NULL ? issue->word
                                                           : "bad-request",
                                   .what = "",
                                   .place = issue != NULL ? issue->place : "",
                                   .unit = "",
                                   .sample = sample,
                                   .count = 1 };

    snprintf(sample, sizeof(sample), "file %lld, line %llu",
             (long long)d->row.number, (unsigned long long)r->place.line);
    return tally_add(db, &row);
}

/* For the error file; beyond its length they are counted only. */
static enum err list(struct db *db, struct drop *d,
                     const struct drop_refusal *r)
{
    int64_t listed = d->row.refused + d->step_refused;
    enum err e;

    if (!d->options.config->drop_error_lines || listed > DROP_LISTED_MAX)
        return ERR_OK;
    buf_empty(&d->line);
    error_line_write(d->reader.base, r->outcome, r->v2, &r->place, &d->line);
    e = buf_ok(&d->line);
    return e == ERR_OK ? db_run(db, Q_DROPPED_LINE, "iiis", d->row.number,
                                (int64_t)r->place.offset,
                                INT64(d->refused_here++), d->line.data)
                       : e;
}

enum err drop_refuse(struct db *db, struct drop *d,
                     const struct drop_refusal *r)
{
    const struct issue *issue = first_error(r->outcome);
    bool fresh = false;
    enum err e = ERR_OK;

    d->step_refused++;
    if (!r->kept) {
        e = quarantine(db, d, r, issue, &fresh);
        if (e == ERR_OK && fresh) /* each line once */
            e = count(db, d, r, issue);
    }
    return e == ERR_OK ? list(db, d, r) : e;
}

/* ---- lines that are none -------------------------------------------------- */

static enum err refuse_fault(struct db *db, struct drop *d,
                             const struct feed_fault *fault)
{
    struct outcome outcome;
    struct drop_refusal r = { .place = { .file = d->taken,
                                         .line = fault->at.line,
                                         .offset = fault->at.offset },
                              .outcome = &outcome,
                              .kind = FHIR_OTHER };

    outcome_init(&outcome);
    if (fault->err == ERR_LIMIT)
        outcome_add(&outcome, SEV_ERROR, "too-long", "",
                    "The line is longer than is taken (%d bytes)",
                    FEED_LINE_MAX);
    else
        outcome_add(&outcome, SEV_ERROR, "json-syntax", "",
                    "The line is not one JSON object");
    r.status = outcome.status;
    if (fault->kept) {
        r.body = d->parcel.faulty.data + fault->at.start;
        r.len = fault->at.len;
    }
    return drop_refuse(db, d, &r);
}

/* ---- parts ---------------------------------------------------------------- */

/* Where item i of a part stands. */
static struct error_place place_of(const struct drop *d,
                                   const struct drop_part *part, size_t i)
{
    struct error_place place = { .file = d->taken, .line = 1 };

    if (d->form == DROP_LINES) {
        const struct feed_entry *entry =
            &d->parcel.batch.entries[part->first + (part->bundle ? 0 : i)];

        place.line = entry->line;
        place.offset = entry->offset;
    }
    place.entry = part->bundle ? i + 1 : 0;
    return place;
}

/* A part that is none: its line as it came. */
static enum err refuse_part(struct db *db, struct drop *d,
                            const struct drop_part *part)
{
    struct drop_refusal r = { .place = place_of(d, part, 0),
                              .outcome = &part->outcome,
                              .kind = FHIR_OTHER,
                              .status = part->outcome.status,
                              .body = d->text.data,
                              .len = d->text.len };

    if (d->form == DROP_LINES) {
        const struct feed_entry *entry = &d->parcel.batch.entries[part->first];

        r.body = d->parcel.batch.body.data + entry->start;
        r.len = entry->len;
    }
    r.place.entry = 0;
    return drop_refuse(db, d, &r);
}

static bool says(const struct issue *issue, enum answer_word w)
{
    return strcmp(issue->word, answer_word(w)) == 0;
}

/* The same as fhir_answer says of an answer. */
static void count_fate(struct drop *d, const struct outcome *o)
{
    bool there = false, held = false;

    for (size_t i = 0; i < o->count; i++) {
        const struct issue *issue = &o->issues[i];

        if (says(issue, ANSWER_DUPLICATE) || says(issue, ANSWER_OUT_OF_ORDER))
            there = there || issue->place[0] == '\0';
        else
            for (int w = ANSWER_HELD; w < ANSWER_WORD_COUNT; w++)
                held = held || (says(issue, (enum answer_word)w) &&
                                issue->severity >= SEV_WARNING);
    }
    if (there)
        d->step_there++;
    else if (held)
        d->step_held++;
    else
        d->step_stored++;
}

static enum err judge(struct db *db, struct drop *d,
                      const struct drop_part *part)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < fhir_doc_count(part->doc); i++) {
        const struct fhir_item *item = fhir_doc_item(part->doc, i);
        struct drop_refusal r = { .place = place_of(d, part, i),
                                  .outcome = &item->outcome,
                                  .kind = item->type,
                                  .status = part->results[i].status,
                                  .body = part->body + item->offset,
                                  .len = item->len };

        if (part->results[i].status >= 400)
            e = drop_refuse(db, d, &r);
        else
            count_fate(d, &item->outcome);
    }
    return e;
}

/* Why a transaction was refused as a whole, each issue with its entry. */
static void gather_refusals(struct drop_part *part)
{
    for (size_t i = 0; i < fhir_doc_count(part->doc); i++) {
        const struct outcome *o = &fhir_doc_item(part->doc, i)->outcome;

        for (size_t k = 0; k < o->count; k++) {
            const struct issue *issue = &o->issues[k];
            const char *rest = strpbrk(issue->place, ".[");
            char place[200];

            if (issue->severity < SEV_ERROR)
                continue;
            if (strncmp(issue->place, "Bundle", 6) == 0)
                snprintf(place, sizeof(place), "%s", issue->place);
            else
                snprintf(place, sizeof(place), "Bundle.entry[%zu].resource%s",
                         i, rest != NULL ? rest : "");
            outcome_add(&part->outcome, issue->severity, issue->word, place,
                        "%s", issue->text);
        }
    }
}

/* A transaction is taken as a whole or not at all; nothing else is undone. */
static enum err apply_part(struct db *db, struct drop *d,
                           struct drop_part *part)
{
    struct intake in = { .doc = part->doc,
                         .reader = &d->reader,
                         .body = part->body,
                         .len = part->len,
                         .source = SOURCE_FEED,
                         .merge_implied = d->options.config->merge_implied,
                         .deliver = d->options.deliver,
                         .now_ms = d->options.now_ms(),
                         .sender = drop_sender(d),
                         .way = QUARANTINE_FILE,
                         .results = part->results };
    enum err e, applied;

    if (part->doc == NULL)
        return refuse_part(db, d, part);
    e = db_run(db, Q_SAVE_PART, "");
    if (e != ERR_OK)
        return e;
    applied = intake_apply(db, &in);
    if (applied != ERR_OK && in.all_failed) {
        e = db_run(db, Q_UNDO_PART, "");
        db_forget_ids(db);
        gather_refusals(part);
    } else {
        e = applied;
        d->news = d->news || in.news;
        d->tasks = d->tasks || in.tasks_changed > 0;
    }
    if (e == ERR_OK)
        e = db_run(db, Q_RELEASE_PART, "");
    if (e != ERR_OK)
        return e;
    return in.all_failed ? refuse_part(db, d, part) : judge(db, d, part);
}

/* For the audit trail. */
static enum err note(struct db *db, const struct drop *d)
{
    const struct audit_file file = { .folder = drop_sender(d),
                                     .number = d->row.number,
                                     .stored = d->step_stored,
                                     .there = d->step_there,
                                     .held = d->step_held,
                                     .refused = d->step_refused,
                                     .now_ms = d->options.now_ms() };

    return audit_file(db, &file);
}

enum err drop_run_apply(struct db *db, struct drop *d)
{
    enum err e = ERR_OK;

    d->step_stored = d->step_there = d->step_held = d->step_refused = 0;
    d->refused_here = 0;
    d->news = d->tasks = false;
    e = audit_whom_begin(db);
    for (size_t i = 0; e == ERR_OK && i < d->part_count; i++)
        e = apply_part(db, d, &d->parts[i]);
    if (d->form == DROP_LINES)
        for (size_t i = 0; e == ERR_OK && i < d->parcel.fault_count; i++)
            e = refuse_fault(db, d, &d->parcel.faults[i]);
    if (e == ERR_OK && d->form == DROP_MESSAGES)
        e = drop_apply_messages(db, d);
    if (e == ERR_OK)
        e = note(db, d);
    return e == ERR_OK
               ? db_run(db, Q_DROPPED_STEP, "siiiiii", d->key, (int64_t)d->end,
                        (int64_t)d->end_line, d->step_stored, d->step_there,
                        d->step_held, d->step_refused)
               : e;
}
