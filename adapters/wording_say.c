#include "adapters/wording_work.h"

#include "adapters/fhir_time.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

enum { LABEL_MAX = 200 };

void say_clean(struct buf *out, const char *text)
{
    size_t len = strlen(text);

    if (len > LABEL_MAX) {
        len = LABEL_MAX;
        while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
            len--; /* not within a character */
    }
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)text[i];

        buf_add(out, c < 0x20 || c == 0x7f ? " " : text + i, 1);
    }
}

void say_lower(struct buf *out, const char *text)
{
    char first = text[0];

    if (isupper((unsigned char)first) && islower((unsigned char)text[1]))
        first = (char)tolower((unsigned char)first);
    if (first == '\0')
        return;
    buf_add(out, &first, 1);
    buf_puts(out, text + 1);
}

void say_date(const struct wording *w, int64_t at_s, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(at_s, w->zone, date);
    buf_puts(out, date);
}

void say_by(const struct wording *w, struct buf *out)
{
    char now[FHIR_TIME_SIZE], due[FHIR_TIME_SIZE];

    fhir_date_write(w->history->now_s, w->zone, now);
    fhir_date_write(w->due_s, w->zone, due);
    buf_printf(out, "to be seen %s %s", strcmp(now, due) == 0 ? "today," : "by",
               due);
}

void say_when(const struct reading *r, const struct zone *zone, struct buf *out)
{
    char date[FHIR_TIME_SIZE];

    fhir_date_write(r->start_s, zone, date);
    if (r->precision == AT_YEAR)
        buf_printf(out, "in %.4s", date);
    else if (r->precision == AT_MONTH)
        buf_printf(out, "in %.7s", date);
    else
        buf_printf(out, "on %s", date);
}

/* ---- numbers --------------------------------------------------------------- */

/* For people: the unit, and the digits worth reading. */
static const struct {
    const char *code, *shown;
    int decimals;
} units[] = {
    { "mL/min", " mL/min", 0 }, { "mm[Hg]", " mmHg", 0 }, { "1", "", 2 },
    { "%", " %", 0 },           { "L/min", " L/min", 1 }, { "mm", " mm", 1 },
    { "mmol/L", " mmol/L", 1 }, { "mg/dL", " mg/dL", 0 }, { "min", " min", 0 },
    { "mL", " mL", 0 },         { "kg", " kg", 1 },       { "m", " m", 2 },
    { "cm", " cm", 0 },
};

static size_t unit_row(enum quantity q)
{
    const char *code = quantity_info(q)->unit;
    size_t i = 0;

    while (i < COUNT(units) && strcmp(units[i].code, code) != 0)
        i++;
    return i;
}

static void say_digits(struct buf *out, double value, double limit,
                       int decimals)
{
    char shown[40], other[40];

    for (;; decimals++) {
        snprintf(shown, sizeof(shown), "%.*f", decimals, value);
        snprintf(other, sizeof(other), "%.*f", decimals, limit);
        if (isnan(limit) || decimals >= 6 || strcmp(shown, other) != 0 ||
            !(value < limit || value > limit))
            break;
    }
    buf_puts(out, shown);
}

void say_number(struct buf *out, enum quantity q, double value, double limit)
{
    size_t row = unit_row(q);

    int decimals = row < COUNT(units) ? units[row].decimals : 1;

    say_digits(out, value, limit, q == Q_SESSIONS_PER_WEEK ? 0 : decimals);
}

void say_unit(struct buf *out, enum quantity q)
{
    size_t row = unit_row(q);

    if (row < COUNT(units))
        buf_puts(out, units[row].shown);
    else
        buf_printf(out, " %s", quantity_info(q)->unit);
}

void say_value(struct buf *out, enum quantity q, double value, enum bound bound,
               double limit)
{
    static const char *const words[] = { [BOUND_NONE] = "",
                                         [BOUND_BELOW] = "less than ",
                                         [BOUND_AT_MOST] = "at most ",
                                         [BOUND_AT_LEAST] = "at least ",
                                         [BOUND_ABOVE] = "more than " };

    buf_puts(out, words[bound]);
    say_number(out, q, value, limit);
    say_unit(out, q);
}

/* ---- how soon, how bad ------------------------------------------------------ */

void say_within(const struct wording *w, enum urgency u, struct buf *out)
{
    int days;

    if (u == URGENCY_IMMEDIATE) {
        buf_puts(out, "today");
        return;
    }
    days = policy_count(w->policy, due_row(w->group, u));
    if (days == 2)
        buf_puts(out, "within 24 to 48 hours");
    else
        buf_printf(out, "within %d %s", days, days == 1 ? "day" : "days");
}

