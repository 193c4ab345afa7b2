/* What was measured, and when: each value of a plan with its readings. */
#include "adapters/plan_text.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

enum { ROW_MAX = 8192 };

/* A reading as it was sent: "120 mmHg", "band-ligature". */
static void say_value(const struct reading *r, struct buf *out)
{
    const struct quantity_info *info = quantity_info(r->quantity);
    const char *unit = strcmp(info->unit, "mm[Hg]") == 0 ? "mmHg" : info->unit;

    if (info->kind == VALUE_CODE) {
        buf_puts(out, sign_info(r->sign)->display);
        return;
    }
    buf_printf(out, "%.6g", r->value);
    if (unit[0] != '\0' && strcmp(unit, "1") != 0)
        buf_printf(out, " %s", unit);
}

/* Which of the numbers planned with. */
static double used_value(const struct plan_input *in, enum plan_use use)
{
    switch (use) {
    case PLAN_USE_MAP:
        return in->map_mmhg;
    case PLAN_USE_MAP_LOWEST:
        return in->map_lowest_mmhg;
    case PLAN_USE_INDEX:
        return in->index_open;
    case PLAN_USE_INDEX_COMPRESSED:
        return in->index_compressed;
    case PLAN_USE_STATIC:
        return in->static_mmhg;
    case PLAN_USE_FLOW:
    case PLAN_USE_CVP:
    case PLAN_USE_HAEMATOCRIT:
    case PLAN_USE_CONDUIT:
    case PLAN_USE_ARTERY:
    case PLAN_USE_STENOSIS:
    case PLAN_USE_PUMP:
    case PLAN_USE_FORM:
    case PLAN_USE_STEP:
    case PLAN_USE_STAGE_FLOW:
    case PLAN_USE_STAGE_MAP:
    case PLAN_USE_STAGE_INDEX:
    case PLAN_USE_STAGE_THRILL:
    case PLAN_USE_COUNT:
        break;
    }
    return NAN; /* the readings themselves */
}

static const struct used_row {
    const char *words, *unit; /* unit: of used_value() */
    enum plan_use use;
    int decimals;
} used_rows[] = {
    { "flow before the band", "", PLAN_USE_FLOW, 0 },
    { "mean pressure", " mmHg", PLAN_USE_MAP, 0 },
    { "lowest usual pressure", " mmHg", PLAN_USE_MAP_LOWEST, 0 },
    { "venous pressure", "", PLAN_USE_CVP, 0 },
    { "haematocrit", "", PLAN_USE_HAEMATOCRIT, 0 },
    { "access, at the band", "", PLAN_USE_CONDUIT, 0 },
    { "feeding artery", "", PLAN_USE_ARTERY, 0 },
    { "index of the hand", "", PLAN_USE_INDEX, 2 },
    { "index, pressed shut", "", PLAN_USE_INDEX_COMPRESSED, 2 },
    { "static pressure", " mmHg", PLAN_USE_STATIC, 0 },
    { "outflow stenosis", "", PLAN_USE_STENOSIS, 0 },
    { "pump flow, prescribed", "", PLAN_USE_PUMP, 0 },
    { "form of the band", "", PLAN_USE_FORM, 0 },
};

static bool is_of(const struct plan_from *from, size_t i, enum plan_use use)
{
    return from->grounds[i].use == use && from->grounds[i].stage < 0;
}

static size_t count_of(const struct plan_from *from, enum plan_use use)
{
    size_t count = 0;

    for (size_t i = 0; i < from->ground_count; i++)
        count += is_of(from, i, use);
    return count;
}

/* "2450 mL/min (2026-03-05 09:02)", and what it is where that is not plain. */
static void say_reading(const struct plan_document *d, const struct reading *r,
                        bool name, struct buf *out)
{
    if (name)
        buf_printf(out, "%s ", quantity_info(r->quantity)->display);
    say_value(r, out);
    buf_puts(out, " (");
    text_when(d, r, out);
    buf_puts(out, ")");
}

/* A reading that is the value itself, whatever else stands behind it; NULL. */
static const struct reading *plain_of(const struct plan_document *d,
                                      enum plan_use use, double value)
{
    const struct plan_from *from = d->from;

    for (size_t i = 0; i < from->ground_count; i++) {
        const struct reading *r =
            &d->history->readings[from->grounds[i].reading];

        if (is_of(from, i, use) && r->quantity == Q_MEAN_PRESSURE &&
            fabs(r->value - value) < 0.05)
            return r;
    }
    return NULL;
}

static void say_used(const struct plan_document *d, const struct used_row *row,
                     struct buf *out)
{
    const struct plan_from *from = d->from;
    double value = used_value(&from->in, row->use);
    bool several = count_of(from, row->use) > 1 && !isnan(value);
    const struct reading *plain = several ? plain_of(d, row->use, value) : NULL;
    const char *before = "";

    if (plain != NULL) {
        say_reading(d, plain, false, out);
        return;
    }
    if (several) {
        buf_printf(out, "%.*f%s", row->decimals, value, row->unit);
        before = ", from ";
    }
    for (size_t i = 0; i < from->ground_count; i++) {
        if (!is_of(from, i, row->use))
            continue;
        buf_puts(out, before);
        say_reading(d, &d->history->readings[from->grounds[i].reading], several,
                    out);
        before = ", ";
    }
}

void text_made_from(const struct plan_document *d, struct buf *out)
{
    struct buf text;
    char left[40];

    if (d->from->ground_count == 0)
        return;
    text_title(out, "What was measured");
    buf_init(&text, ROW_MAX);
    for (size_t i = 0; i < COUNT(used_rows); i++) {
        if (count_of(d->from, used_rows[i].use) == 0)
            continue;
        snprintf(left, sizeof(left), "  %s", used_rows[i].words);
        say_used(d, &used_rows[i], &text);
        text_row(left, &text, out);
    }
    buf_clear(&text);
}
