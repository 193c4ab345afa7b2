#include "adapters/queue_digest.h"

#include "adapters/catalogue.h"
#include "adapters/civil.h"
#include "adapters/fhir_out.h"
#include "adapters/queue_text.h"
#include "adapters/report_text.h"

#include <stdio.h>

enum { HOURS_SHOWN = 48, DAYS_OF_WEEK = 7 };

/* ---- for people -------------------------------------------------------------- */

static void write_day(int64_t day, char text[16])
{
    struct civil c = civil_of_day(day);

    snprintf(text, 16, "%04u-%02u-%02u", (unsigned)c.year % 10000,
             (unsigned)c.month % 100, (unsigned)c.day % 100);
}

void queue_digest_head(int64_t week, bool silent, struct buf *out)
{
    char name[REPORT_WEEK_SIZE], from[16], to[16];

    report_week_write(week, name);
    write_day(week, from);
    write_day(week + DAYS_OF_WEEK - 1, to);
    /* TRANSLATORS: a week of ISO 8601, its first day and its last */
    buf_printf(out, _("Suggestions in week %1$s (%2$s to %3$s)"), name, from,
               to);
    buf_puts(out, "\n");
    if (silent)
        buf_printf(
            out, "%s\n",
            _("SILENT MODE: what is suggested now is posted to nobody."));
}

void queue_digest_now(int64_t week, int64_t today, struct buf *out)
{
    char day[16];

    if (today < week + DAYS_OF_WEEK)
        return;
    write_day(today, day);
    /* TRANSLATORS: a date */
    buf_printf(out,
               _("This week is over. What is open, overdue or still to be "
                 "measured is counted as it is today, %s, not as it was then."),
               day);
    buf_puts(out, "\n");
}

static void line(struct buf *out, const char *label, size_t count)
{
    buf_printf(out, "  %s %zu\n", label, count);
}

static void write_rules(const struct digest_unit *u, struct buf *out)
{
    bool any = false;

    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule r = rule_by_order(n);

        if (u->opened_by_rule[r] == 0)
            continue;
        buf_printf(out, "%s%s %zu", any ? ", " : "    ", rule_info(r)->id,
                   u->opened_by_rule[r]);
        any = true;
    }
    buf_puts(out, any ? "\n" : "");
}

static void write_median(const struct digest_unit *u, struct buf *out)
{
    double hours = (double)u->median_taken_s / HOUR_S;
    bool in_hours = hours < HOURS_SHOWN;
    struct buf number;

    if (u->median_taken_s < 0)
        return;
    buf_init(&number, 64);
    catalogue_number(&number, in_hours ? hours : hours / 24, 1);
    buf_puts(out, "    ");
    if (in_hours)
        /* TRANSLATORS: h: hours */
        buf_printf(out, _("median time from suggestion to taken: %s h"),
                   number.data);
    else
        /* TRANSLATORS: d: days */
        buf_printf(out, _("median time from suggestion to taken: %s d"),
                   number.data);
    buf_puts(out, "\n");
    buf_clear(&number);
}

static void write_reasons(const struct digest_unit *u, struct buf *out)
{
    for (size_t i = 0; i < u->reason_count; i++) {
        const struct digest_reason *r = &u->reasons[i];

        buf_printf(out, "    %zu x ", r->count);
        if (r->text[0] != '\0')
            queue_text_clean(out, r->text);
        else
            buf_puts(out, _("no reason given"));
        buf_puts(out, "\n");
    }
    if (u->other_reasons > 0)
        buf_printf(out, "    %zu x %s\n", u->other_reasons,
                   _("another reason"));
}

