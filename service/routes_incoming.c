/* What comes in from the record, for people; and the exports that they ask
 * for. */
#include "service/report.h"

#include "adapters/fhir_write.h"

#include <stdio.h>
#include <string.h>

enum { NOT_TAKEN_SHOWN = 100 };

/* ---- GET /incoming ------------------------------------------------------- */

static void write_time(struct buf *b, const char *text, int64_t at_ms)
{
    char time[FHIR_TIME_SIZE];

    if (at_ms == INT64_MIN || at_ms == 0)
        return;
    fhir_time_write(at_ms / 1000, time);
    buf_printf(b, ", %s %s", text, time);
}

static void write_feeds(const struct poll_view *v, struct buf *b)
{
    for (size_t i = 0; i < v->feed_count; i++) {
        const struct poll_feed_view *f = &v->feeds[i];

        buf_printf(b, "%s: %llu taken, %llu not taken", f->name,
                   (unsigned long long)f->stored,
                   (unsigned long long)f->refused);
        write_time(b, "newest change there", f->cursor_ms);
        write_time(b, "last read here", f->ended_ms);
        buf_puts(b, "\n");
    }
}

static const char *text_or(const char *text, const char *otherwise)
{
    return text != NULL && text[0] != '\0' ? text : otherwise;
}

static void write_row(struct db *db, struct buf *b)
{
    static const char *const sources[] = { "", "poll", "call", "export",
                                           "by id" };
    const enum query q = Q_QUARANTINE_OF_RECORD;
    int64_t source = db_int(db, q, 1);
    char time[FHIR_TIME_SIZE];

    fhir_time_write(db_int(db, q, 0) / 1000, time);
    buf_printf(b, "%s N%lld %s", time, (long long)db_int(db, q, 10),
               source > 0 && source < (int64_t)COUNT(sources) ? sources[source]
                                                              : "");
    if (db_int(db, q, 4) > 0)
        buf_printf(b, " file %lld", (long long)db_int(db, q, 4));
    if (db_int(db, q, 5) > 0)
        buf_printf(b, " line %lld (at byte %lld)", (long long)db_int(db, q, 5),
                   (long long)db_int(db, q, 6));
    if (db_text(db, q, 3) != NULL)
        buf_printf(b, " %s/%s",
                   text_or(type_word((enum fhir_type)db_int(db, q, 2)), "?"),
                   db_text(db, q, 3));
    buf_printf(b, ": %s", text_or(db_text(db, q, 8), ""));
    buf_printf(b, " %s\n", text_or(db_text(db, q, 9), "cannot be read"));
}

static enum err run_incoming(struct db *db, struct report *r)
{
    const enum query q = Q_QUARANTINE_OF_RECORD;
    struct buf *b = &r->x.body;
    enum err e;

    if (r->x.service->incoming == NULL) {
        buf_puts(b, "No record is set (record.url).\n");
        return ERR_OK;
    }
    write_feeds(&r->incoming.poll, b);
    poll_side_say(&r->incoming, b);
    if (r->incoming.bulk.state != BULK_FAILED)
        bulk_say(&r->incoming.bulk, b);
    e = db_query(db, q, "i", INT64(NOT_TAKEN_SHOWN));
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        write_row(db, b);
    return e == ERR_ABSENT ? ERR_OK : e;
}

void route_incoming(struct service *s, struct http_request *r)
{
    struct report *report = report_new(s, r, TEXT_TYPE, run_incoming);

    if (report == NULL)
        return;
    if (s->incoming != NULL)
        poll_side_look(s->incoming, &report->incoming);
    report_submit(report);
}

/* ---- POST, DELETE /bulk -------------------------------------------------- */

static void answer(struct exchange *x, enum err e)
{
    if (e == ERR_OK) {
        exchange_answer(x, 202, NULL, 0); /* GET /incoming shows it */
        return;
    }
    if (e == ERR_STOPPED) {
        exchange_later(x, "The service has just been started and does not know "
                          "yet whether an export is under way: ask again");
        return;
    }
    if (e == ERR_CONFLICT)
        outcome_add(&x->outcome, SEV_ERROR, "version", "",
                    "An export is under way already");
    else if (e == ERR_ABSENT)
        outcome_add(&x->outcome, SEV_ERROR, "not-found", "",
                    "No export is under way");
    else
        outcome_add(
            &x->outcome, SEV_ERROR, "bad-value", "",
            "group is an id, since an instant with its zone or \"all\", "
            "types are names with commas between");
    exchange_refuse(x);
}

void route_bulk(struct service *s, struct http_request *r)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));
    struct bulk *bulk =
        s->incoming != NULL ? poll_side_bulk(s->incoming) : NULL;

    if (x == NULL)
        return;
    if (bulk == NULL) {
        outcome_add(&x->outcome, SEV_ERROR, "not-found", "",
                    "No record is set (record.url), or this is no running "
                    "service");
        exchange_refuse(x);
    } else if (strcmp(http_method(r), "DELETE") == 0) {
        answer(x, bulk_cancel(bulk));
    } else {
        answer(x, bulk_start(bulk, http_query(r, "group"),
                             http_query(r, "since"), http_query(r, "types")));
    }
}
