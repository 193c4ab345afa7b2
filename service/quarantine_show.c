/* Everything of one thing that is held or in quarantine. */
#include "service/quarantine_list.h"

#include "adapters/fhir_glance.h"
#include "adapters/fhir_time.h"
#include "adapters/json_pretty.h"
#include "adapters/queue_text.h"
#include "service/audit_whom.h"
#include "service/held.h"
#include "service/names.h"
#include "service/poll_take.h"

#include <stdio.h>
#include <string.h>

static void say(struct buf *out, const char *label, const char *text)
{
    if (text == NULL || text[0] == '\0')
        return;
    buf_printf(out, "  %-12s", label);
    queue_text_clean(out, text);
    buf_puts(out, "\n");
}

static void say_time(struct buf *out, const char *label, int64_t at_ms)
{
    char time[FHIR_TIME_SIZE];

    fhir_time_write(at_ms / 1000, time);
    say(out, label, time);
}

static void say_number(struct buf *out, const char *label, int64_t number)
{
    if (number > 0)
        buf_printf(out, "  %-12s%lld\n", label, (long long)number);
}

/* ---- a reading ------------------------------------------------------------ */

static void say_hold(struct db *db, int64_t number, struct buf *out)
{
    const enum query q = Q_HELD_SLOTS;
    enum quantity quantity = (enum quantity)db_int(db, q, 2);
    struct quarantine_line line = { .number = number,
                                    .held = true,
                                    .reason = db_text(db, q, 1) };

    buf_puts(out, "  ");
    if (db_int(db, q, 0) > 0)
        buf_printf(out, "component %lld, ", (long long)db_int(db, q, 0));
    buf_printf(out, "%s: %s", held_words(quantity, (enum sign)db_int(db, q, 5)),
               held_reason_words(quantity, line.reason));
    if (db_text(db, q, 3) != NULL && db_text(db, q, 3)[0] != '\0') {
        buf_puts(out, "; ");
        queue_text_clean(out, db_text(db, q, 3));
    }
    if (db_int(db, q, 6) != 0)
        buf_puts(out, "; A SIGN OF EMERGENCY");
    buf_puts(out, "\n    to mend it: ");
    quarantine_write_mend(&line, out);
    buf_puts(out, "\n");
}

static enum err say_holds(struct db *db, const struct quarantine_item *item,
                          struct buf *out)
{
    const enum query q = Q_HELD_SLOTS;
    enum err e = db_first(db, q, "i", item->number);

    if (e == ERR_ABSENT) {
        buf_puts(out, "\nNothing of it is held.\n");
        return ERR_OK;
    }
    if (e == ERR_OK) {
        say(out, "patient", db_text(db, q, 8));
        say(out, "number", short_anchor(db_text(db, q, 9)));
        say(out, "unit", db_text(db, q, 10));
        say_time(out, "held since", db_int(db, q, 4));
        buf_puts(out, "\nHeld, and why\n");
    }
    for (; e == ERR_OK; e = db_next(db, q))
        say_hold(db, item->number, out);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Whether and how it came by HL7 v2, and the message as it was sent. */
static enum err say_message(struct db *db, int64_t message, struct buf *out)
{
    const enum query q = Q_HL7_BYTES;
    struct quarantine_item item = { .message = message };
    struct buf bytes;
    enum err e = db_first(db, q, "i", message);

