/* A plan as one line of JSON. */
#include "tests/plan_kit.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Numbers of 17 digits read back as the same bits; JSON has no NaN. */
static void put(const char *name, double x)
{
    if (isfinite(x))
        printf("\"%s\":%.17g", name, x);
    else
        printf("\"%s\":null", name);
}

/* What a key of a structure holds. */
enum kind { NUMBER, RANGE, FLAG };

struct field {
    const char *name;
    enum kind kind;
    size_t offset;
};

static void put_range(const char *name, const struct plan_range *r)
{
    printf("\"%s\":{", name);
    put("p05", r->p05);
    putchar(',');
    put("p50", r->p50);
    putchar(',');
    put("p95", r->p95);
    putchar('}');
}

/* The fields of one structure, without the braces around them. */
static void put_fields(const struct field *fields, size_t count,
                       const void *base)
{
    for (size_t i = 0; i < count; i++) {
        const char *at = (const char *)base + fields[i].offset;
        struct plan_range range;
        double number;
        bool flag;

        if (i > 0)
            putchar(',');
        if (fields[i].kind == RANGE) {
            memcpy(&range, at, sizeof range);
            put_range(fields[i].name, &range);
        } else if (fields[i].kind == FLAG) {
            memcpy(&flag, at, sizeof flag);
            printf("\"%s\":%s", fields[i].name, flag ? "true" : "false");
        } else {
            memcpy(&number, at, sizeof number);
            put(fields[i].name, number);
        }
    }
}

#define RUNG(field, kind)                                                      \
    {                                                                          \
#field, kind, offsetof(struct plan_rung, field)                        \
    }
#define OUTFLOW(field, kind)                                                   \
    {                                                                          \
#field, kind, offsetof(struct plan_outflow, field)                     \
    }
#define TARGET(field, kind)                                                    \
    {                                                                          \
#field, kind, offsetof(struct plan_target, field)                      \
    }
#define SEEN(field, kind)                                                      \
    {                                                                          \
#field, kind, offsetof(struct plan_seen, field)                        \
    }
#define PLAN(field, kind)                                                      \
    {                                                                          \
#field, kind, offsetof(struct plan, field)                             \
    }

static const struct field rung_fields[] = {
    RUNG(dowel_mm, NUMBER),
    RUNG(flow_ml_min, RANGE),
    RUNG(reduction_pct, RANGE),
    RUNG(hand_pressure_mmhg, RANGE),
    RUNG(index, RANGE),
    RUNG(hand_lowest_mmhg, RANGE),
    RUNG(p_in_zone, NUMBER),
    RUNG(p_too_tight, NUMBER),
    RUNG(p_below_floor, NUMBER),
    RUNG(p_index_low, NUMBER),
    RUNG(loss, NUMBER),
    RUNG(allowed, FLAG),
    RUNG(fourth_power_ml_min, NUMBER),
};

static const struct field outflow_fields[] = {
    OUTFLOW(known, FLAG),
    OUTFLOW(by_pressure, FLAG),
    OUTFLOW(lesion_frac, NUMBER),
    OUTFLOW(surge_least, NUMBER),
    OUTFLOW(surge_most, NUMBER),
    OUTFLOW(flow_ml_min, RANGE),
    OUTFLOW(surge, RANGE),
    OUTFLOW(hand_pressure_mmhg, RANGE),
    OUTFLOW(index, RANGE),
    OUTFLOW(index_before, RANGE),
    OUTFLOW(p_index_low, NUMBER),
    OUTFLOW(p_index_falls, NUMBER),
    OUTFLOW(flagged, FLAG),
    OUTFLOW(holding_dowel_mm, NUMBER),
    OUTFLOW(zone_dowel_mm, NUMBER),
    OUTFLOW(holding_flow_ml_min, RANGE),
    OUTFLOW(holding_index, RANGE),
    OUTFLOW(holding_p_index_low, NUMBER),
    OUTFLOW(holding_p_index_falls, NUMBER),
};

static const struct field target_fields[] = {
    TARGET(low_ml_min, NUMBER),  TARGET(high_ml_min, NUMBER),
    TARGET(low_frac, NUMBER),    TARGET(high_frac, NUMBER),
    TARGET(relative, FLAG),      TARGET(floor_ml_min, NUMBER),
    TARGET(index_least, NUMBER), TARGET(pressure_least_mmhg, NUMBER),
};

static const struct field seen_fields[] = {
    SEEN(measured_ml_min, NUMBER),
    SEEN(reduction_pct, NUMBER),
    SEEN(predicted_ml_min, RANGE),
    SEEN(tail, NUMBER),
};

static const struct field plan_fields[] = {
    PLAN(baseline_ml_min, NUMBER), PLAN(first_dowel_mm, NUMBER),
    PLAN(card_dowel_mm, NUMBER),   PLAN(next_dowel_mm, NUMBER),
    PLAN(lowest_ml_min, NUMBER),   PLAN(highest_ml_min, NUMBER),
    PLAN(hand_now_mmhg, RANGE),    PLAN(index_now, RANGE),
    PLAN(sample_share, NUMBER),
};

/* "name":[{...},...] of equal structures of a size. */
static void put_list(const char *name, const struct field *fields, size_t count,
                     const void *list, size_t size, size_t length)
{
    printf(",\"%s\":[", name);
    for (size_t i = 0; i < length; i++) {
        fputs(i > 0 ? ",{" : "{", stdout);
        put_fields(fields, count, (const char *)list + i * size);
        putchar('}');
    }
    putchar(']');
}

static void put_flag(const char *name, bool flag)
{
    printf(",\"%s\":%s", name, flag ? "true" : "false");
}

static void put_rows(const struct plan *plan)
{
    fputs(",\"rows\":[", stdout);
    for (size_t i = 0; i < plan->row_count; i++) {
        const struct plan_row *row = &plan->rows[i];

        fputs(i > 0 ? ",{" : "{", stdout);
        put("from_ml_min", row->from_ml_min);
        putchar(',');
        put("to_ml_min", row->to_ml_min);
        putchar(',');
        put("dowel_mm", row->dowel_mm);
        printf(",\"action\":\"%s\"", plan_action_word(row->action));
        put_flag("emergency", row->emergency);
        put_flag("ladder_ends", row->ladder_ends);
        putchar('}');
    }
    putchar(']');
}

void kit_plan_print(const struct plan *plan)
{
    putchar('{');
    put_fields(plan_fields, COUNT(plan_fields), plan);
    printf(",\"missing\":%u,\"warnings\":%u,\"next\":\"%s\"", plan->missing,
           plan->warnings, plan_action_word(plan->next));
    printf(",\"readings_advised\":%d,\"readings_advised_baseline\":%d",
           plan->readings_advised, plan->readings_advised_baseline);
    printf(",\"sample_count\":%zu", plan->sample_count);
    printf(",\"target\":{\"lead\":\"%s\",", plan_lead_word(plan->target.lead));
    put_fields(target_fields, COUNT(target_fields), &plan->target);
    fputs("},\"outflow\":{", stdout);
    put_fields(outflow_fields, COUNT(outflow_fields), &plan->outflow);
    putchar('}');
    put_list("rungs", rung_fields, COUNT(rung_fields), plan->rungs,
             sizeof plan->rungs[0], plan->rung_count);
    put_list("seen", seen_fields, COUNT(seen_fields), plan->seen,
             sizeof plan->seen[0], plan->seen_count);
    put_rows(plan);
    puts("}");
}
