#include "adapters/case_line.h"

#include "adapters/catalogue.h"

#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_MAX = 8, WORD_SIZE = 32 };

/* A line taken apart. */
struct words {
    size_t count;
    char list[WORDS_MAX][WORD_SIZE];
};

struct form {
    const char *word;
    enum quantity quantity;
    size_t most;     /* numbers after it */
    const char *how; /* how it is written */
};

static const struct form forms[] = {
    { "flow", Q_ACCESS_FLOW, CASE_ENTRIES_MAX,
      N_("flow 1760 1700 (mL/min, one to four readings)") },
    { "dowel", Q_DOWEL_DIAMETER, 1, N_("dowel 4.0 (outer diameter in mm)") },
    { "stretch", Q_BAND_STRETCHED, 1,
      N_("stretch 5 (diameter of the balloon in mm)") },
    { "cut", Q_BAND_RELEASED, 0, N_("cut, with nothing after it") },
    { "pressure", Q_MEAN_PRESSURE, 1,
      N_("pressure 131/72, or the mean alone: pressure 91 (mmHg)") },
    { "index", Q_DIGITAL_BRACHIAL_INDEX, 1,
      N_("index 0.55 (finger over the other arm)") },
    { "thrill", Q_THRILL, 1,
      N_("thrill present, thrill weak or thrill absent") },
};

static enum err not_so(const struct form *form, struct buf *why)
{
    /* TRANSLATORS: an example of a line to be typed; words of commands stay
     * English */
    buf_printf(why, _("write it so: %s"), _(form->how));
    return ERR_FORM;
}

static enum err take_apart(const char *text, struct words *w, struct buf *why)
{
    w->count = 0;
    while (*(text += strspn(text, " \t")) != '\0') {
        size_t len = strcspn(text, " \t");

        if (w->count == WORDS_MAX || len >= WORD_SIZE) {
            buf_puts(why, _("this line is too long"));
            return ERR_FORM;
        }
        for (size_t i = 0; i < len; i++)
            w->list[w->count][i] = (char)tolower((unsigned char)text[i]);
        w->list[w->count++][len] = '\0';
        text += len;
    }
    if (w->count > 0)
        return ERR_OK;
    buf_puts(why, _("nothing was typed"));
    return ERR_FORM;
}

/* "09:25" */
static bool read_minute(const char *text, int *minute)
{
    bool good = strlen(text) == 5 && isdigit((unsigned char)text[0]) &&
                isdigit((unsigned char)text[1]) && text[2] == ':' &&
                isdigit((unsigned char)text[3]) &&
                isdigit((unsigned char)text[4]);
    int hour;

    if (!good)
        return false;
    hour = 10 * (text[0] - '0') + text[1] - '0';
    *minute = 60 * hour + 10 * (text[3] - '0') + text[4] - '0';
    return hour < 24 && text[3] < '6';
}

/* "... at 09:25", which is taken off. */
static enum err take_time(struct words *w, int *minute, struct buf *why)
{
    *minute = -1;
    if (w->count < 2 || strcmp(w->list[w->count - 2], "at") != 0) {
        if (strcmp(w->list[w->count - 1], "at") != 0)
            return ERR_OK;
    } else if (read_minute(w->list[w->count - 1], minute)) {
        w->count -= 2;
        if (w->count > 0)
            return ERR_OK;
    }
    buf_puts(why, _("the time is written so: at 09:25"));
    return ERR_FORM;
}

/* A plain decimal: no sign, exponent, or hexadecimal. */
static bool read_number(const char *text, double *value)
{
    char plain[WORD_SIZE];
    size_t len = strlen(text), marks = 0;

    for (size_t i = 0; i < len; i++) {
        bool mark = text[i] == '.' || text[i] == ',';

        marks += mark;
        if (!mark && !isdigit((unsigned char)text[i]))
            return false;
        plain[i] = (char)(mark ? '.' : text[i]);
    }
    plain[len] = '\0';
    *value = strtod(plain, NULL);
    return len > 0 && marks <= 1 && isdigit((unsigned char)plain[0]) &&
           isdigit((unsigned char)plain[len - 1]);
}

/* No plan is made of what lies outside, see plan_check(): taken, it would stand
 * in the way of every plan until it is taken back. */
static bool can_be_planned(enum quantity q, double value)
{
    static const struct {
        enum quantity quantity;
        double least, most;
    } rows[] = { { Q_ACCESS_FLOW, 50, 8000 },
                 { Q_DOWEL_DIAMETER, 1.5, 8 },
                 { Q_MEAN_PRESSURE, 40, 180 },
                 { Q_DIGITAL_BRACHIAL_INDEX, 0, 1.5 } };

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (rows[i].quantity == q)
            return value >= rows[i].least && value <= rows[i].most;
    }
    return true;
}

