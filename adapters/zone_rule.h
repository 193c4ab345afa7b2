/*
 * zone_rule - the yearly rule at the end of a zone file
 *
 * "CET-1CEST,M3.5.0,M10.5.0/3": standard time, summer time, and the days of
 * each year on which one becomes the other.  Part of the module zone.
 *
 * Source: POSIX.1-2017, XBD 8.3, TZ; with the hours -167..167 of RFC 8536.
 */
#ifndef HEADGATE_ADAPTERS_ZONE_RULE_H
#define HEADGATE_ADAPTERS_ZONE_RULE_H

#include "planner/err.h"

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct zone_rule_day {
    enum {
        RULE_WEEKDAY, /* Mm.w.d: the w-th weekday d of month m, 5 the last */
        RULE_JULIAN,  /* Jn: day 1..365, 29 February is not counted */
        RULE_ORDINAL  /* n: day 0..365, 29 February is counted */
    } kind;
    int month, week, day;
    int32_t time_s; /* local time of that day, may lie in another day */
};

struct zone_rule {
    int32_t standard_s, summer_s; /* east of UTC */
    bool has_summer;
    struct zone_rule_day summer_from, summer_to; /* if has_summer */
};

/* Read a rule of len bytes; ERR_FORM if it is none. */
MUST_CHECK enum err zone_rule_read(const char *text, size_t len,
                                   struct zone_rule *out);

/* Seconds east of UTC at at_s. */
int32_t zone_rule_offset_s(const struct zone_rule *rule, int64_t at_s);

/* The first change after at_s; INT64_MAX if there is none. */
int64_t zone_rule_next_s(const struct zone_rule *rule, int64_t at_s);

#endif
