/* A band plan for the operator. */
#include "adapters/plan_text.h"

#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* ---- parts -------------------------------------------------------------------- */

void text_mm(struct buf *out, double mm)
{
    char text[32];
    int len = snprintf(text, sizeof(text), "%.2f", mm);

    if (len > 1 && text[len - 1] == '0')
        text[len - 1] = '\0';
    buf_puts(out, text);
}

void text_tie(struct buf *out, const char *verb, double dowel_mm)
{
    buf_printf(out, "%s over a ", verb);
    text_mm(out, dowel_mm);
    buf_puts(out, " mm dowel (measured outer diameter)");
}

void text_title(struct buf *out, const char *title)
{
    buf_printf(out, "\n%s\n", title);
}

void text_flow(struct buf *out, double flow_ml_min)
{
    buf_printf(out, "%.0f", flow_ml_min);
}

void text_range(struct buf *out, const struct plan_range *r, int decimals,
                const char *unit)
{
    if (!isfinite(r->p05) || !isfinite(r->p50) || !isfinite(r->p95))
        buf_puts(out, "not known");
    else
        buf_printf(out, "%.*f (%.*f to %.*f)%s", decimals, r->p50, decimals,
                   r->p05, decimals, r->p95, unit);
}

void text_chance(char out[8], double chance)
{
    double pct = 100.0 * chance;

    if (!isfinite(pct))
        snprintf(out, 8, "?");
    else if (pct > 0.0 && pct < 1.0)
        snprintf(out, 8, "<1");
    else if (pct > 99.0 && pct < 100.0)
        snprintf(out, 8, ">99");
    else
        snprintf(out, 8, "%.0f", pct);
}

void text_date(const struct plan_document *d, int64_t at_s, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(at_s, d->zone, date);
    buf_puts(out, date);
}

void text_when(const struct plan_document *d, const struct reading *r,
               struct buf *out)
{
    int64_t local_s = r->start_s + zone_offset_s(d->zone, r->start_s);
    int64_t minute = (local_s % DAY_S + DAY_S) % DAY_S / 60;
    char date[FHIR_TIME_SIZE];

    fhir_date_write(r->start_s, d->zone, date);
    if (r->precision == AT_MONTH)
        date[7] = '\0';
    else if (r->precision == AT_YEAR)
        date[4] = '\0';
    buf_puts(out, date);
    if (r->precision == AT_SECOND || r->precision == AT_PERIOD)
        buf_printf(out, " %02d:%02d", (int)(minute / 60), (int)(minute % 60));
}

void text_row(const char *left, struct buf *text, struct buf *out)
{
    struct queue_span rest = { text->data != NULL ? text->data : "",
                               text->len },
                      line;

    while (
        queue_text_line(&rest, PLAN_TEXT_COLUMNS - TEXT_LEFT_COLUMNS, &line)) {
        buf_printf(out, "%-*s", TEXT_LEFT_COLUMNS, left);
        buf_add(out, line.text, line.len);
        buf_puts(out, "\n");
        left = "";
    }
    if (buf_ok(text) != ERR_OK && buf_ok(out) == ERR_OK)
        out->err = buf_ok(text);
    buf_empty(text);
}

/* ---- who, and from what --------------------------------------------------------- */

static void label(struct buf *out, const char *text)
{
    buf_printf(out, "%-10s", text);
}

static void say_access(const struct plan_document *d, struct buf *out)
{
    const struct plan_from *from = d->from;

    if (d->patient != NULL) {
        label(out, "Patient");
        buf_printf(out, "%s\n", d->patient);
    }
    label(out, "Access");
    buf_printf(out, "%s\n", d->access != NULL ? d->access : "not named");
    label(out, "");
    buf_puts(out, from->access_type == SIGN_TYPE_AVF   ? "fistula"
                  : from->access_type == SIGN_TYPE_AVG ? "graft"
                  : from->access_type == SIGN_TYPE_CVC ? "catheter"
                                                       : "type not known");
    buf_puts(out, from->side == SIDE_LEFT    ? ", left"
                  : from->side == SIDE_RIGHT ? ", right"
                                             : ", side not coded");
    buf_puts(out, from->forearm ? ", forearm: fed at the wrist\n"
                                : ", planned as fed at the elbow\n");
}

static void say_flows(const struct plan_document *d, struct buf *out)
{
    const struct plan_input *in = &d->from->in;

    label(out, "Baseline");
    if (in->flow_count == 0) {
        buf_puts(out, "no usable flow\n");
        return;
    }
    for (size_t i = 0; i < in->flow_count; i++) {
        buf_puts(out, i > 0 ? ", " : "");
        text_flow(out, in->flow_ml_min[i]);
    }
    buf_puts(out, " mL/min on ");
    text_date(d, d->from->baseline_s, out);
    buf_puts(out, in->on_table ? ", on the table just before the band\n"
                               : ", not known to be from the table\n");
    label(out, "Method");
    buf_puts(out, in->method == METHOD_UNSTATED ? "not stated"
                                                : method_display(in->method));
    buf_puts(out, ": measure by no other, before and after\n");
}

