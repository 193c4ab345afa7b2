/* Messages of HL7 v2 out of a file. */
#include "service/drop_work.h"
#include "service/log.h"
#include "service/tally.h"

#include <string.h>

/* ---- reading: on the pool ------------------------------------------------- */

/* Lines that end within a message: CR, LF or CRLF. */
static uint64_t lines_in(const char *bytes, size_t len)
{
    uint64_t count = 0;

    for (size_t i = 0; i < len; i++) {
        if (bytes[i] == '\r' ||
            (bytes[i] == '\n' && (i == 0 || bytes[i - 1] != '\r')))
            count++;
    }
    return count;
}

/* The sender is the folder's; files that lie in FOLDER itself, and those of a
 * folder that no section describes, are of whom they say. */
static const struct hl7_profile *profile_of(const struct drop *d,
                                            const char *bytes, size_t len)
{
    const char *name = d->folders[d->turn].name;
    const struct hl7_profile *profile = NULL;
    struct hl7_sender_head head;

    if (name[0] != '\0')
        profile = hl7_senders_named(d->options.senders, name);
    if (profile == NULL && hl7_senders_peek(bytes, len, &head) == ERR_OK)
        profile = hl7_senders_find(d->options.senders, &head, NULL, NULL);
    return profile;
}

/* One after the other, their bytes into text; ERR_ABSENT: there are no more. */
static enum err gather(struct drop *d)
{
    enum err e = ERR_OK;

    buf_empty(&d->text);
    while (e == ERR_OK && d->message_count < DROP_ENTRIES &&
           d->text.len < DROP_BYTES) {
        struct drop_message *m = &d->messages[d->message_count];

        e = hl7_batch_next(d->batch, &m->at);
        if (e != ERR_OK && e != ERR_FORM && e != ERR_LIMIT)
            break;
        m->err = e;
        m->read = false;
        m->start = d->text.len;
        m->at.line += d->base_line;
        if (e == ERR_OK)
            buf_add(&d->text, m->at.bytes, m->at.len);
        d->end = m->at.end;
        d->end_line = m->at.line;
        if (e == ERR_OK) /* its last line may be ended by a frame */
            d->end_line += lines_in(m->at.bytes, m->at.len) - 1;
        d->message_count++;
        e = buf_ok(&d->text);
    }
    return e;
}

static enum err read_one(struct drop *d, struct drop_message *m)
{
    m->in =
        (struct hl7_intake){ .bytes = d->text.data + m->start,
                             .len = m->at.len,
                             .reader = d->reader,
                             .way = QUARANTINE_FILE,
                             .line = (int64_t)m->at.line,
                             .start = (int64_t)m->at.offset,
                             .merge_implied = d->options.config->merge_implied,
                             .now_ms = d->options.now_ms() };
    m->in.profile = profile_of(d, m->in.bytes, m->in.len);
    m->read = true;
    return hl7_intake_read(&m->in);
}

void drop_read_messages(struct drop *d)
{
    enum err e = gather(d);

    if (e == ERR_ABSENT) {
        d->ended = true;
        d->end = (uint64_t)d->row.bytes;
        e = ERR_OK;
    }
    d->reader.now_s = d->options.now_ms() / 1000;
    for (size_t i = 0; e == ERR_OK && i < d->message_count; i++) {
        if (d->messages[i].err == ERR_OK)
            e = read_one(d, &d->messages[i]);
    }
    d->err = e;
    if (e != ERR_OK)
        drop_free_step(d);
}

/* ---- into the store: on its thread ---------------------------------------- */

/* Its errors in the form that the error file has; a word of the issues is one
 * of outcome.h. */
static void to_outcome(const struct hl7_issues *issues, struct outcome *o)
{
    static const enum severity severities[] = { [HL7_INFORMATION] =
                                                    SEV_INFORMATION,
                                                [HL7_WARNING] = SEV_WARNING,
                                                [HL7_ERROR] = SEV_ERROR };
    char place[HL7_PLACE_SIZE];

    outcome_init(o);
    for (size_t i = 0; i < issues->count; i++) {
        const struct hl7_issue *issue = &issues->list[i];

        hl7_place_write(&issue->place, place);
        outcome_add(o, severities[issue->severity], issue->word, place, "%s",
                    issue->text);
    }
}

static enum err refuse(struct db *db, struct drop *d,
                       const struct drop_message *m, const struct outcome *o,
                       bool kept)
{
    const struct drop_refusal r = { .place = { .file = d->taken,
                                               .line = m->at.line,
                                               .offset = m->at.offset },
                                    .outcome = o,
                                    .v2 = true,
                                    .kept = kept,
                                    .kind = FHIR_OTHER,
                                    .status = 422,
                                    .body = m->read ? m->in.bytes : NULL,
                                    .len = m->read ? m->in.len : 0 };

    return drop_refuse(db, d, &r);
}

/* What belongs to no message, or is too long. */
static enum err refuse_piece(struct db *db, struct drop *d,
                             const struct drop_message *m)
{
    struct outcome outcome;

    outcome_init(&outcome);
    outcome_add(&outcome, SEV_ERROR,
                m->err == ERR_LIMIT ? "too-long" : "bad-request", "", "%s",
                m->at.problem != NULL ? m->at.problem
                                      : "This belongs to no message");
    return refuse(db, d, m, &outcome, false);
}

/* A file that was taken too early, or was cut off on its way: the last value
 * may be short, and nobody would see it. */
static enum err count_cut(struct db *db, const struct drop *d,
                          const struct drop_message *m)
{
    const struct tally_row row = { .at_ms = d->options.now_ms(),
                                   .source = drop_sender(d),
                                   .way = QUARANTINE_FILE,
                                   .class = TALLY_TOLERATED,
                                   .reason = "missing-element",
                                   .what = "the last segment of a file has no "
                                           "end: was it cut off?",
                                   .place = "",
                                   .unit = "",
                                   .sample = m->in.control,
                                   .count = 1 };

    log_event(LOG_WARN, "drop.cut", KEY_INT("file", d->row.number),
              KEY_INT("line", (int64_t)m->at.line));
    return m->in.repeated ? ERR_OK : tally_add(db, &row);
}

static enum err apply_one(struct db *db, struct drop *d, struct drop_message *m)
{
    struct outcome outcome;
    int64_t refused = d->step_refused;
    enum err e = hl7_intake_apply(db, &m->in);

    if (e != ERR_OK)
        return e;
    d->news = d->news || m->in.news;
    d->step_stored += (int64_t)m->in.stored;
    d->step_there += (int64_t)m->in.there + (m->in.repeated ? 1 : 0);
    d->step_held += (int64_t)m->in.held;
    if (m->at.cut)
        e = count_cut(db, d, m);
    if (e != ERR_OK)
        return e;
    if (!m->in.quarantined && m->in.answer != HL7_AR)
        return ERR_OK;
    if (m->in.repeated) /* as it was answered then */
        return ERR_OK;
    to_outcome(&m->in.issues, &outcome);
    e = refuse(db, d, m, &outcome, m->in.id != 0);
    /* one line tells of all its results */
    d->step_refused =
        refused + (m->in.refused > 0 ? (int64_t)m->in.refused : 1);
    return e;
}

enum err drop_apply_messages(struct db *db, struct drop *d)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < d->message_count; i++) {
        struct drop_message *m = &d->messages[i];

        e = m->err == ERR_OK ? apply_one(db, d, m) : refuse_piece(db, d, m);
    }
    return e;
}
