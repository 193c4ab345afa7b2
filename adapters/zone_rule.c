#include "adapters/zone_rule.h"

#include "adapters/civil.h"

enum {

    OFFSET_HOURS_MAX = 24,
    CHANGE_HOURS_MAX = 167,
    CHANGES = 6 /* two a year, for the year and its neighbours */
};

struct cursor {
    const char *at, *end;
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static bool take(struct cursor *c, char wanted)
{
    if (c->at == c->end || *c->at != wanted)
        return false;
    c->at++;
    return true;
}

/* One to three digits. */
static bool take_number(struct cursor *c, int least, int most, int *out)
{
    const char *start = c->at;
    int n = 0;

    while (c->at < c->end && is_digit(*c->at) && c->at - start < 3)
        n = n * 10 + (*c->at++ - '0');
    *out = n;
    return c->at > start && n >= least && n <= most;
}

/* The name of a time, "CET" or "<+0530>"; it is of no use here. */
static bool take_name(struct cursor *c)
{
    bool quoted = take(c, '<');
    const char *start = c->at;

    while (c->at < c->end &&
           (is_letter(*c->at) ||
            (quoted && (is_digit(*c->at) || *c->at == '+' || *c->at == '-'))))
        c->at++;
    return c->at - start >= 3 && (!quoted || take(c, '>'));
}

/* [+-]hh[:mm[:ss]] in seconds */
static bool take_time(struct cursor *c, int hours_max, int32_t *out)
{
    bool negative = take(c, '-');
    int h, m = 0, s = 0;

    if (!negative)
        (void)take(c, '+');
    if (!take_number(c, 0, hours_max, &h))
        return false;
    if (take(c, ':')) {
        if (!take_number(c, 0, 59, &m))
            return false;
        if (take(c, ':') && !take_number(c, 0, 59, &s))
            return false;
    }
    *out = (h * 60 + m) * 60 + s;
    if (negative)
        *out = -*out;
    return true;
}

/* A POSIX offset counts west of UTC; ours counts east. */
static bool take_offset(struct cursor *c, int32_t *out)
{
    if (!take_time(c, OFFSET_HOURS_MAX, out))
        return false;
    *out = -*out;
    return true;
}

static bool take_day(struct cursor *c, struct zone_rule_day *day)
{
    bool good;

    *day = (struct zone_rule_day){ .time_s = 2 * HOUR_S };
    if (take(c, 'M')) {
        day->kind = RULE_WEEKDAY;
        good = take_number(c, 1, 12, &day->month) && take(c, '.') &&
               take_number(c, 1, 5, &day->week) && take(c, '.') &&
               take_number(c, 0, 6, &day->day);
    } else if (take(c, 'J')) {
        day->kind = RULE_JULIAN;
        good = take_number(c, 1, 365, &day->day);
    } else {
        day->kind = RULE_ORDINAL;
        good = take_number(c, 0, 365, &day->day);
    }
    if (good && take(c, '/'))
        good = take_time(c, CHANGE_HOURS_MAX, &day->time_s);
    return good;
}

static bool take_summer(struct cursor *c, struct zone_rule *rule)
{
    rule->has_summer = true;
    rule->summer_s = rule->standard_s + HOUR_S;
    if (!take_name(c))
        return false;
    if (c->at < c->end && *c->at != ',' && !take_offset(c, &rule->summer_s))
        return false;
    return take(c, ',') && take_day(c, &rule->summer_from) && take(c, ',') &&
           take_day(c, &rule->summer_to);
}

enum err zone_rule_read(const char *text, size_t len, struct zone_rule *out)
{
    struct cursor c = { text, text + len };
    struct zone_rule rule = { .has_summer = false };

    if (!take_name(&c) || !take_offset(&c, &rule.standard_s))
        return ERR_FORM;
    if (c.at < c.end && !take_summer(&c, &rule))
        return ERR_FORM;
    if (c.at != c.end)
        return ERR_FORM;
    *out = rule;
    return ERR_OK;
}

/* The w-th weekday of a month; 1970-01-01 was a Thursday, which is 4. */
static int64_t weekday_of_month(int year, const struct zone_rule_day *rule)
{
    int64_t first = civil_to_day(year, rule->month, 1);
    int weekday = (int)(((first + 4) % 7 + 7) % 7);
    int day = (rule->day - weekday + 7) % 7 + 7 * (rule->week - 1);

    if (day >= civil_days_in_month(year, rule->month))
        day -= 7;
    return first + day;
}

/* The local time of a change in a year. */
static int64_t change_local_s(int year, const struct zone_rule_day *rule)
{
    int64_t day = civil_to_day(year, 1, 1) + rule->day;

    if (rule->kind == RULE_WEEKDAY)
        day = weekday_of_month(year, rule);
    else if (rule->kind == RULE_JULIAN)
        day += (rule->day >= 60 && civil_is_leap(year)) - 1;
    return day * DAY_S + rule->time_s;
}

struct change {
    int64_t at_s;
    int32_t offset_s; /* from then on */
};

/*
 * Changes of the years around at_s.  Where summer time lasts for ever, it ends
 * in the second in which that of the next year begins: the later one counts.
 */
static void changes_around(const struct zone_rule *rule, int64_t at_s,
                           struct change out[CHANGES])
{
    int year = civil_of_day(civil_day_of_s(at_s)).year;

    for (int i = 0; i < CHANGES; i += 2) {
        int y = year - 1 + i / 2;

        out[i] = (struct change){
            change_local_s(y, &rule->summer_from) - rule->standard_s,
            rule->summer_s,
        };
        out[i + 1] = (struct change){
            change_local_s(y, &rule->summer_to) - rule->summer_s,
            rule->standard_s,
        };
    }
}

int32_t zone_rule_offset_s(const struct zone_rule *rule, int64_t at_s)
{
    struct change changes[CHANGES];
    struct change last = { INT64_MIN, rule->standard_s };

    if (!rule->has_summer)
        return rule->standard_s;
    changes_around(rule, at_s, changes);
    for (int i = 0; i < CHANGES; i++) {
        if (changes[i].at_s <= at_s && changes[i].at_s >= last.at_s)
            last = changes[i];
    }
    return last.offset_s;
}

int64_t zone_rule_next_s(const struct zone_rule *rule, int64_t at_s)
{
    struct change changes[CHANGES];
    int64_t next_s = INT64_MAX;

    if (!rule->has_summer)
        return next_s;
    changes_around(rule, at_s, changes);
    for (int i = 0; i < CHANGES; i++) {
        if (changes[i].at_s > at_s && changes[i].at_s < next_s)
            next_s = changes[i].at_s;
    }
    return next_s;
}
