/* What a back test found, for programs: NDJSON.  For people: backtest_text.c */
#include "adapters/backtest_text.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"

#include <math.h>
#include <stdio.h>

const char *backtest_end_word(enum end_reason reason)
{
    static const char *const words[] = {
        [END_CLEARED] = "cleared",       [END_WITHDRAWN] = "withdrawn",
        [END_SUPERSEDED] = "superseded", [END_STAGE] = "stage",
        [END_INACTIVE] = "inactive",     [END_MERGED] = "merged",
        [END_ELSEWHERE] = "elsewhere",   [END_DECEASED] = "deceased"
    };

    return (size_t)reason < COUNT(words) ? words[reason] : "other";
}

static void json_null(struct buf *out, const char *key)
{
    fhir_out_raw(out, key, "null", 4);
}

static void json_text(struct buf *out, const char *key, const char *text)
{
    size_t before = out->len;

    fhir_out_text(out, key, text);
    if (out->len == before)
        json_null(out, key);
}

static void json_number(struct buf *out, const char *key, double value)
{
    if (isnan(value))
        json_null(out, key);
    else
        fhir_out_decimal(out, key, value);
}

static void json_rules(struct buf *out, const char *key, unsigned rules)
{
    fhir_out_open(out, key, '[');
    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule r = rule_by_order(n);

        if (rules & 1u << r)
            fhir_out_text(out, NULL, rule_info(r)->id);
    }
    fhir_out_close(out, ']');
}

/* As much of the time as is known: "2026-03-06", "2026-03". */
static void json_time(struct buf *out, const struct backtest_evidence *e,
                      const struct zone *zone)
{
    char text[FHIR_TIME_SIZE];

    if (e->precision == AT_SECOND || e->precision == AT_PERIOD)
        fhir_time_write(e->at_s, text);
    else
        fhir_date_write(e->at_s, zone, text);
    if (e->precision == AT_MONTH)
        text[7] = '\0';
    else if (e->precision == AT_YEAR)
        text[4] = '\0';
    fhir_out_text(out, "time", text);
}

static void json_value(struct buf *out, const struct backtest_evidence *e)
{
    static const char *const bounds[] = { [BOUND_BELOW] = "<",
                                          [BOUND_AT_MOST] = "<=",
                                          [BOUND_AT_LEAST] = ">=",
                                          [BOUND_ABOVE] = ">" };
    const struct quantity_info *info = quantity_info(e->quantity);

    fhir_out_text(out, "code", info->code);
    if (info->kind == VALUE_CODE)
        json_text(out, "value", sign_info(e->sign)->code);
    else if (info->kind == VALUE_FLAG)
        fhir_out_bool(out, "value", e->value > 0.5);
    else
        json_number(out, "value", e->value);
    json_text(out, "comparator",
              e->bound < COUNT(bounds) ? bounds[e->bound] : NULL);
    if (info->kind == VALUE_CODE)
        fhir_out_bool(out, "present", e->present);
    else
        json_null(out, "present");
    json_text(out, "unit", info->unit);
}

static void json_unknown(struct buf *out)
{
    static const char *const keys[] = { "code",    "value", "comparator",
                                        "present", "unit",  "time" };

    for (size_t i = 0; i < COUNT(keys); i++)
        json_null(out, keys[i]);
}

static void json_evidence(struct buf *out, const struct backtest_suggestion *s,
                          const struct zone *zone)
{
    fhir_out_open(out, "evidence", '[');
    for (size_t i = 0; i < s->evidence_count; i++) {
        const struct backtest_evidence *e = &s->evidence[i];

        fhir_out_open(out, NULL, '{');
        json_text(out, "reference", e->reference);
        json_text(out, "identifier", e->identifier);
        fhir_out_int(out, "version", e->version);
        if (e->known) {
            json_value(out, e);
            json_time(out, e, zone);
        } else {
            json_unknown(out);
        }
        fhir_out_bool(out, "later", e->later);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
}

static void json_end(struct buf *out, const struct backtest_suggestion *s)
{
    char ended[FHIR_TIME_SIZE];

    if (s->ended_s == 0) {
        json_null(out, "ended_at");
        json_null(out, "end_reason");
        return;
    }
    fhir_time_write(s->ended_s, ended);
    fhir_out_text(out, "ended_at", ended);
    fhir_out_text(out, "end_reason", backtest_end_word(s->reason));
}

void backtest_json(const struct backtest_report *report,
                   const struct zone *zone, struct buf *out)
{
    char raised[FHIR_TIME_SIZE];

    for (size_t i = 0; i < report->count; i++) {
        const struct backtest_suggestion *s = &report->list[i];

        fhir_time_write(s->raised_s, raised);
        buf_puts(out, "{");
        fhir_out_text(out, "policy", report->version);
        json_text(out, "patient", s->patient);
        json_text(out, "access", s->access);
        fhir_out_text(out, "group", group_word(s->group));
        json_rules(out, "rules", s->rules);
        json_rules(out, "rules_later", s->rules & ~s->rules_first);
        fhir_out_text(out, "urgency", urgency_word(s->urgency));
        fhir_out_text(out, "raised_at", raised);
        json_end(out, s);
        fhir_out_bool(out, "repeat", s->repeat);
        /* to a thousandth: more is not in the data */
        json_number(out, "lead_days", round(s->lead_d * 1000.0) / 1000.0);
        json_evidence(out, s, zone);
        buf_puts(out, "}\n");
    }
}