static void say_pressures(const struct plan_input *in, struct buf *out)
{
    label(out, "Pressure");
    if (isnan(in->map_mmhg))
        buf_puts(out, "mean pressure at the baseline not known");
    else
        buf_printf(out, "mean %.0f mmHg at the baseline", in->map_mmhg);
    if (isnan(in->map_lowest_mmhg))
        buf_puts(out, "; lowest usual not known\n");
    else
        buf_printf(out, "; lowest usual %.0f mmHg\n", in->map_lowest_mmhg);
}

static void say_state(const struct plan_document *d, struct buf *out)
{
    if (d->plan == NULL)
        return;
    label(out, "State");
    buf_puts(out, plan_is_complete(d)
                      ? "complete, but for the operator's part\n"
                      : "INCOMPLETE: what is missing stands below\n");
    label(out, "Valid");
    buf_puts(out, "until ");
    text_date(d, d->from->expires_s, out);
    buf_puts(out, d->from->in.on_table
                      ? ", for this procedure\n"
                      : "; a pair measured on the table replaces it\n");
}

static void say_head(const struct plan_document *d, struct buf *out)
{
    buf_puts(out, "BAND PLAN\nDecision support: the operator measures and "
                  "decides, under local policy.\n\n");
    say_access(d, out);
    say_flows(d, out);
    if (d->from->in.flow_count > 0)
        say_pressures(&d->from->in, out);
    say_state(d, out);
}

/* ---- why there is none ------------------------------------------------------------ */

static void say_refusal(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_EXCLUSION);
    unsigned set = d->from->readiness.exclusions;

    text_title(out, "No plan is offered");
    if (d->from->offer == PLAN_UNFIT && d->fault != NULL)
        buf_printf(out, "A value cannot be used (%s): %s.\n", d->fault->field,
                   d->fault->why);
    else if (d->from->offer != PLAN_EXCLUDED)
        buf_printf(out, "Because %s.\n",
                   plan_offer_phrase(d->from->offer)->text);
    for (size_t i = 0; i < p->count; i++) {
        if ((set & p->rows[i].key) != 0)
            buf_printf(out, "Because %s.\n", p->rows[i].text);
    }
}

/* ---- the whole --------------------------------------------------------------------- */

static void say_cautions(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *own = plan_phrases(PLAN_PHRASES_CAUTION);
    const struct plan_phrases *all = plan_phrases(PLAN_PHRASES_ALWAYS);

    text_title(out, "Cautions");
    for (size_t i = 0; i < own->count; i++) {
        if ((d->from->cautions & own->rows[i].key) != 0)
            buf_printf(out, "- %s\n", own->rows[i].text);
    }
    for (size_t i = 0; i < all->count; i++)
        buf_printf(out, "- %s\n", all->rows[i].text);
}

static void say_plan(const struct plan_document *d, struct buf *out)
{
    text_warnings(d, out);
    text_target(d, out);
    text_outflow(d, out);
    if (d->from->in.stage_count > 0)
        text_stages(d, out);
    else
        text_first(d, out);
    text_card(d, out);
    text_ladder(d, out);
    text_hand(d, out);
}

void plan_text_case(const struct plan_document *d, struct buf *out)
{
    struct buf page;

    buf_init(&page, PLAN_DOCUMENT_MAX);
    buf_puts(&page, "\n");
    say_access(d, &page);
    say_flows(d, &page);
    if (d->plan == NULL) {
        say_refusal(d, &page);
    } else {
        say_state(d, &page);
        text_warnings(d, &page);
        if (d->from->in.stage_count > 0)
            text_stages(d, &page);
        else
            text_first(d, &page);
        text_card(d, &page);
    }
    buf_puts(&page, "\nDecision support: the operator measures and decides, "
                    "under local policy.\n");
    if (buf_ok(&page) == ERR_OK)
        queue_page_wrap(page.data, page.len, PLAN_TEXT_COLUMNS, out);
    else
        out->err = buf_ok(&page);
    buf_clear(&page);
}

void plan_text(const struct plan_document *d, struct buf *out)
{
    struct buf page;

    buf_init(&page, PLAN_DOCUMENT_MAX);
    say_head(d, &page);
    if (d->plan != NULL)
        say_plan(d, &page);
    else
        say_refusal(d, &page);
    text_made_from(d, &page);
    text_missing(d, &page);
    say_cautions(d, &page);
    text_rests_on(d, &page);
    if (buf_ok(&page) == ERR_OK)
        queue_page_wrap(page.data, page.len, PLAN_TEXT_COLUMNS, out);
    else
        out->err = buf_ok(&page);
    buf_clear(&page);
}
