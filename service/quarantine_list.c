#include "service/quarantine_list.h"

#include "adapters/queue_text.h"
#include "service/audit_whom.h"
#include "service/held.h"
#include "service/names.h"
#include "service/remarks.h"

#include <string.h>

enum { SHOWN_MAX = 1000, CODES_SHOWN = 20, CODES_LISTED = 5000 };

static const char *text_or(const char *text, const char *otherwise)
{
    return text != NULL && text[0] != '\0' ? text : otherwise;
}

const char *quarantine_reason_words(const char *reason)
{
    const struct outcome_word *word;

    for (size_t i = 0; (word = outcome_word(i)) != NULL; i++) {
        if (strcmp(word->word, reason) == 0)
            return word->display;
    }
    return reason;
}

/* ---- the lines ------------------------------------------------------------ */

static struct quarantine_line held_line(struct db *db)
{
    const enum query q = Q_QUARANTINE_HELD;
    enum quantity quantity = (enum quantity)db_int(db, q, 2);

    return (struct quarantine_line){
        .number = db_int(db, q, 0),
        .held = true,
        .emergency = db_int(db, q, 10) != 0,
        .since_ms = db_int(db, q, 4),
        .patient_name = text_or(db_text(db, q, 6), ""),
        .patient_number = short_anchor(db_text(db, q, 7)),
        .unit = text_or(db_text(db, q, 8), ""),
        .what = held_words(quantity, (enum sign)db_int(db, q, 9)),
        .reason = db_text(db, q, 1),
        .why = held_reason_words(quantity, db_text(db, q, 1)),
        .hint = text_or(db_text(db, q, 3), ""),
        .place = "",
        .source = "",
        .way = "",
        .observation = db_text(db, q, 5)
    };
}

static const char *what_of(enum quarantine_way way, enum fhir_type kind,
                           bool is_message)
{
    if (is_message || way == QUARANTINE_HL7)
        return "HL7 v2 message";
    switch (kind) {
    case FHIR_OBSERVATION:
        return "Observation";
    case FHIR_BODY_STRUCTURE:
        return "BodyStructure";
    case FHIR_PATIENT:
        return "Patient";
    case FHIR_BUNDLE:
        return "Bundle";
    case FHIR_OTHER:
    case FHIR_TASK:
    case FHIR_DOCUMENT_REFERENCE:
    case FHIR_SERVICE_REQUEST:
    case FHIR_FLAG:
    case FHIR_PROVENANCE:
    case FHIR_LIST:
        break;
    }
    return way == QUARANTINE_FILE || way == QUARANTINE_BULK ? "line of a file"
                                                            : "resource";
}

static struct quarantine_line row_line(struct db *db)
{
    const enum query q = Q_QUARANTINE_OPEN;
    enum quarantine_way way = (enum quarantine_way)db_int(db, q, 2);

    return (struct quarantine_line){
        .number = db_int(db, q, 0),
        .since_ms = db_int(db, q, 1),
        .emergency = db_int(db, q, 9) != 0,
        .patient_name = "",
        .patient_number = text_or(db_text(db, q, 10), ""),
        .unit = "",
        .what = what_of(way, (enum fhir_type)db_int(db, q, 4),
                        db_int(db, q, 8) != 0),
        .reason = db_text(db, q, 5),
        .why = text_or(db_text(db, q, 7),
                       quarantine_reason_words(db_text(db, q, 5))),
        .hint = "",
        .place = text_or(db_text(db, q, 6), ""),
        .source = text_or(db_text(db, q, 3), ""),
        .way = quarantine_way_word(way),
        .observation = ""
    };
}

static void write_line(const struct quarantine_line *line,
                       const struct quarantine_filter *filter,
                       const struct zone *zone, struct buf *out)
{
    if (filter->json)
        quarantine_write_json(line, out);
    else
        quarantine_write_line(line, zone, out);
}

/* Both lists at once, the oldest first. */
static enum err write_lines(struct db *db,
                            const struct quarantine_filter *filter,
                            const struct zone *zone, struct buf *out)
{
    const enum query held = Q_QUARANTINE_HELD, rows = Q_QUARANTINE_OPEN;
    enum err h = db_first(db, held, "ssi", filter->reason, filter->unit,
                          INT64(SHOWN_MAX));
    enum err r = db_first(db, rows, "ssi", filter->reason, filter->unit,
                          INT64(SHOWN_MAX));
    struct quarantine_line line;

    while (h == ERR_OK || r == ERR_OK) {
        if (h == ERR_OK &&
            (r != ERR_OK || db_int(db, held, 4) <= db_int(db, rows, 1))) {
            line = held_line(db);
            write_line(&line, filter, zone, out);
            h = audit_saw(db, AUDIT_SAW_RESOURCE, line.number);
            h = h == ERR_OK ? db_next(db, held) : h;
        } else {
            line = row_line(db);
            write_line(&line, filter, zone, out);
            r = db_next(db, rows);
        }
    }
    db_done(db, held);
    db_done(db, rows);
    return h != ERR_ABSENT ? h : r == ERR_ABSENT ? ERR_OK : r;
}

/* ---- the summary ---------------------------------------------------------- */

