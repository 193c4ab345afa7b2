/* The limits of the policy in words: what each is measured in. */
#include "adapters/wording_work.h"

#include <string.h>

/* What a row is measured in beyond its quantity. */
enum form {
    OF_QUANTITY, /* a value of it */
    SHARE,       /* 0.20 for 20 % */
    PER_CENT,
    PER_HEIGHT, /* flow over height to the power 2.7 */
    YEARS,
    PLAIN
};

struct limit_row {
    enum param p;
    enum form form;
    enum quantity q; /* OF_QUANTITY */
};

/* clang-format off */
static const struct limit_row limit_rows[] = {
    { P_HF1_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF2_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF3_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF3_FLOW_SEVERE, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF3_RATIO, SHARE, Q_NONE },
    { P_HF3_RATIO_SEVERE, SHARE, Q_NONE },
    { P_HF5_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF6_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_HF6_INDEX, PER_HEIGHT, Q_NONE },
    { P_IS5_PRESSURE, OF_QUANTITY, Q_DIGITAL_PRESSURE },
    { P_IS5_INDEX, OF_QUANTITY, Q_DIGITAL_BRACHIAL_INDEX },
    { P_IS5_INDEX_SEVERE, OF_QUANTITY, Q_DIGITAL_BRACHIAL_INDEX },
    { P_IS5_PRESSURE_SEVERE, OF_QUANTITY, Q_DIGITAL_PRESSURE },
    { P_IS6_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_IS7_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_LF1_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_LF2_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_LF3_FALL_PCT, PER_CENT, Q_NONE },
    { P_LF3_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_LF4_RATIO_GRAFT, OF_QUANTITY, Q_STATIC_PRESSURE_RATIO },
    { P_LF4_RATIO_FISTULA, OF_QUANTITY, Q_STATIC_PRESSURE_RATIO },
    { P_LF5_PCT, OF_QUANTITY, Q_RECIRCULATION },
    { P_LF5_DILUTION_PCT, OF_QUANTITY, Q_RECIRCULATION },
    { P_LF6_PUMP_PCT, PER_CENT, Q_NONE },
    { P_LF6_PRESSURE, OF_QUANTITY, Q_ARTERIAL_LINE_PRESSURE },
    { P_AD1_SPKTV, OF_QUANTITY, Q_SPKTV },
    { P_AD1_SPKTV_SEVERE, OF_QUANTITY, Q_SPKTV },
    { P_AD1_STDKTV, OF_QUANTITY, Q_STDKTV },
    { P_AD1_URR_PCT, OF_QUANTITY, Q_URR },
    { P_AD1_KRU, OF_QUANTITY, Q_RESIDUAL_UREA_CLEARANCE },
    { P_AD2_FALL, OF_QUANTITY, Q_SPKTV },
    { P_AD2_SAME_PCT, PER_CENT, Q_NONE },
    { P_PB1_CLOSE_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB1_CLOSE_AGE, YEARS, Q_NONE },
    { P_PB1_WINDOW_PCT, PER_CENT, Q_NONE },
    { P_PB2_FLOW_FISTULA, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB2_FLOW_GRAFT, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB2_MARGIN, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB2_PRESSURE, OF_QUANTITY, Q_ARTERIAL_LINE_PRESSURE },
    { P_PB2_DOSE_FALL, OF_QUANTITY, Q_SPKTV },
    { P_PB3_FALL_PCT, PER_CENT, Q_NONE },
    { P_PB4_RISE_PCT, PER_CENT, Q_NONE },
    { P_PB4_RISE_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB4_FLOW, OF_QUANTITY, Q_ACCESS_FLOW },
    { P_PB4_RISE_LEAST_PCT, PER_CENT, Q_NONE },
    { P_OUTFLOW_STENOSIS_PCT, PER_CENT, Q_NONE },
    { P_PRESSURE_FALL_PCT, PER_CENT, Q_NONE },
    { P_REPLICATE_SPREAD_PCT, PER_CENT, Q_NONE },
    { P_COMPUTED_DIFFERENCE_PCT, PER_CENT, Q_NONE },
    { P_HYSTERESIS_PCT, PER_CENT, Q_NONE },
    { P_PLAN_RISK_INDEX, OF_QUANTITY, Q_DIGITAL_BRACHIAL_INDEX },
    { P_PLAN_RISK_INDEX_MOST_PCT, PER_CENT, Q_NONE },
    { P_PLAN_RISK_FALL, OF_QUANTITY, Q_DIGITAL_BRACHIAL_INDEX },
    { P_PLAN_RISK_FALL_MOST_PCT, PER_CENT, Q_NONE },
    { P_ARM_DIFFERENCE_MMHG, OF_QUANTITY, Q_SYSTOLIC_PRESSURE },
    { P_COMPRESSION_RISE_MMHG, OF_QUANTITY, Q_DIGITAL_PRESSURE },
};
/* clang-format on */

