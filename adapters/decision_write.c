#include "adapters/decision_write.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "planner/reading.h"

/* Words of a record, fit for a terminal. */
static void say(struct buf *out, const char *text, const char *unknown)
{
    size_t before = out->len;

    if (text != NULL)
        queue_text_clean(out, text);
    if (out->len == before)
        buf_puts(out, unknown);
}

static void say_time(int64_t at_ms, const struct zone *zone, struct buf *out)
{
    int64_t at_s = at_ms / 1000;
    int64_t local_s = at_s + zone_offset_s(zone, at_s);
    int64_t in_day_s = ((local_s % DAY_S) + DAY_S) % DAY_S;
    char date[FHIR_TIME_SIZE];

    fhir_date_write(at_s, zone, date);
    buf_printf(out, "%s %02d:%02d  ", date, (int)(in_day_s / 3600),
               (int)(in_day_s / 60 % 60));
}

void decision_write_line(const struct decision_row *d, const struct zone *zone,
                         struct buf *out)
{
    say_time(d->at_ms, zone, out);
    say(out, d->patient, "name not known");
    buf_puts(out, ", ");
    say(out, d->patient_number, "number not known");
    buf_puts(out, "; ");
    say(out, d->access, "access not named");
    buf_printf(out, "; %s%s %d: %s", d->group, d->reminder ? " reminder" : "",
               d->number, d->act);
    if (d->reason != NULL)
        buf_printf(out, " (%s)", d->reason);
    else
        buf_printf(out, ", %s", urgency_word(d->urgency));
    if (d->rules[0] != '\0')
        buf_printf(out, "; %s", d->rules);
    buf_puts(out, "; policy ");
    say(out, d->policy, "not known");
    buf_puts(out, d->silent ? "; silent\n" : "; posted\n");
}

static void json_or_null(struct buf *out, const char *key, const char *text)
{
    if (text != NULL && text[0] != '\0')
        fhir_out_text(out, key, text);
    else
        fhir_out_raw(out, key, "null", 4);
}

void decision_write_json(const struct decision_row *d, struct buf *out)
{
    char at[FHIR_TIME_SIZE];

    fhir_time_write_ms(d->at_ms, at);
    buf_puts(out, "{");
    fhir_out_text(out, "at", at);
    fhir_out_text(out, "kind", d->reminder ? "reminder" : "referral");
    json_or_null(out, "patient", d->patient);
    json_or_null(out, "patient_number", d->patient_number);
    json_or_null(out, "access", d->access);
    fhir_out_text(out, "group", d->group);
    fhir_out_int(out, "number", d->number);
    fhir_out_text(out, "act", d->act);
    json_or_null(out, "reason", d->reason);
    fhir_out_text(out, "urgency", urgency_word(d->urgency));
    json_or_null(out, "rules", d->rules);
    json_or_null(out, "policy", d->policy);
    json_or_null(out, "task", d->task);
    fhir_out_bool(out, "silent", d->silent);
    buf_puts(out, "}\n");
}