void queue_digest_write(const struct digest_unit *u, struct buf *out)
{
    buf_puts(out, "\n");
    if (u->name[0] != '\0')
        queue_text_clean(out, u->name);
    else
        buf_puts(out, _("Unit not known"));
    buf_puts(out, "\n");
    line(out, _("New suggestions:"), u->opened);
    write_rules(u, out);
    line(out, _("Taken in hand:"), u->taken);
    write_median(u, out);
    line(out, _("Completed:"), u->completed);
    line(out, _("Declined:"), u->declined);
    write_reasons(u, out);
    if (u->voided > 0)
        line(out, _("Deleted, failed or entered in error:"), u->voided);
    line(out, _("Ended by headgate, their ground gone:"), u->ended);
    line(out, _("Open now:"), u->open_now);
    line(out, _("Overdue now:"), u->overdue_now);
    line(out, _("Reminders due in the week after:"), u->reminders_due);
    if (u->deceased > 0)
        line(out, _("Patients left out now, recorded as deceased:"),
             u->deceased);
    if (u->death_doubtful > 0)
        line(out,
             _("Recorded as deceased, but something is dated later (ask "
               "now):"),
             u->death_doubtful);
}

void queue_digest_foot(bool any, struct buf *out)
{
    if (!any)
        buf_printf(out, "\n%s\n",
                   _("Nothing was suggested, closed or left open."));
    buf_printf(
        out, "\n%s\n%s\n",
        _("What is new or ended is what headgate decided (headgate decisions); "
          "what was taken, completed or declined is what the Tasks say now. A "
          "suggestion that rests on two rules counts under each."),
        _("Suggestions are made by fixed rules, for decision support: a "
          "qualified clinician decides. That a patient is not counted here "
          "does not mean that the access is safe."));
}

/* ---- for programs ------------------------------------------------------------- */

static void json_reasons(const struct digest_unit *u, struct buf *out)
{
    fhir_out_open(out, "declined_reasons", '[');
    for (size_t i = 0; i < u->reason_count; i++) {
        fhir_out_open(out, NULL, '{');
        if (u->reasons[i].text[0] != '\0')
            fhir_out_text(out, "reason", u->reasons[i].text);
        else
            fhir_out_raw(out, "reason", "null", 4);
        fhir_out_int(out, "count", (long long)u->reasons[i].count);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
    fhir_out_int(out, "declined_other", (long long)u->other_reasons);
}

void queue_digest_json(const struct digest_unit *u, int64_t week, bool silent,
                       struct buf *out)
{
    char name[REPORT_WEEK_SIZE], as_of[16];

    report_week_write(week, name);
    write_day(u->today, as_of);
    buf_puts(out, "{");
    fhir_out_text(out, "week", name);
    if (u->name[0] != '\0')
        fhir_out_text(out, "unit", u->name);
    else
        fhir_out_raw(out, "unit", "null", 4);
    fhir_out_int(out, "new", (long long)u->opened);
    fhir_out_open(out, "new_by_rule", '{');
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule r = rule_by_order(n);

        if (u->opened_by_rule[r] > 0)
            fhir_out_int(out, rule_info(r)->id,
                         (long long)u->opened_by_rule[r]);
    }
    fhir_out_close(out, '}');
    fhir_out_int(out, "taken", (long long)u->taken);
    if (u->median_taken_s >= 0)
        fhir_out_decimal(out, "median_hours_to_taken",
                         (double)u->median_taken_s / HOUR_S);
    else
        fhir_out_raw(out, "median_hours_to_taken", "null", 4);
    fhir_out_int(out, "completed", (long long)u->completed);
    fhir_out_int(out, "declined", (long long)u->declined);
    json_reasons(u, out);
    fhir_out_int(out, "void", (long long)u->voided);
    fhir_out_int(out, "ended", (long long)u->ended);
    fhir_out_int(out, "open_now", (long long)u->open_now);
    fhir_out_int(out, "overdue_now", (long long)u->overdue_now);
    fhir_out_int(out, "reminders_due", (long long)u->reminders_due);
    fhir_out_int(out, "deceased", (long long)u->deceased);
    fhir_out_int(out, "death_doubtful", (long long)u->death_doubtful);
    fhir_out_text(out, "as_of", as_of);
    fhir_out_bool(out, "silent", silent);
    buf_puts(out, "}\n");
}
