#include "planner/policy.h"

#include "planner/adequacy.h"
#include "planner/sign.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const urgency_words[] = { "note", "routine", "urgent",
                                             "asap", "immediate" };

const char *urgency_word(enum urgency u)
{
    return (unsigned)u < COUNT(urgency_words) ? urgency_words[u] : "?";
}

static const struct param_info params[PARAM_TOTAL] = {
#define PARAM_ROW(name, section, key, kind, least, most)                       \
    [name] = { section, key, kind, least, most },
    PARAM_LIST(PARAM_ROW)
#undef PARAM_ROW
};

const struct param_info *param_info(enum param p)
{
    return &params[(unsigned)p < PARAM_TOTAL ? p : 0];
}

enum err param_by_name(const char *section, const char *key, enum param *p)
{
    for (unsigned i = 0; i < PARAM_TOTAL; i++) {
        if (strcmp(params[i].section, section) == 0 &&
            strcmp(params[i].key, key) == 0) {
            *p = (enum param)i;
            return ERR_OK;
        }
    }
    return ERR_UNKNOWN;
}

static enum err read_word(const struct param_info *row, const char *text,
                          const char *(*word)(int), int count, double *value)
{
    for (int i = 0; i < count; i++) {
        if (strcmp(word(i), text) != 0)
            continue;
        if (i < row->least || i > row->most)
            return ERR_RANGE;
        *value = i;
        return ERR_OK;
    }
    return ERR_FORM;
}

static const char *nth_urgency(int i)
{
    return urgency_word((enum urgency)i);
}

static const char *nth_grade(int i)
{
    return grade_word((enum grade)i);
}

static const char *nth_ektv(int i)
{
    return ektv_form_code((enum ektv_form)i);
}

static enum err read_number(const struct param_info *row, const char *text,
                            double *value)
{
    char *end;
    double number = strtod(text, &end);

    /* strtod also reads hexadecimal numbers, and words for what is none */
    if (end == text || *end != '\0' ||
        strspn(text, "0123456789+-.eE") != strlen(text))
        return ERR_FORM;
    if (!(number >= row->least && number <= row->most))
        return ERR_RANGE;
    if (row->kind == PARAM_COUNT && number != floor(number))
        return ERR_FORM;
    *value = number;
    return ERR_OK;
}

enum err param_read(enum param p, const char *text, double *value)
{
    const struct param_info *row = param_info(p);

    switch (row->kind) {
    case PARAM_URGENCY:
        return read_word(row, text, nth_urgency, (int)COUNT(urgency_words),
                         value);
    case PARAM_GRADE:
        return read_word(row, text, nth_grade, GRADE_COUNT, value);
    case PARAM_EKTV:
        return read_word(row, text, nth_ektv, (int)row->most + 1, value);
    case PARAM_NUMBER:
    case PARAM_COUNT:
        break;
    }
    return read_number(row, text, value);
}

const char *policy_citation(const struct policy *p, const char *key, size_t len)
{
    for (size_t i = 0; i < p->source_count; i++) {
        if (strlen(p->sources[i].key) == len &&
            memcmp(p->sources[i].key, key, len) == 0)
            return p->sources[i].citation;
    }
    return NULL;
}

/* Of each pair the first value must not be above the second. */
static const enum param order[][2] = {
    { P_HF2_FLOW, P_HF1_FLOW },
    { P_LF2_FLOW, P_HF2_FLOW },
    { P_LF1_FLOW, P_HF2_FLOW },
    { P_HF3_RATIO, P_HF3_RATIO_SEVERE },
    { P_IS5_INDEX_SEVERE, P_IS5_INDEX },
    { P_IS5_PRESSURE_SEVERE, P_IS5_PRESSURE },
    { P_IS3_GRADE, P_IS2_GRADE },
    { P_IS4_GRADE, P_IS3_GRADE },
    { P_IS4_GRADE_MILD, P_IS4_GRADE },
    { P_IS7_FLOW, P_IS6_FLOW },
    { P_IS6_FLOW, P_IS7_FLOW },
    { P_DUE_ASAP_D, P_DUE_URGENT_D },
    { P_DUE_URGENT_D, P_DUE_ROUTINE_D },
    { P_DUE_EXAMINE_D, P_DUE_ROUTINE_D },
    { P_DUE_LOW_DOSE_D, P_DUE_ROUTINE_D },
    { P_PUT_OFF_ASAP_D, P_PUT_OFF_URGENT_D },
    { P_PUT_OFF_URGENT_D, P_PUT_OFF_ROUTINE_D },
    { P_HF1_READINGS, P_HF1_OF_LAST },
    { P_HF2_READINGS, P_HF2_OF_LAST },
    { P_LF1_READINGS, P_LF1_OF_LAST },
    { P_LF2_READINGS, P_LF2_OF_LAST },
    { P_LF3_READINGS, P_LF3_OF_LAST },
    { P_HF2_FLOW, P_HF6_FLOW },
    { P_LF3_BASELINE_LEAST, P_LF3_BASELINE_MOST },
    { P_LF5_DILUTION_PCT, P_LF5_PCT },
    { P_AD1_SPKTV_SEVERE, P_AD1_SPKTV },
    { P_AD2_BASELINE_LEAST, P_AD2_BASELINE_MOST },
    { P_PB1_SESSION_D, P_PB1_EARLY_D },
    { P_PB1_EARLY_D, P_PB1_MONTH_D },
    { P_PB1_MONTH_D, P_PB1_QUARTER_D },
    { P_PB1_QUARTER_D, P_PB1_HALF_YEAR_D },
    { P_PB1_INTERVAL_CLOSE_D, P_PB1_INTERVAL_D },
    { P_PB4_RISE_FLOW, P_PB4_FLOW },
    { P_PB4_RISE_LEAST_PCT, P_PB4_RISE_PCT },
    { P_PLAN_FLOOR_FISTULA, P_PLAN_WINDOW_LOW_FISTULA },
    { P_PLAN_FLOOR_GRAFT, P_PLAN_WINDOW_LOW_GRAFT },
    { P_PLAN_FLOOR_FIRST_MOST_PCT, P_PLAN_FLOOR_MOST_PCT },
    { P_PLAN_RISK_INDEX, P_PLAN_INDEX_LEAST },
};

/* Ends of a range in which something must fit: the first is below. */
static const enum param ends[][2] = {
    { P_PLAN_SHARE_LOW_PCT, P_PLAN_SHARE_HIGH_PCT },
    { P_PLAN_CAP_LOW, P_PLAN_CAP },
    { P_PLAN_WINDOW_LOW_FISTULA, P_PLAN_WINDOW_HIGH },
    { P_PLAN_WINDOW_LOW_GRAFT, P_PLAN_WINDOW_HIGH },
};

enum err policy_check(const struct policy *p, enum param *at,
                      enum param *beside)
{
    for (size_t i = 0; i < COUNT(order); i++) {
        if (!(policy_get(p, order[i][0]) <= policy_get(p, order[i][1]))) {
            *at = order[i][0];
            *beside = order[i][1];
            return ERR_CONFIG;
        }
    }
    for (size_t i = 0; i < COUNT(ends); i++) {
        if (!(policy_get(p, ends[i][0]) < policy_get(p, ends[i][1]))) {
            *at = ends[i][0];
            *beside = ends[i][1];
            return ERR_CONFIG;
        }
    }
    return ERR_OK;
}
