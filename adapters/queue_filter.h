/*
 * queue_filter - a part of the queue, and what is said of the rest
 *
 * A filter never hides a sign of emergency that is held back, unless it is of
 * another unit than was asked for and that unit is known: whose it is has still
 * to be found out.  What a filter hides is counted, and said.
 */
#ifndef HEADGATE_ADAPTERS_QUEUE_FILTER_H
#define HEADGATE_ADAPTERS_QUEUE_FILTER_H

#include "adapters/queue_write.h"

enum queue_state {
    QUEUE_ANY,
    QUEUE_OPEN,    /* nobody has it in hand, and it is not put off */
    QUEUE_TAKEN,   /* a person has it in hand */
    QUEUE_PUT_OFF, /* until a day that has not come */
    QUEUE_OVERDUE  /* its day has passed; in hand or not */
};

enum { QUEUE_RULES_MAX = 32 };

struct queue_filter {
    const char *unit;       /* NULL: of all; borrowed, as all here */
    bool no_unit;           /* those whose unit is not known, instead */
    enum queue_state state; /* QUEUE_ANY: whatever it is */
    const char *rules[QUEUE_RULES_MAX]; /* any of these: "HF-1" */
    size_t rule_count;                  /* 0: any */
    const char *access;                 /* as it was asked for; NULL: any */
    const int64_t *accesses;            /* which ones that means */
    size_t access_count;
};

/* What is not shown. */
struct queue_hidden {
    size_t rows, phone_now, overdue;
};

/* "open", "taken", "put-off", "overdue"; false: none of them. */
bool queue_state_read(const char *word, enum queue_state *state);
/* "HF-1" in any capitals: the id as it is written, or NULL. */
const char *queue_rule_read(const char *word);
/* Does this text ask for patients whose unit is not known?  The words that the
 * list shows for them, in English or in the language of the site. */
bool queue_asks_no_unit(const char *unit);
/* Two names of one unit: capitals of ASCII and blanks at the ends do not
 * count. */
bool queue_is_unit(const char *a, const char *b);

bool queue_filter_any(const struct queue_filter *f);

/* Is the row shown?  now_s, zone: as of queue_options. */
bool queue_filter_takes(const struct queue_filter *f,
                        const struct queue_row *row, int64_t now_s,
                        const struct zone *zone);

/*
 * queue_filter_apply - rows that are shown, moved to the front
 *
 * Returns how many; hidden: of the others.
 */
size_t queue_filter_apply(const struct queue_filter *f, struct queue_row *rows,
                          size_t count, int64_t now_s, const struct zone *zone,
                          struct queue_hidden *hidden);

/* "Only a part is shown: unit Corvane West; state overdue. Not shown: 12 ..." */
void queue_filter_say(const struct queue_filter *f,
                      const struct queue_hidden *hidden, struct buf *out);

/* One object and a line feed, kind "not-shown": count, phone_now, overdue, and
 * what was asked for (unit, state, rules, access; null where it was not). */
void queue_filter_json(const struct queue_filter *f,
                       const struct queue_hidden *hidden, struct buf *out);

#endif
