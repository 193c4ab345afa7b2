/* What was measured, and when: each value of a plan with its readings. */
#include "adapters/plan_text.h"

#include "adapters/wording.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A number with as many digits as it was sent with, six at most. */
static const char *plain_number(struct text *t, double value)
{
    char digits[64];
    const char *point;

    snprintf(digits, sizeof(digits), "%.6g", value);
    point = strchr(digits, '.');
    return words_number(&t->words, value,
                        point != NULL && strchr(digits, 'e') == NULL
                            ? (int)strlen(point + 1)
                            : 0);
}

/* A reading as it was sent: "120 mmHg", "band-ligature". */
static const char *say_value(struct text *t, const struct reading *r)
{
    const struct quantity_info *info = quantity_info(r->quantity);
    const char *unit = strcmp(info->unit, "mm[Hg]") == 0 ? "mmHg" : info->unit;

    if (info->kind == VALUE_CODE)
        return wording_name(sign_info(r->sign)->display);
    if (unit[0] == '\0' || strcmp(unit, "1") == 0)
        return plain_number(t, r->value);
    return words_say(&t->words, _("%1$s\u00a0%2$s"), plain_number(t, r->value),
                     unit);
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
    case PLAN_USE_FINGER:
    case PLAN_USE_STAGE_FINGER:
    case PLAN_USE_STAGE_THRILL:
    case PLAN_USE_COUNT:
        break;
    }
    return NAN; /* the readings themselves */
}

/* words: at most 22 columns, in any language */
static const struct used_row {
    const char *words, *unit; /* unit: of used_value() */
    enum plan_use use;
    int decimals;
} used_rows[] = {
    /* TRANSLATORS: this and what follows: at most 22 letters */
    { N_("flow before the band"), "", PLAN_USE_FLOW, 0 },
    { N_("mean pressure"), "mmHg", PLAN_USE_MAP, 0 },
    { N_("lowest usual pressure"), "mmHg", PLAN_USE_MAP_LOWEST, 0 },
    { N_("venous pressure"), "", PLAN_USE_CVP, 0 },
    { N_("haematocrit"), "", PLAN_USE_HAEMATOCRIT, 0 },
    { N_("access, at the band"), "", PLAN_USE_CONDUIT, 0 },
    { N_("feeding artery"), "", PLAN_USE_ARTERY, 0 },
    { N_("index of the hand"), "", PLAN_USE_INDEX, 2 },
    { N_("index, pressed shut"), "", PLAN_USE_INDEX_COMPRESSED, 2 },
    { N_("finger pressure"), "", PLAN_USE_FINGER, 0 },
    { N_("static pressure"), "mmHg", PLAN_USE_STATIC, 0 },
    { N_("outflow stenosis"), "", PLAN_USE_STENOSIS, 0 },
    { N_("pump flow, prescribed"), "", PLAN_USE_PUMP, 0 },
    { N_("form of the band"), "", PLAN_USE_FORM, 0 },
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
static const char *say_reading(struct text *t, const struct reading *r,
                               bool name)
{
    struct words *w = &t->words;

    if (name)
        /* TRANSLATORS: name of what was measured, its value, its time */
        return words_say(w, _("%1$s %2$s (%3$s)"),
                         wording_name(quantity_info(r->quantity)->display),
                         say_value(t, r), words_time(w, t->d->zone, r));
    /* TRANSLATORS: a measured value and its time */
    return words_say(w, _("%1$s (%2$s)"), say_value(t, r),
                     words_time(w, t->d->zone, r));
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

/* The value that was planned with, where it is made of several. */
static const char *say_sum(struct text *t, const struct used_row *row)
{
    struct words *w = &t->words;
    const char *value =
        words_number(w, used_value(&t->d->from->in, row->use), row->decimals);

    return row->unit[0] == '\0'
               ? value
               : words_say(w, _("%1$s\u00a0%2$s"), value, row->unit);
}

static const char *say_used(struct text *t, const struct used_row *row)
{
    const struct plan_from *from = t->d->from;
    double value = used_value(&from->in, row->use);
    bool several = count_of(from, row->use) > 1 && !isnan(value);
    const struct reading *plain =
        several ? plain_of(t->d, row->use, value) : NULL;
    const char *list = "";

    if (plain != NULL)
        return say_reading(t, plain, false);
    for (size_t i = 0; i < from->ground_count; i++) {
        const char *one;

        if (!is_of(from, i, row->use))
            continue;
        one = say_reading(t, &t->d->history->readings[from->grounds[i].reading],
                          several);
        list = list[0] == '\0'
                   ? one
                   : words_say(&t->words, _("%1$s, %2$s"), list, one);
    }
    if (!several)
        return list;
    /* TRANSLATORS: a value, and the readings that it is made from */
    return words_say(&t->words, _("%1$s, from %2$s"), say_sum(t, row), list);
}

void text_made_from(struct text *t)
{
    if (t->d->from->ground_count == 0)
        return;
    text_title(t, _("What was measured"));
    for (size_t i = 0; i < COUNT(used_rows); i++) {
        const char *left;

        if (count_of(t->d->from, used_rows[i].use) == 0)
            continue;
        left = words_say(&t->words, "  %s", gettext(used_rows[i].words));
        text_row(t, left, say_used(t, &used_rows[i]));
    }
}
