/* A band plan for programs; config/plan.schema.json describes it. */
#include "adapters/plan_json.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/hex.h"
#include "adapters/plan_band.h"

#include <math.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <string.h>

/* ---- values ----------------------------------------------------------------- */

void plan_out_null(struct buf *out, const char *key)
{
    fhir_out_raw(out, key, "null", 4);
}

void plan_out_number(struct buf *out, const char *key, double value,
                     int decimals)
{
    char text[48];
    size_t len;

    if (!isfinite(value)) {
        plan_out_null(out, key);
        return;
    }
    len = (size_t)snprintf(text, sizeof(text), "%.*f", decimals, value);
    while (decimals > 0 && text[len - 1] == '0')
        len--;
    if (text[len - 1] == '.')
        len--;
    if (len == 2 && text[0] == '-' && text[1] == '0')
        fhir_out_raw(out, key, "0", 1);
    else
        fhir_out_raw(out, key, text, len);
}

void plan_out_text(struct buf *out, const char *key, const char *text)
{
    size_t before = out->len;

    fhir_out_text(out, key, text);
    if (out->len == before)
        plan_out_null(out, key);
}

void plan_out_time(struct buf *out, const char *key, int64_t at_s)
{
    char text[FHIR_TIME_SIZE];

    if (at_s == INT64_MIN) {
        plan_out_null(out, key);
        return;
    }
    fhir_time_write(at_s, text);
    fhir_out_text(out, key, text);
}

void plan_out_range(struct buf *out, const char *key,
                    const struct plan_range *r, int decimals)
{
    if (!isfinite(r->p05) || !isfinite(r->p50) || !isfinite(r->p95)) {
        plan_out_null(out, key);
        return;
    }
    fhir_out_open(out, key, '{');
    plan_out_number(out, "p05", r->p05, decimals);
    plan_out_number(out, "p50", r->p50, decimals);
    plan_out_number(out, "p95", r->p95, decimals);
    fhir_out_close(out, '}');
}

/* ---- lists of words ---------------------------------------------------------- */

static void out_phrase(struct buf *out, const struct plan_phrase *p)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "code", p->word);
    fhir_out_text(out, "text", p->text);
    fhir_out_close(out, '}');
}

static void out_phrases(struct buf *out, enum plan_phrase_set set,
                        unsigned bits)
{
    const struct plan_phrases *p = plan_phrases(set);

    for (size_t i = 0; i < p->count; i++) {
        if (set == PLAN_PHRASES_ALWAYS || (p->rows[i].key & bits) != 0)
            out_phrase(out, &p->rows[i]);
    }
}

/* Pre-conditions first: they make a plan incomplete. */
static void out_missing(const struct plan_document *d, struct buf *out)
{
    const struct plan_phrases *p = plan_phrases(PLAN_PHRASES_CONDITION);

    fhir_out_open(out, "missing", '[');
    for (size_t i = 0; i < p->count; i++) {
        if (d->from->readiness.conditions[p->rows[i].key] == CONDITION_MISSING)
            out_phrase(out, &p->rows[i]);
    }
    if (d->plan != NULL)
        out_phrases(out, PLAN_PHRASES_MISSING, d->plan->missing);
    fhir_out_close(out, ']');
}

/* ---- why there is none -------------------------------------------------------- */

static void out_offer(const struct plan_document *d, struct buf *out)
{
    const struct plan_from *from = d->from;
    bool offered = d->plan != NULL;

    fhir_out_bool(out, "offered", offered);
    plan_out_text(out, "reason",
                  offered ? NULL : plan_offer_phrase(from->offer)->word);
    fhir_out_open(out, "exclusions", '[');
    out_phrases(out, PLAN_PHRASES_EXCLUSION,
                offered ? 0 : from->readiness.exclusions);
    fhir_out_close(out, ']');
    if (d->fault == NULL || from->offer != PLAN_UNFIT) {
        plan_out_null(out, "fault");
        return;
    }
    fhir_out_open(out, "fault", '{');
    fhir_out_text(out, "field", d->fault->field);
    fhir_out_text(out, "text", d->fault->why);
    fhir_out_close(out, '}');
}

/* The one in place, whatever else is said. */
static void out_band(const struct plan_document *d, struct buf *out)
{
    const struct plan_band *band = &d->from->band;
    struct buf day;

    if (!band->placed) {
        plan_out_null(out, "band");
        return;
    }
    buf_init(&day, FHIR_TIME_SIZE);
    plan_band_day(d, &day);
    fhir_out_open(out, "band", '{');
    plan_out_text(out, "since", day.data);
    plan_out_number(out, "dowel_mm", band->dowel_mm, 2);
    fhir_out_bool(out, "stretched", band->stretched);
    fhir_out_close(out, '}');
    buf_clear(&day);
}

