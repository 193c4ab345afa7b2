/*
 * reading - one measured quantity of one access at one time
 *
 * Values are in the unit of quantity_info(); times are UTC seconds since
 * 1970-01-01.  A time is the half-open interval [start_s, end_s) that the
 * sender's precision leaves open: a second, a day, a month, a year, or the
 * period during which it was measured.
 */
#ifndef HEADGATE_PLANNER_READING_H
#define HEADGATE_PLANNER_READING_H

#include "planner/quantity.h"
#include "planner/sign.h"

#include <stdint.h>

enum { HOUR_S = 3600, DAY_S = 86400 };

enum reading_status {
    READING_FINAL,       /* final */
    READING_CORRECTED,   /* amended or corrected: used like final */
    READING_PRELIMINARY, /* preliminary, registered, unknown: never confirms */
    READING_WITHDRAWN    /* cancelled or entered in error: not used */
};

enum precision { AT_SECOND, AT_PERIOD, AT_DAY, AT_MONTH, AT_YEAR };

enum bound {
    BOUND_NONE,     /* the value itself */
    BOUND_BELOW,    /* < value */
    BOUND_AT_MOST,  /* <= value */
    BOUND_AT_LEAST, /* >= value */
    BOUND_ABOVE     /* > value */
};

enum side { SIDE_UNKNOWN, SIDE_LEFT, SIDE_RIGHT };

enum method {
    METHOD_UNSTATED = 0,
    METHOD_ULTRASOUND_DILUTION,
    METHOD_THERMODILUTION,
    METHOD_IONIC_DIALYSANCE,
    METHOD_CONSTANT_INFUSION,
    METHOD_DUPLEX,
    METHOD_COUNT
};

/* Code in CodeSystem av-method ("" for unstated) and words for people. */
const char *method_code(enum method m);
const char *method_display(enum method m);
MUST_CHECK enum err method_by_code(const char *code, size_t len,
                                   enum method *m);

struct reading {
    int64_t id;  /* the store's number of the resource it came in */
    int version; /* of that resource */
    int slot;    /* 0 the resource's own value, 1.. its components */
    enum quantity quantity;
    enum reading_status status;
    int64_t start_s, end_s;
    enum precision precision;
    double value; /* VALUE_NUMBER, VALUE_FLAG; NAN for VALUE_CODE */
    enum bound bound;
    enum sign sign; /* VALUE_CODE */
    bool present;   /* VALUE_CODE: the sign was seen (false: looked for
                        and not found) */
    enum method method;
    enum side side;
};

/* A value that measured something: neither withdrawn nor preliminary. */
bool reading_counts(const struct reading *r);

/* A sign that is an emergency by itself, whatever its status: new weakness,
 * numbness of a nerve territory, tissue loss, a cold pulseless hand, a lost
 * thrill, bleeding that does not stop, threatened rupture, sepsis, an exposed
 * graft. */
bool reading_is_emergency(const struct reading *r);

/* Could a reading of this quantity be one, as long as nobody knows its value?
 * asked: the sign that a question asks for; SIGN_NONE: any of the quantity. */
bool reading_may_be_emergency(enum quantity quantity, enum sign asked);

/* Certainly above-or-at, or below, a limit, bounds considered. */
bool reading_at_least(const struct reading *r, double limit);
bool reading_below(const struct reading *r, double limit);

#endif
