#include "service/record_check.h"

#include <string.h>

/* What one line is about.  The says function of a row looks at the statement;
 * a row without a text for what it found is left out. */
struct row {
    enum says (*says)(const struct fhir_record_says *s);
    bool needed;   /* without it headgate cannot work there */
    size_t wanted; /* offset in struct record_wants; ALWAYS */
    const char *yes, *no, *unsaid;
};

#define ALWAYS      ((size_t)-1)
#define WANTS(what) offsetof(struct record_wants, what)

static enum says version(const struct fhir_record_says *s)
{
    if (s->fhir_version[0] == '\0')
        return SAYS_NOTHING;
    return strncmp(s->fhir_version, "4.0.", 4) == 0 ? SAYS_YES : SAYS_NO;
}

static enum says json(const struct fhir_record_says *s)
{
    return s->json;
}

static enum says create(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_TASK, RECORD_CREATE);
}

static enum says read(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_TASK, RECORD_READ);
}

static enum says update(const struct fhir_record_says *s)
{
    enum says put = fhir_record_can(s, RECORD_TASK, RECORD_UPDATE);

    return put == SAYS_NO ? fhir_record_can(s, RECORD_TASK, RECORD_PATCH) : put;
}

static enum says patch(const struct fhir_record_says *s)
{
    return s->json_patch == SAYS_NO
               ? SAYS_NO
               : fhir_record_can(s, RECORD_TASK, RECORD_PATCH);
}

static enum says condition(const struct fhir_record_says *s)
{
    return s->types[RECORD_TASK].conditional_create;
}

static enum says versions(const struct fhir_record_says *s)
{
    return s->types[RECORD_TASK].versioned;
}

static enum says find_task(const struct fhir_record_says *s)
{
    return fhir_record_finds(s, RECORD_TASK, SEARCH_IDENTIFIER);
}

static enum says find_changes(const struct fhir_record_says *s)
{
    return fhir_record_finds(s, RECORD_TASK, SEARCH_LAST_UPDATED);
}

static enum says find_patient(const struct fhir_record_says *s)
{
    return fhir_record_finds(s, RECORD_PATIENT, SEARCH_IDENTIFIER);
}

static enum says find_access(const struct fhir_record_says *s)
{
    return fhir_record_finds(s, RECORD_BODY_STRUCTURE, SEARCH_IDENTIFIER);
}

static enum says transaction(const struct fhir_record_says *s)
{
    return s->transaction;
}

static enum says batch(const struct fhir_record_says *s)
{
    return s->batch;
}

static enum says document(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_DOCUMENT_REFERENCE, RECORD_CREATE);
}

static enum says proposal(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_SERVICE_REQUEST, RECORD_CREATE);
}

static enum says flag(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_FLAG, RECORD_CREATE);
}

static enum says provenance(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_PROVENANCE, RECORD_CREATE);
}

static enum says readings(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_OBSERVATION, RECORD_SEARCH);
}

static enum says readings_since(const struct fhir_record_says *s)
{
    return fhir_record_finds(s, RECORD_OBSERVATION, SEARCH_LAST_UPDATED);
}

static enum says deletions(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_OBSERVATION, RECORD_HISTORY_TYPE);
}

static enum says subscription(const struct fhir_record_says *s)
{
    return fhir_record_can(s, RECORD_SUBSCRIPTION, RECORD_CREATE);
}

static enum says bulk(const struct fhir_record_says *s)
{
    return s->bulk_export;
}