/* ---- what is proposed --------------------------------------------------------- */

static void out_target(const struct plan_document *d, struct buf *out)
{
    const struct plan_target *t;
    bool none;

    if (d->plan == NULL) {
        plan_out_null(out, "target");
        return;
    }
    t = &d->plan->target;
    none = (d->plan->warnings & PLAN_ZONE_EMPTY) != 0;
    fhir_out_open(out, "target", '{');
    fhir_out_text(out, "lead", plan_lead_word(t->lead));
    plan_out_number(out, "low_ml_min", none ? NAN : t->low_ml_min, 0);
    plan_out_number(out, "high_ml_min", none ? NAN : t->high_ml_min, 0);
    plan_out_number(out, "low_pct", none ? NAN : 100.0 * t->low_frac, 1);
    plan_out_number(out, "high_pct", none ? NAN : 100.0 * t->high_frac, 1);
    plan_out_number(out, "floor_ml_min", t->floor_ml_min, 0);
    plan_out_number(out, "index_least", t->index_least, 2);
    plan_out_number(out, "pressure_least_mmhg", t->pressure_least_mmhg, 1);
    fhir_out_close(out, '}');
}

static void out_rung(const struct plan_document *d, const struct plan_rung *r,
                     struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    plan_out_number(out, "dowel_mm", r->dowel_mm, 2);
    plan_out_range(out, "flow_ml_min", &r->flow_ml_min, 0);
    plan_out_range(out, "reduction_pct", &r->reduction_pct, 1);
    plan_out_number(out, "p_in_zone", r->p_in_zone, 3);
    plan_out_number(out, "p_too_tight", r->p_too_tight, 3);
    plan_out_number(out, "p_below_floor", r->p_below_floor, 3);
    plan_out_number(out, "p_index_low", r->p_index_low, 3);
    plan_out_range(out, "hand_pressure_mmhg", &r->hand_pressure_mmhg, 1);
    plan_out_range(out, "hand_pressure_lowest_mmhg", &r->hand_lowest_mmhg, 1);
    plan_out_range(out, "digital_brachial_index", &r->index, 2);
    fhir_out_bool(out, "allowed", plan_rung_keeps(d, r));
    plan_out_number(out, "fourth_power_ml_min", r->fourth_power_ml_min, 0);
    fhir_out_close(out, '}');
}

static void out_row(const struct plan_row *r, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    plan_out_number(out, "from_ml_min", r->from_ml_min, 0);
    plan_out_number(out, "to_ml_min", r->to_ml_min, 0);
    fhir_out_text(out, "action", plan_action_word(r->action));
    plan_out_number(out, "dowel_mm", r->dowel_mm, 2);
    fhir_out_bool(out, "emergency", r->emergency);
    fhir_out_bool(out, "above_target", r->above_target);
    fhir_out_bool(out, "ladder_ends", r->ladder_ends);
    fhir_out_close(out, '}');
}

static void out_ladder(const struct plan_document *d, struct buf *out)
{
    fhir_out_open(out, "ladder", '[');
    for (size_t i = 0; d->plan != NULL && i < d->plan->rung_count; i++)
        out_rung(d, &d->plan->rungs[i], out);
    fhir_out_close(out, ']');
}

static void out_card(const struct plan *plan, struct buf *out)
{
    fhir_out_open(out, "card", '[');
    for (size_t i = 0; plan != NULL && i < plan->row_count; i++)
        out_row(&plan->rows[i], out);
    fhir_out_close(out, ']');
}

/* Where there is no advice it is 0. */
static void out_readings_advised(struct buf *out, const char *key, int count)
{
    plan_out_number(out, key, count > 0 ? (double)count : NAN, 0);
}

/* Of a plan that is not offered nothing is known. */
static void out_proposal(const struct plan *plan, struct buf *out)
{
    plan_out_number(out, "first_dowel_mm",
                    plan != NULL ? plan->first_dowel_mm : NAN, 2);
    out_readings_advised(out, "readings_advised",
                         plan != NULL ? plan->readings_advised : 0);
    out_readings_advised(out, "readings_advised_baseline",
                         plan != NULL ? plan->readings_advised_baseline : 0);
    plan_out_number(out, "card_dowel_mm",
                    plan != NULL ? plan->card_dowel_mm : NAN, 2);
    out_card(plan, out);
}

/* ---- hand, model ------------------------------------------------------ */