    if (e != ERR_OK)
        return e == ERR_ABSENT ? ERR_OK : e;
    buf_puts(out, "\nThe message\n");
    say(out, "sender", db_text(db, q, 6));
    say(out, "application", db_text(db, q, 2));
    say(out, "facility", db_text(db, q, 3));
    say(out, "control id", db_text(db, q, 4));
    say_time(out, "received", db_int(db, q, 5));
    db_done(db, q);
    buf_init(&bytes, BODY_MAX);
    e = quarantine_bytes(db, &item, &bytes);
    buf_puts(out, "\n");
    if (e == ERR_OK)
        quarantine_write_raw(bytes.data, bytes.len, out);
    buf_clear(&bytes);
    return e == ERR_ABSENT ? ERR_OK : e;
}

static void say_json(const struct buf *bytes, struct buf *out)
{
    struct buf pretty;

    buf_init(&pretty, 4 * (size_t)BODY_MAX);
    json_pretty(bytes->data, bytes->len, &pretty);
    if (buf_ok(&pretty) == ERR_OK)
        quarantine_write_raw(pretty.data, pretty.len, out);
    else
        quarantine_write_raw(bytes->data, bytes->len, out);
    buf_clear(&pretty);
}

static enum err say_origin(struct db *db, const struct quarantine_item *item,
                           struct buf *out)
{
    char remote[FID_SIZE], version[FID_SIZE];
    enum err e = record_origin(db, item->row.id, remote, version);

    if (e == ERR_ABSENT)
        return ERR_OK;
    if (e == ERR_OK)
        say(out, "record's id", remote);
    return e;
}

static void say_unmapped(const struct buf *bytes,
                         const struct quarantine_site *site, int64_t number,
                         struct buf *out)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;

    outcome_init(&outcome);
    if (fhir_read(&site->reader, bytes->data, bytes->len, &outcome, &doc) !=
        ERR_OK)
        return;
    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        const struct fhir_item *item = fhir_doc_item(doc, i);
        const struct fhir_observation *o = &item->u.observation;

        if (item->type != FHIR_OBSERVATION)
            continue;
        for (size_t k = 0; k < o->unmapped_count; k++) {
            buf_puts(out, "  No map has the code ");
            queue_text_clean(out, o->unmapped[k].system != NULL
                                      ? o->unmapped[k].system
                                      : "");
            buf_puts(out, "|");
            queue_text_clean(out, o->unmapped[k].code);
            buf_printf(out, ": headgate quarantine map %lld --target CODE\n",
                       (long long)number);
        }
    }
    fhir_doc_free(doc);
}

static enum err show_held(struct db *db, const struct quarantine_item *item,
                          const struct quarantine_site *site, struct buf *bytes,
                          struct buf *out)
{
    int64_t message = 0;
    enum err e;

    buf_printf(out, "%lld, Observation/%s, version %d\n\n",
               (long long)item->number, item->row.fid, item->row.version);
    say_time(out, "received", item->row.updated_ms);
    e = say_origin(db, item, out);
    if (e == ERR_OK)
        e = say_holds(db, item, out);
    say_unmapped(bytes, site, item->number, out);
    buf_puts(out, "\nAs it was sent\n");
    if (e == ERR_OK)
        e = fhir_glance_write(bytes->data, bytes->len, out);
    buf_puts(out, "\n");
    say_json(bytes, out);
    if (e == ERR_OK)
        e = quarantine_message_of(db, &item->row, &message);
    return e == ERR_OK && message != 0 ? say_message(db, message, out) : e;
}

/* ---- a whole input -------------------------------------------------------- */

static void say_state(const struct quarantine_item *item, struct buf *out)
{
    static const char *const states[] = {
        [QUARANTINE_OPEN] = "waits for a person or a corrected version",
        [QUARANTINE_RELEASED] = "released, and taken in",
        [QUARANTINE_DISCARDED] = "discarded: it is not used",
        [QUARANTINE_CAME_AGAIN] = "came again in a better form",
    };

    if ((unsigned)item->state < COUNT(states))
        say(out, "state", states[item->state]);
    if (item->state == QUARANTINE_OPEN)
        return;
    say_time(out, "since", item->done_ms);
    say(out, "by", item->who);
    say(out, "why", item->why);
}

static void say_row_mend(const struct quarantine_item *item, struct buf *out)
{
    struct quarantine_line line = { .number = item->number,
                                    .reason = item->reason };

    if (item->state == QUARANTINE_DISCARDED) {
        buf_printf(out,
                   "\nTo take the discard back: headgate quarantine release "
                   "%lld\n",
                   (long long)item->number);
        return;
    }
    if (item->state != QUARANTINE_OPEN)
        return;
    buf_puts(out, "\nTo mend it: ");
    quarantine_write_mend(&line, out);
    buf_puts(out, "\n");
}

