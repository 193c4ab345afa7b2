/*
 * timeline_work - what the files of the timeline share; private to them
 *
 *     timeline.c       its entries, from the history and what was said
 *     timeline_next.c  what is due
 *     timeline_say.c   each entry in words
 *     timeline_text.c  the page for a person
 *     timeline_json.c  the lines for programs
 */
#ifndef HEADGATE_ADAPTERS_TIMELINE_WORK_H
#define HEADGATE_ADAPTERS_TIMELINE_WORK_H

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/timeline.h"

struct timeline_day {
    char text[FHIR_TIME_SIZE]; /* "2026-03-06" */
};
struct timeline_day timeline_day(const struct timeline_source *s, int64_t at_s);

/* What a suggestion is about, in the language of the site. */
const char *timeline_group(enum group g);

/* One entry, without its date and line feed. */
void timeline_say(const struct timeline_source *s,
                  const struct timeline_entry *e, struct buf *out);

#endif