static struct limit_row row_of(enum param p)
{
    for (size_t i = 0; i < COUNT(limit_rows); i++) {
        if (limit_rows[i].p == p)
            return limit_rows[i];
    }
    return (struct limit_row){ p, PLAIN, Q_NONE };
}

enum quantity say_limit_quantity(enum param p)
{
    return row_of(p).q;
}

bool say_limit_is_share(enum param p)
{
    return row_of(p).form == SHARE;
}

static void say_form(enum form form, double value, struct buf *out)
{
    struct fill s = { 0 };

    switch (form) {
    case SHARE:
        say_per_cent_plain(out, value * 100.0, 3);
        break;
    case PER_CENT:
        say_per_cent_plain(out, value, 3);
        break;
    case PER_HEIGHT:
        say_plain(fill_at(&s, "value"), value, 6);
        fill_say(&s, _("{value} mL/min for a height of 1 m to the power 2.7"),
                 out);
        break;
    case YEARS:
        say_plain(fill_at(&s, "years"), value, 3);
        fill_say(&s, _("{years} years"), out);
        break;
    case OF_QUANTITY:
    case PLAIN:
        say_plain(out, value, 6);
        break;
    }
}

/* The row that says of how many last ones; PARAM_TOTAL: in a row. */
static enum param of_last_row(enum param readings)
{
    switch ((int)readings) {
    case P_HF1_READINGS:
        return P_HF1_OF_LAST;
    case P_HF2_READINGS:
        return P_HF2_OF_LAST;
    case P_LF1_READINGS:
        return P_LF1_OF_LAST;
    case P_LF2_READINGS:
        return P_LF2_OF_LAST;
    case P_LF3_READINGS:
        return P_LF3_OF_LAST;
    default:
        return PARAM_TOTAL;
    }
}

/* "2 readings in a row", "3 of the last 4 readings". */
static bool say_confirmation(const struct wording *w, enum param p,
                             struct buf *out)
{
    enum param of_last = of_last_row(p);
    struct fill s = { 0 };
    int readings, last;

    if (of_last == PARAM_TOTAL)
        return false;
    readings = policy_count(w->policy, p);
    last = policy_count(w->policy, of_last);
    fill_count(&s, "count", readings);
    fill_count(&s, "last", last);
    if (readings == 1)
        fill_say(&s, _("one reading"), out);
    else if (last > readings)
        fill_say(&s, _("{count} of the last {last} readings"), out);
    else
        fill_say(&s, _("{count} readings in a row"), out);
    return true;
}

void say_limit(const struct wording *w, enum param p, struct buf *out)
{
    double value = policy_get(w->policy, p);
    struct limit_row row = row_of(p);
    struct fill s = { 0 };

    if (say_confirmation(w, p, out))
        return;
    if (param_info(p)->kind == PARAM_GRADE) {
        fill_text(&s, "grade", grade_word((enum grade)value));
        fill_say(&s, _("grade {grade}"), out);
        return;
    }
    if (param_info(p)->kind == PARAM_URGENCY)
        say_soon(w, (enum urgency)value, out);
    else if (param_info(p)->kind == PARAM_EKTV)
        buf_puts(out, wording_name(ektv_form_display((enum ektv_form)value)));
    else
        say_form(row.form, value, out);
    if (row.form == OF_QUANTITY)
        say_unit(out, row.q);
}

void wording_limit(const struct wording *w, enum param p, struct buf *out)
{
    say_limit(w, p, out);
}

const char *wording_limit_unit(enum param p)
{
    struct limit_row row = row_of(p);

    switch (row.form) {
    case OF_QUANTITY:
        return quantity_info(row.q)->unit;
    case SHARE:
        return "1";
    case PER_CENT:
        return "%";
    case YEARS:
        return "a";
    case PER_HEIGHT:
    case PLAIN:
        break;
    }
    return NULL;
}