void say_soon(const struct wording *w, enum urgency u, struct buf *out)
{
    if (u == URGENCY_NOTE)
        buf_puts(out, "a remark only");
    else
        say_within(w, u, out);
}

void say_grade(struct buf *out, enum grade g)
{
    static const char *const words[GRADE_COUNT] = {
        [GRADE_NONE] = "no ischaemia",
        [GRADE_1] = "cool or pale hand",
        [GRADE_2A] = "tolerable complaints during dialysis or exercise",
        [GRADE_2B] = "complaints that are not tolerable",
        [GRADE_3] = "rest pain or motor loss",
        [GRADE_4A] = "limited tissue loss",
        [GRADE_4B] = "extended tissue loss",
    };

    buf_printf(out, "grade %s (%s)", grade_word(g),
               (unsigned)g < GRADE_COUNT ? words[g] : "?");
}

/* ---- names -------------------------------------------------------------------- */

void say_quantity(struct buf *out, enum quantity q)
{
    static const struct {
        enum quantity q;
        const char *words;
    } rows[] = {
        { Q_ACCESS_FLOW, "access flow" },
        { Q_DIGITAL_PRESSURE, "finger pressure" },
        { Q_STATIC_PRESSURE_RATIO, "static venous pressure ratio" },
        { Q_ARTERIAL_LINE_PRESSURE, "pressure before the pump" },
        { Q_PUMP_FLOW, "pump flow" },
        { Q_HAND_SYMPTOM, "symptoms of the hand" },
    };

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (rows[i].q == q) {
            buf_puts(out, rows[i].words);
            return;
        }
    }
    say_lower(out, quantity_info(q)->display);
}

static const struct {
    unsigned item;
    const char *words, *brief;
} visit_rows[] = {
    { VISIT_THRILL, "thrill over the access", "thrill" },
    { VISIT_PUMP, "pump flow reached and pressure before the pump", "pump" },
    { VISIT_HAND, "symptoms of the hand, or that there are none", "hand" },
    { VISIT_FLOW, "access flow", "flow" },
    { VISIT_DOSE, "Kt/V or urea reduction", "dose" },
    { VISIT_FINGER, "finger pressure or digital-brachial index",
      "finger pressure" },
};

static void say_items(struct buf *out, unsigned items, bool brief)
{
    bool any = false;

    for (size_t i = 0; i < COUNT(visit_rows); i++) {
        if ((items & visit_rows[i].item) == 0)
            continue;
        if (any)
            buf_puts(out, brief ? ", " : "; ");
        buf_puts(out, brief ? visit_rows[i].brief : visit_rows[i].words);
        any = true;
    }
    buf_puts(out, any ? "" : "nothing");
}

void say_visit(struct buf *out, unsigned items)
{
    say_items(out, items, false);
}

void say_visit_brief(struct buf *out, unsigned items)
{
    say_items(out, items, true);
}

/* ---- one reading ----------------------------------------------------------------- */

static const char *status_word(enum reading_status s)
{
    static const char *const words[] = { [READING_FINAL] = "final",
                                         [READING_CORRECTED] = "corrected",
                                         [READING_PRELIMINARY] = "preliminary",
                                         [READING_WITHDRAWN] = "withdrawn" };

    return words[s];
}

static void say_what(const struct reading *r, struct buf *out)
{
    const struct quantity_info *info = quantity_info(r->quantity);

    if (info->kind == VALUE_CODE) {
        buf_puts(out, sign_info(r->sign)->display);
        if (!r->present)
            buf_puts(out, ": looked for and not found");
    } else if (info->kind == VALUE_FLAG) {
        buf_printf(out, "%s: %s", info->display, r->value > 0.5 ? "yes" : "no");
    } else {
        if (r->quantity != Q_ACCESS_FLOW)
            buf_printf(out, "%s ", info->display);
        if (isfinite(r->value))
            say_value(out, r->quantity, r->value, r->bound, NAN);
        else
            buf_puts(out, "without a value");
    }
}

void wording_reading(const struct reading *r, const struct zone *zone,
                     struct buf *out)
{
    say_what(r, out);
    buf_puts(out, " ");
    say_when(r, zone, out);
    if (quantity_info(r->quantity)->scope == SCOPE_ARM &&
        r->side != SIDE_UNKNOWN)
        buf_printf(out, ", %s", r->side == SIDE_LEFT ? "left" : "right");
    if (r->quantity == Q_ACCESS_FLOW || r->method != METHOD_UNSTATED)
        buf_printf(out, ", %s", method_display(r->method));
    buf_printf(out, ", %s", status_word(r->status));
}
