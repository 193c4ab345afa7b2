/*
 * civil - days since 1970-01-01 as calendar dates, and back
 *
 * Proleptic Gregorian calendar, years 0..9999, no zones.
 */
#ifndef HEADGATE_ADAPTERS_CIVIL_H
#define HEADGATE_ADAPTERS_CIVIL_H

#include "planner/reading.h" /* DAY_S */
#include <stdbool.h>

#include <stdint.h>

struct civil {
    int year, month, day; /* month 1..12, day 1..31 */
};

bool civil_is_leap(int year);
int civil_days_in_month(int year, int month);

/* Days since 1970-01-01; month 1..12, any day. */
int64_t civil_to_day(int year, int month, int day);
struct civil civil_of_day(int64_t day);

/* The day that a second lies in; also right before 1970. */
int64_t civil_day_of_s(int64_t at_s);

#endif
