/*
 * hl7_time - dates and times of HL7 v2 as FHIR writes them
 *
 *     YYYY[MM[DD[HH[MM[SS[.S+]]]]]][+/-ZZZZ]   DTM, TS, DT
 *     HHMM[SS[.S+]]                            TM
 *
 * What is left out at the end is not known, and stays so.  A time without an
 * offset is the sender's local time.  -0000 and +0000 both mean UTC (HL7 v2.5.1
 * and every version before 2.9).
 *
 * Sources: HL7 v2.5.1, 2.A.22 (DTM), 2.A.77 (TS, with its old second component),
 * 2.A.75 (TM); HL7 FHIR R4, dateTime, instant, time.
 */
#ifndef HEADGATE_ADAPTERS_HL7_TIME_H
#define HEADGATE_ADAPTERS_HL7_TIME_H

#include "adapters/zone.h"

#include <stdbool.h>

enum hl7_precision {
    HL7_YEAR,
    HL7_MONTH,
    HL7_DAY,
    HL7_HOUR,
    HL7_MINUTE, /* FHIR wants seconds: written as zero, as R4 allows */
    HL7_SECOND
};

enum { HL7_TIME_SIZE = 48 };

struct hl7_time {
    enum hl7_precision precision;
    int64_t start_s, end_s;   /* UTC; what it may mean, half open */
    char text[HL7_TIME_SIZE]; /* FHIR dateTime; of an hour, its first second */
    char last[HL7_TIME_SIZE]; /* of an hour, its last second; else "" */
    bool has_offset;          /* the sender said how far it is from UTC */
    int32_t offset_s;
    bool twice;   /* the clocks show this time twice, and nothing says which is
                     meant: the first was taken */
    bool skipped; /* they leave it out: the moment they change was taken */
};

/* Where a time without an offset is local. */
struct hl7_here {
    const struct zone *zone;
    bool fixed; /* at this distance from UTC all the year; dates stay those of
                   the zone */
    int32_t offset_s;
    bool told; /* of a time that the clocks show twice, that is meant which is
                  at this distance, if it is not after sent_s */
    int64_t sent_s;
};

/*
 * hl7_here_of - what an MSH-7 says of the times of its message
 *
 * Its offset is the default of the whole message (HL7 v2.5.1, 2.15.9.7).  Where
 * it is the one that the sender's zone has at that moment, the zone says more:
 * results of last summer are told in winter.  Then it still tells which of the
 * two is meant where summer time ends and the clocks show an hour twice.
 */
struct hl7_here hl7_here_of(const struct zone *zone,
                            const struct hl7_time *sent);

/*
 * hl7_time_read - a DTM, a DT, or the first component of a TS
 *
 * degree  the second component of a TS, which names the precision (Y, L, D, H,
 *         M, S) and cuts off what stands beyond it; "" none
 * here    of the sender, for a time without an offset and for dates
 *
 * ERR_FORM   another form, a day or a time that does not exist (24:00 and a
 *            second 60 among them), an offset beyond 14 hours
 * ERR_RANGE  a year outside 1900..2199
 */
MUST_CHECK enum err hl7_time_read(const char *text, const char *degree,
                                  const struct hl7_here *here,
                                  struct hl7_time *out);

/*
 * hl7_clock_read - a TM as a FHIR time: "08:30:00"
 *
 * ERR_FORM  another form; an hour alone and an offset have none in FHIR
 */
MUST_CHECK enum err hl7_clock_read(const char *text, char out[HL7_TIME_SIZE]);

#endif