static enum err show_row(struct db *db, const struct quarantine_item *item,
                         const struct quarantine_site *site,
                         const struct buf *bytes, struct buf *out)
{
    char resource[FID_SIZE + 24];
    enum err e = ERR_OK;

    buf_printf(out, "%lld, in quarantine\n\n", (long long)item->number);
    say_time(out, "received", item->at_ms);
    say(out, "sender", item->source);
    say(out, "came by", quarantine_way_word(item->way));
    snprintf(resource, sizeof(resource), "id %s", item->remote);
    say(out, "at record", item->remote[0] != '\0' ? resource : "");
    say_number(out, "file", item->file);
    say_number(out, "line", item->line);
    say_number(out, "at byte", item->line > 0 ? item->start : 0);
    say_number(out, "HTTP status", item->status);
    say(out, "reason", item->reason);
    say(out, "at fault", item->place);
    say(out, "what", item->text);
    say_state(item, out);
    if (item->message != 0)
        e = say_message(db, item->message, out);
    else if (bytes->len > 0)
        say_unmapped(bytes, site, item->number, out);
    if (item->message == 0) {
        buf_puts(out, bytes->len > 0 ? "\nAs it was sent\n\n"
                                     : "\nIts bytes were not kept.\n");
        say_json(bytes, out);
    }
    return e;
}

static enum err say_deeds(struct db *db, int64_t number, struct buf *out)
{
    const enum query q = Q_DEED_LIST;
    enum err e = db_query(db, q, "i", number);
    char time[FHIR_TIME_SIZE];
    bool any = false;

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (!any)
            buf_puts(out, "\nWhat people did\n");
        any = true;
        fhir_time_write(db_int(db, q, 0) / 1000, time);
        buf_printf(out, "  %s ", time);
        queue_text_clean(out, db_text(db, q, 4));
        buf_printf(out, " %s", deed_word((enum deed_act)db_int(db, q, 1)));
        if (db_text(db, q, 2)[0] != '\0') {
            buf_puts(out, ": ");
            queue_text_clean(out, db_text(db, q, 2));
        }
        buf_puts(out, " - ");
        queue_text_clean(out, db_text(db, q, 5));
        buf_puts(out, "\n");
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* For the audit trail: whose it is, as far as it is known. */
static enum err see(struct db *db, const struct quarantine_item *item)
{
    enum err e = item->held
                     ? audit_saw(db, AUDIT_SAW_RESOURCE, item->row.id)
                     : db_run(db, Q_AUDIT_SEEN_MESSAGE, "i", item->message);

    return e == ERR_OK ? db_run(db, Q_AUDIT_SEEN_ITEM, "i", item->number) : e;
}

enum err quarantine_show(struct db *db, const struct quarantine_item *item,
                         const struct quarantine_site *site, struct buf *out)
{
    struct buf bytes;
    enum err e = ERR_OK;

    buf_init(&bytes, BODY_MAX);
    if (item->held || item->message == 0)
        e = quarantine_bytes(db, item, &bytes);
    e = e == ERR_ABSENT ? ERR_OK : e;
    if (e == ERR_OK)
        e = see(db, item);
    if (e == ERR_OK)
        e = item->held ? show_held(db, item, site, &bytes, out)
                       : show_row(db, item, site, &bytes, out);
    if (e == ERR_OK)
        e = say_deeds(db, item->number, out);
    if (e == ERR_OK && !item->held)
        say_row_mend(item, out);
    buf_puts(out, "\nWhether a value is right is for the unit and the "
                  "clinician who know the patient, by local\npolicy.  map, "
                  "release and discard need --by NAME and --why TEXT, and are "
                  "kept.\n");
    buf_clear(&bytes);
    return e == ERR_OK ? buf_ok(out) : e;
}
