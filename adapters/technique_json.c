/* What was learnt of a technique, for programs. */
#include "adapters/technique_write.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/plan_json.h"
#include "adapters/queue_text.h"

static void out_label(struct buf *out, const char *key, const char *text)
{
    struct buf clean;

    buf_init(&clean, 16384);
    queue_text_clean(&clean, text);
    plan_out_text(out, key, clean.data);
    buf_clear(&clean);
}

static void out_switch(const struct technique_document *d, struct buf *out)
{
    char at[FHIR_TIME_SIZE];

    fhir_out_text(out, "in_use", d->on ? "site" : "default");
    if (d->switched_ms == 0) {
        plan_out_null(out, "switched");
        return;
    }
    fhir_time_write_ms(d->switched_ms, at);
    fhir_out_open(out, "switched", '{');
    fhir_out_text(out, "at", at);
    out_label(out, "by", d->who);
    fhir_out_text(out, "to", d->on ? "site" : "default");
    fhir_out_text(out, "model", d->model);
    fhir_out_int(out, "cases", d->cases);
    fhir_out_close(out, '}');
}

static void out_numbers(const struct technique_document *d, struct buf *out)
{
    fhir_out_open(out, "numbers", '[');
    for (size_t i = 0; i < TECHNIQUE_NUMBERS; i++) {
        struct technique_line l = technique_line(d, i);

        fhir_out_open(out, NULL, '{');
        fhir_out_text(out, "name", l.word);
        plan_out_number(out, "default", l.base, 3);
        plan_out_number(out, "proposed", l.proposed.value, 3);
        plan_out_number(out, "standard_error", l.proposed.se, 3);
        plan_out_number(out, "in_use", l.in_use, 3);
        fhir_out_close(out, '}');
    }
    fhir_out_close(out, ']');
    fhir_out_open(out, "held", '[');
    for (size_t i = 0; i < TECHNIQUE_NUMBERS; i++) {
        const char *text;
        unsigned bit = 0;

        text = technique_held_phrase(i, &bit);
        if ((d->technique->held & bit) != 0)
            fhir_out_text(out, NULL, text);
    }
    fhir_out_close(out, ']');
}

static void out_row(const struct technique_document *d,
                    const struct technique_row *r, struct buf *out)
{
    const struct technique_evidence *e = &r->evidence;
    char day[FHIR_TIME_SIZE];

    fhir_date_write(r->case_s, d->zone, day);
    fhir_out_open(out, NULL, '{');
    out_label(out, "access", r->access);
    fhir_out_text(out, "day", day);
    fhir_out_text(out, "use", technique_use_word(e->use));
    plan_out_number(out, "baseline_ml_min", e->baseline_ml_min, 0);
    plan_out_number(out, "flow_ml_min", e->flow_ml_min, 0);
    plan_out_number(out, "dowel_mm", e->dowel_mm, 2);
    fhir_out_int(out, "ties", (long long)e->ties);
    fhir_out_int(out, "stretches", (long long)e->stretches);
    plan_out_number(out, "offset_mm", e->offset_mm, 3);
    plan_out_number(out, "offset_sd_mm", e->offset_sd_mm, 3);
    plan_out_number(out, "part", e->part, 4);
    plan_out_number(out, "effective", e->effective, 0);
    fhir_out_close(out, '}');
}

void technique_json(const struct technique_document *d, struct buf *out)
{
    const struct technique *t = d->technique;
    const char *text;

    fhir_out_open(out, NULL, '{');
    out_switch(d, out);
    fhir_out_bool(out, "proposed", t->proposed);
    fhir_out_int(out, "cases", (long long)t->case_count);
    fhir_out_int(out, "cases_needed", TECHNIQUE_CASES_LEAST);
    fhir_out_int(out, "ties", (long long)t->tie_count);
    fhir_out_int(out, "stretches", (long long)t->stretch_count);
    plan_out_number(out, "default_part", t->default_part, 4);
    out_numbers(d, out);
    fhir_out_open(out, "evidence", '[');
    for (size_t i = 0; i < d->row_count; i++)
        out_row(d, &d->rows[i], out);
    fhir_out_close(out, ']');
    fhir_out_int(out, "accesses_not_looked_at", (long long)d->beyond);
    fhir_out_text(out, "model", PLAN_MODEL_VERSION);
    fhir_out_open(out, "cautions", '[');
    for (size_t i = 0; (text = technique_caution(i)) != NULL; i++)
        fhir_out_text(out, NULL, text);
    fhir_out_close(out, ']');
    fhir_out_close(out, '}');
    buf_puts(out, "\n");
}