static enum err add(struct case_line *line, enum quantity q, double value,
                    struct buf *why)
{
    const struct quantity_info *info = quantity_info(q);
    enum plausible p = quantity_judge(q, value);

    if (p == PLAUSIBLE_NOT || p == PLAUSIBLE_WRONG_UNIT ||
        !can_be_planned(q, value)) {
        struct buf number;

        buf_init(&number, 64);
        catalogue_number(&number, value, value < 10.0 ? 2 : 0);
        /* TRANSLATORS: a number, its unit; "0.40 mL/min cannot be" */
        buf_printf(why, _("%1$s %2$s cannot be: look at number and unit"),
                   number.data, info->unit);
        buf_clear(&number);
        return ERR_RANGE;
    }
    line->entries[line->count++] =
        (struct case_entry){ .quantity = q, .value = value };
    return ERR_OK;
}

/* "131/72" */
static enum err read_pair(const struct form *form, const char *text,
                          struct case_line *line, struct buf *why)
{
    const char *slash = strchr(text, '/');
    size_t len = (size_t)(slash - text);
    char upper[WORD_SIZE];
    double systolic, diastolic;
    enum err e;

    memcpy(upper, text, len);
    upper[len] = '\0';
    if (!read_number(upper, &systolic) || !read_number(slash + 1, &diastolic) ||
        systolic <= diastolic ||
        !can_be_planned(Q_MEAN_PRESSURE,
                        diastolic + (systolic - diastolic) / 3.0))
        return not_so(form, why);
    e = add(line, Q_SYSTOLIC_PRESSURE, systolic, why);
    return e == ERR_OK ? add(line, Q_DIASTOLIC_PRESSURE, diastolic, why) : e;
}

static enum err read_thrill(const struct form *form, const char *text,
                            struct case_line *line, struct buf *why)
{
    static const struct {
        const char *word;
        enum sign sign;
    } words[] = { { "present", SIGN_THRILL_PRESENT },
                  { "weak", SIGN_THRILL_WEAK },
                  { "absent", SIGN_THRILL_ABSENT } };

    for (size_t i = 0; i < COUNT(words); i++) {
        if (strcmp(text, words[i].word) != 0)
            continue;
        line->entries[line->count++] = (struct case_entry){
            .quantity = Q_THRILL, .value = NAN, .sign = words[i].sign
        };
        return ERR_OK;
    }
    return not_so(form, why);
}

static enum err read_numbers(const struct form *form, const struct words *w,
                             struct case_line *line, struct buf *why)
{
    for (size_t i = 1; i < w->count; i++) {
        double value;
        enum err e;

        if (!read_number(w->list[i], &value))
            return not_so(form, why);
        e = add(line, form->quantity, value, why);
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err read_form(const struct form *form, const struct words *w,
                          struct case_line *line, struct buf *why)
{
    size_t after = w->count - 1;

    if (after > form->most || (after == 0 && form->most > 0))
        return not_so(form, why);
    if (form->quantity == Q_BAND_RELEASED)
        return add(line, form->quantity, 1.0, why);
    if (form->quantity == Q_THRILL)
        return read_thrill(form, w->list[1], line, why);
    if (form->quantity == Q_MEAN_PRESSURE && strchr(w->list[1], '/') != NULL)
        return read_pair(form, w->list[1], line, why);
    return read_numbers(form, w, line, why);
}

enum err case_line_read(const char *text, struct case_line *line,
                        struct buf *why)
{
    struct words w = { .count = 0 };
    enum err e = take_apart(text, &w, why);

    *line = (struct case_line){ .minute = -1 };
    if (e == ERR_OK)
        e = take_time(&w, &line->minute, why);
    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < COUNT(forms); i++) {
        if (strcmp(forms[i].word, w.list[0]) == 0)
            return read_form(&forms[i], &w, line, why);
    }
    buf_puts(why, _("a line begins with flow, dowel, stretch, cut, pressure, "
                    "index or thrill"));
    return ERR_FORM;
}

void case_entry_say(const struct case_entry *entry, struct buf *out)
{
    if (entry->quantity == Q_THRILL) {
        buf_printf(out, "thrill %s", sign_info(entry->sign)->code);
        return;
    }
    if (entry->quantity == Q_SYSTOLIC_PRESSURE ||
        entry->quantity == Q_DIASTOLIC_PRESSURE) {
        buf_printf(out, "%s pressure %.0f",
                   entry->quantity == Q_SYSTOLIC_PRESSURE ? "systolic"
                                                          : "diastolic",
                   entry->value);
        return;
    }
    for (size_t i = 0; i < COUNT(forms); i++) {
        if (forms[i].quantity != entry->quantity)
            continue;
        buf_puts(out, forms[i].word);
        if (forms[i].most > 0)
            buf_printf(out, " %.4g", entry->value);
    }
}