static const struct row rows[] = {
    { version, true, ALWAYS, "It speaks FHIR R4 (4.0), as headgate does.",
      "It speaks another version of FHIR than R4 (4.0): headgate cannot work "
      "with it.",
      "Which version of FHIR it speaks is not said; headgate speaks R4 "
      "(4.0)." },
    { json, true, ALWAYS, NULL,
      "It does not speak JSON, and headgate speaks nothing else.", NULL },
    { create, true, ALWAYS, "Suggestions and reminders can be posted as Tasks.",
      "Tasks cannot be created: no suggestion or reminder would reach this "
      "record.",
      "Whether Tasks can be created is not said; the first one will show." },
    { read, true, ALWAYS, "Posted Tasks can be read back.",
      "Tasks cannot be read back: what people do with them would not be seen.",
      "Whether Tasks can be read back is not said." },
    { update, true, ALWAYS,
      "Posted Tasks can be changed: new evidence and withdrawals reach it.",
      "Posted Tasks cannot be changed: a suggestion that no longer holds "
      "could not be withdrawn there.",
      "Whether posted Tasks can be changed is not said." },
    { condition, false, ALWAYS,
      "A post that is repeated after a lost answer does not make a second "
      "Task (conditional create).",
      "Conditional create is not offered: headgate looks for its Task before "
      "it posts one. If the record's search lags behind, one may be doubled; "
      "doubles are found and marked as entered in error.",
      "Whether conditional create is offered is not said; it is relied on, "
      "and doubles that are found are marked as entered in error." },
    { versions, false, ALWAYS,
      "A change that a person makes at the same time is not overwritten "
      "(versions, If-Match).",
      "It keeps no versions: a change that a person makes within the same "
      "second may be overwritten.",
      "Whether it keeps versions is not said; where it gives no ETag, a change "
      "that a person makes within the same second may be overwritten." },
    { patch, false, ALWAYS,
      "Changes are sent as JSON Patch: only what is new is touched.",
      "JSON Patch is not offered: a Task is read, changed and put back whole.",
      "Whether JSON Patch is offered is not said; it is tried once, then Tasks "
      "are put back whole." },
    { find_task, false, ALWAYS, "Tasks are found by their identifier.",
      "Tasks are not found by identifier: doubled ones cannot be found.",
      "Whether Tasks are found by identifier is not said." },
    { find_changes, false, WANTS(follow),
      "What people do with Tasks is seen by asking for what has changed.",
      "It cannot be asked for what has changed: each open Task is read by "
      "itself, less often.",
      "Whether it can be asked for what has changed is not said; if it "
      "cannot, each open Task is read by itself, less often." },
    { find_patient, false, ALWAYS,
      "Patients are found by identifier: Tasks refer to the record's own "
      "Patient.",
      "Patients are not found by identifier: Tasks name the patient by "
      "identifier alone, and may not show on the chart.",
      "Whether patients are found by identifier is not said." },
    { find_access, false, ALWAYS,
      "Accesses are found by identifier (BodyStructure).",
      "BodyStructure is not offered or not found by identifier: Tasks name the "
      "access by identifier and in words.",
      "Whether a BodyStructure is found by identifier is not said." },
    { transaction, false, WANTS(documents),
      "A Task and its document are posted in one transaction.",
      "Transactions are not offered: a document is posted before its Task.",
      "Whether transactions are offered is not said; one is tried." },
    { batch, false, WANTS(proposal), NULL,
      "Batches are not offered: what goes with a Task is posted one by one.",
      NULL },
    { document, false, WANTS(documents),
      "Plans can be posted as documents (DocumentReference).",
      "DocumentReference cannot be created: a plan reaches this record only "
      "inside its Task.",
      "Whether DocumentReference can be created is not said." },
    { proposal, false, WANTS(proposal),
      "Proposals can be posted (ServiceRequest).",
      "ServiceRequest cannot be created: set record.service_request = false.",
      "Whether ServiceRequest can be created is not said." },
    { flag, false, WANTS(flag), "Flags can be raised on the chart.",
      "Flag cannot be created: set record.flag = false.",
      "Whether Flag can be created is not said." },
    { provenance, false, WANTS(provenance),
      "Where a Task comes from is posted as Provenance.",
      "Provenance cannot be created: where a Task comes from stands in its "
      "note and inputs only. Set record.provenance = false.",
      "Whether Provenance can be created is not said." },
    { readings, true, WANTS(poll), "Readings can be fetched (Observation).",
      "Observations cannot be searched: no reading can be fetched here. Let "
      "the record or the units send them instead.",
      "Whether Observations can be searched is not said." },
    { readings_since, true, WANTS(poll),
      "It can be asked for the readings that are new (_lastUpdated).",
      "It cannot be asked for what is new (_lastUpdated): fetching stops "
      "rather than take everything each time.",
      "Whether it can be asked for what is new is not said; if it sends older "
      "readings than asked for, fetching stops and says so." },
    { deletions, false, WANTS(poll),
      "Deleted readings are seen (history of the type).",
      "Deleted readings are not seen: a reading must be withdrawn by its "
      "status (entered-in-error).",
      "Whether deleted readings are seen is not said; rely on the status "
      "entered-in-error alone." },
    { subscription, false, WANTS(subscribe),
      "It can be asked to call when something changes (Subscription).",
      "Subscription cannot be created: changes are seen by asking alone.",
      "Whether a Subscription can be created is not said." },
    { bulk, false, WANTS(bulk), "Bulk export is offered.", NULL,
      "Bulk export is not named among its operations." },
};

static bool is_wanted(const struct record_wants *wants, size_t offset)
{
    return offset == ALWAYS || *(const bool *)((const char *)wants + offset);
}

static void write_line(const char *word, const char *text, struct buf *out)
{
    if (text != NULL)
        buf_printf(out, "  %-4s %s\n", word, text);
}

void record_check_write(const struct fhir_record_says *says,
                        const struct record_wants *wants, struct buf *out,
                        bool *works)
{
    *works = true;
    for (size_t i = 0; i < COUNT(rows); i++) {
        const struct row *r = &rows[i];

        if (!is_wanted(wants, r->wanted))
            continue;
        switch (r->says(says)) {
        case SAYS_YES:
            write_line("yes", r->yes, out);
            break;
        case SAYS_NO:
            write_line("no", r->no, out);
            *works = *works && !r->needed;
            break;
        case SAYS_NOTHING:
            write_line("?", r->unsaid, out);
            break;
        }
    }
}