static void out_hand(const struct plan *plan, struct buf *out)
{
    if (plan == NULL) {
        plan_out_null(out, "hand_now");
        return;
    }
    fhir_out_open(out, "hand_now", '{');
    plan_out_range(out, "hand_pressure_mmhg", &plan->hand_now_mmhg, 1);
    plan_out_range(out, "digital_brachial_index", &plan->index_now, 2);
    fhir_out_close(out, '}');
}

static void out_next(const struct plan_document *d, struct buf *out)
{
    struct plan_what_now now = plan_what_now(d);

    if (!now.known) {
        plan_out_null(out, "next");
        return;
    }
    fhir_out_open(out, "next", '{');
    fhir_out_text(out, "action", plan_action_word(now.action));
    plan_out_number(out, "dowel_mm", now.dowel_mm, 2);
    plan_out_number(out, "readings_more", plan_readings_more(d), 0);
    fhir_out_text(out, "reason", plan_reason_word(now.reason));
    fhir_out_close(out, '}');
}

static void out_normal(struct buf *out, const char *key,
                       const struct prior_normal *n)
{
    fhir_out_open(out, key, '{');
    plan_out_number(out, "mean", n->mean, 4);
    plan_out_number(out, "sd", n->sd, 4);
    plan_out_number(out, "least", n->least, 4);
    plan_out_number(out, "most", n->most, 4);
    fhir_out_close(out, '}');
}

/* In numbers, so that what a plan was made from can be told when the site's
 * have changed. */
static void out_beliefs(const struct prior *p, struct buf *out)
{
    fhir_out_open(out, "beliefs", '{');
    out_normal(out, "offset_mm", &p->offset_mm);
    out_normal(out, "contraction", &p->contraction);
    plan_out_number(out, "knot_sd_mm", p->knot_sd_mm, 4);
    out_normal(out, "stretch_mm", &p->stretch_mm);
    fhir_out_close(out, '}');
}

static void out_model(const struct plan_document *d, struct buf *out)
{
    fhir_out_open(out, "model", '{');
    fhir_out_text(out, "version", PLAN_MODEL_VERSION);
    fhir_out_text(out, "prior", d->from->in.prior->name);
    out_beliefs(d->from->in.prior, out);
    plan_out_text(out, "policy", d->policy->version);
    plan_out_number(out, "sample_count",
                    d->plan != NULL ? (double)d->plan->sample_count : NAN, 0);
    plan_out_number(out, "sample_share",
                    d->plan != NULL ? d->plan->sample_share : NAN, 3);
    fhir_out_close(out, '}');
}

/* ---- all ------------------------------------------------------------------------ */

/* Of the document without its last member: what stands from start on, and the
 * closing brace. */
static void out_digest(struct buf *out, size_t start)
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    char text[2 * EVP_MAX_MD_SIZE + 1];
    unsigned int len = 0;

    fhir_out_close(out, '}');
    if (buf_ok(out) != ERR_OK)
        return;
    if (EVP_Digest(out->data + start, out->len - start, digest, &len,
                   EVP_sha256(), NULL) != 1) {
        out->err = ERR_MEMORY;
        return;
    }
    hex_write(digest, len, text);
    out->len--; /* the brace comes after the digest */
    fhir_out_text(out, "sha256", text);
    fhir_out_close(out, '}');
}

void plan_json(const struct plan_document *d, struct buf *out)
{
    unsigned long before = buf_lost();
    size_t start = out->len;

    buf_puts(out, "{");
    out_offer(d, out);
    out_band(d, out);
    fhir_out_bool(out, "complete", plan_is_complete(d));
    plan_out_inputs(d, out);
    out_missing(d, out);
    fhir_out_open(out, "warnings", '[');
    out_phrases(out, PLAN_PHRASES_WARNING,
                d->plan != NULL ? d->plan->warnings : 0);
    fhir_out_close(out, ']');
    out_target(d, out);
    out_ladder(d, out);
    out_proposal(d->plan, out);
    out_hand(d->plan, out);
    plan_out_outflow(d->plan, out);
    plan_out_stages(d, out);
    out_next(d, out);
    out_model(d, out);
    fhir_out_open(out, "cautions", '[');
    out_phrases(out, PLAN_PHRASES_CAUTION, d->from->cautions);
    out_phrases(out, PLAN_PHRASES_ALWAYS, 0);
    fhir_out_close(out, ']');
    plan_out_time(out, "expires", d->from->expires_s);
    out_digest(out, start);
    buf_puts(out, "\n");
    buf_keep_whole(out, before);
}
