/*
 * observe - read a feed of the demo back, by nothing but its bytes
 *
 * For tests.  Knows FHIR and the code map, and nothing of how the feed was
 * made.
 */
#ifndef HEADGATE_TESTS_DEMO_OBSERVE_H
#define HEADGATE_TESTS_DEMO_OBSERVE_H

#include "adapters/codes.h"
#include "adapters/zone.h"

enum { OBSERVED_MAX = 12000, OBSERVED_NAME = 48 };

struct observed {
    int patient;              /* 101 for Patient/p-0101 or identifier 0101 */
    char name[OBSERVED_NAME]; /* of the Observation: system|value */
    char access[16];          /* "0110-2", "" where none is named */
    char status[20];
    enum quantity quantity; /* Q_NONE: the code is not known */
    double value;           /* in the unit used inside; NAN for signs */
    enum bound bound;
    enum sign sign;
    enum method method;
    double ago_days; /* before the end of the demo; NAN if not said */
    bool replaced;   /* a later version has come */
};

struct observed_feed {
    size_t count;
    struct observed list[OBSERVED_MAX];
    size_t patients, accesses, observations;
    size_t unknown_codes, unknown_methods;
};

struct observer {
    const struct codes *codes;
    const struct zone *zone; /* of dates without a time */
    int64_t end_day;
};

/*
 * observe_line - read one resource
 *
 * ERR_FORM   not JSON (duplicate keys included), or an element is missing
 * ERR_LIMIT  more readings than a feed can have
 */
MUST_CHECK enum err observe_line(const struct observer *by,
                                 struct observed_feed *feed, const char *line,
                                 size_t len);

#endif
