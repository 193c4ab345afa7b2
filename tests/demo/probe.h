/*
 * probe - a feed of the demo made and read back, for the tests of it
 *
 * Inside tests only.
 */
#ifndef HEADGATE_TESTS_DEMO_PROBE_H
#define HEADGATE_TESTS_DEMO_PROBE_H

#include "tests/demo/demo.h"
#include "tests/demo/observe.h"

enum { PROBE_MAX = 64 * 1024 * 1024 };

/* The code map with the maps of the demo, and the zone of dates. */
struct probe {
    struct codes *codes;
    struct zone *zone;
};

/* dir: config/demo.  On any error, why says what. */
MUST_CHECK enum err probe_open(const char *dir, struct probe *probe,
                               struct buf *why);
void probe_close(struct probe *probe);

/* Make a feed; out is initialised here and to be cleared by the caller. */
MUST_CHECK enum err probe_feed(int64_t end_day, uint64_t seed, size_t bundle,
                               struct buf *out);

/* Make a feed and read it back; free() the result.  NULL: line holds what was
 * not understood. */
struct observed_feed *probe_observe(const struct probe *probe, int64_t end_day,
                                    uint64_t seed, struct buf *line);

/* A whole file; out is initialised here. */
MUST_CHECK enum err probe_file(const char *dir, const char *name,
                               struct buf *out);

#endif
