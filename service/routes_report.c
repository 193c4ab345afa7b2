/* The weekly report of what could not be used. */
#include "service/feed_report.h"
#include "service/report.h"
#include "service/tally.h"

#include <stdio.h>
#include <string.h>

static enum err run_feed(struct db *db, struct report *r)
{
    struct feed_report report;
    enum err e = feed_report_read(db, r->from_ms, &report);

    if (e == ERR_OK)
        e = feed_report_write(&report,
                              r->subject[0] != '\0' ? r->subject : NULL,
                              !r->table, &r->x.body);
    feed_report_clear(&report);
    return e;
}

static bool take_week(const char *text, int64_t *week)
{
    if (text != NULL)
        return report_week_read(text, week);
    *week = tally_week(clock_ms());
    return true;
}

void route_feed_report(struct service *s, struct http_request *r)
{
    bool table = http_query(r, "json") == NULL;
    const char *unit = http_query(r, "unit");
    struct report *report =
        report_new(s, r, table ? TEXT_TYPE : NDJSON_TYPE, run_feed);
    const char *wrong = NULL;

    if (report == NULL)
        return;
    report->table = table;
    if (!take_week(http_query(r, "week"), &report->from_ms))
        wrong = "week is one of ISO 8601: 2026-W47";
    else if (unit != NULL && strlen(unit) >= sizeof(report->subject))
        wrong = "unit is too long";
    if (wrong != NULL) {
        outcome_add(&report->x.outcome, SEV_ERROR, "bad-parameter", "", "%s",
                    wrong);
        exchange_refuse(&report->x);
        return;
    }
    snprintf(report->subject, sizeof(report->subject), "%s",
             unit != NULL ? unit : "");
    report_submit(report);
}