static enum err write_sums(struct db *db, enum query q, bool held,
                           int64_t now_ms, struct buf *out)
{
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct quarantine_sum sum = { .reason = db_text(db, q, 0),
                                      .held = held,
                                      .count = db_int(db, q, 1),
                                      .oldest_ms = db_int(db, q, 2) };

        quarantine_write_sum(&sum,
                             held ? held_reason_words(Q_NONE, sum.reason)
                                  : quarantine_reason_words(sum.reason),
                             now_ms, out);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static const char codes_heading[] =
    "\nCodes that no map has; what is measured with them is kept and not used"
    "\n(headgate quarantine map NUMBER --code CODE --target MEANING; --target "
    "ignore for what is not for us):\n";

/* Most of them are no reading at all for as long as no map has the code; those
 * of signs come first. */
static enum err write_codes(struct db *db, bool json, struct buf *out)
{
    const enum query q = Q_UNMAPPED_LIST;
    enum err e = db_query(db, q, "i", INT64(json ? CODES_LISTED : CODES_SHOWN));
    int64_t listed = 0, all = 0;

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const struct quarantine_unmapped u = { .system = db_text(db, q, 0),
                                               .code = db_text(db, q, 1),
                                               .count = db_int(db, q, 2),
                                               .number = db_int(db, q, 3),
                                               .sign = db_int(db, q, 4) != 0 };

        all = db_int(db, q, 5);
        if (json) {
            quarantine_write_unmapped_json(&u, out);
        } else {
            buf_puts(out, listed == 0 ? codes_heading : "");
            quarantine_write_unmapped(&u, out);
        }
        listed++;
    }
    if (all > listed && json)
        quarantine_write_more_json(all - listed, out);
    else if (all > listed)
        buf_printf(out, "       and %lld more codes (--json lists them)\n",
                   (long long)(all - listed));
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err write_summary(struct db *db, int64_t now_ms, struct buf *out)
{
    size_t before;
    enum err e;

    buf_puts(out, "\n");
    before = out->len;
    e = write_sums(db, Q_HELD_SUM, true, now_ms, out);
    if (e == ERR_OK)
        e = write_sums(db, Q_QUARANTINE_SUM, false, now_ms, out);
    if (e == ERR_OK && out->len == before)
        buf_puts(out, "Nothing is held back, and nothing is in quarantine.\n");
    if (e == ERR_OK)
        e = write_codes(db, false, out);
    if (e == ERR_OK)
        e = remarks_read(db, out);
    buf_puts(out, "\nNone of this is used for suggestions before it is dealt "
                  "with. Whether a value is right\nis for the unit and the "
                  "clinician who know the patient, by local policy.\n");
    return e;
}

enum err quarantine_list(struct db *db, const struct quarantine_filter *filter,
                         const struct zone *zone, int64_t now_ms,
                         struct buf *out)
{
    enum err e = write_lines(db, filter, zone, out);

    if (e == ERR_OK && !filter->json)
        e = write_summary(db, now_ms, out);
    else if (e == ERR_OK && filter->reason == NULL && filter->unit == NULL)
        e = write_codes(db, true, out);
    return e == ERR_OK ? buf_ok(out) : e;
}

/* ---- metrics -------------------------------------------------------------- */

/* A label is a word of our own, whatever stands in the row. */
static const char *label_of(const char *reason, bool held)
{
    const struct outcome_word *word;

    for (int h = HOLD_NONE + 1; held && h < HOLD_COUNT; h++) {
        if (strcmp(hold_word((enum hold)h), reason) == 0)
            return hold_word((enum hold)h);
    }
    for (size_t i = 0; (word = outcome_word(i)) != NULL; i++) {
        if (strcmp(word->word, reason) == 0)
            return word->word;
    }
    return "other";
}

static enum err write_gauge(struct db *db, enum query q, const char *name,
                            const char *help, bool age, int64_t now_ms,
                            struct buf *out)
{
    enum err e = db_query(db, q, "");
    bool none = true;

    buf_printf(out, "# HELP %s %s\n# TYPE %s gauge\n", name, help, name);
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        none = false;
        buf_printf(out, "%s{reason=\"%s\"} %lld\n", name,
                   label_of(db_text(db, q, 0), q == Q_HELD_SUM),
                   (long long)(age ? (now_ms - db_int(db, q, 2)) / 1000
                                   : db_int(db, q, 1)));
    }
    if (none) /* an alarm on what is not there never comes */
        buf_printf(out, "%s 0\n", name);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err quarantine_metrics(struct db *db, int64_t now_ms, struct buf *out)
{
    static const struct {
        const char *name, *help;
        enum query q;
        bool age;
    } gauges[] = {
        { "headgate_quarantine_open",
          "Inputs that could not be taken in and wait for a person",
          Q_QUARANTINE_SUM, false },
        { "headgate_quarantine_oldest_seconds",
          "How long the oldest of them has waited", Q_QUARANTINE_SUM, true },
        { "headgate_held_open", "Readings that are held and wait for a person",
          Q_HELD_SUM, false },
        { "headgate_held_oldest_seconds",
          "How long the oldest of them has waited", Q_HELD_SUM, true },
    };
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < COUNT(gauges); i++)
        e = write_gauge(db, gauges[i].q, gauges[i].name, gauges[i].help,
                        gauges[i].age, now_ms, out);
    return e;
}
