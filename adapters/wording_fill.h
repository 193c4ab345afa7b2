/*
 * wording_fill - sentences of the catalogue with named places; private to the
 * files of wording
 */
#ifndef HEADGATE_ADAPTERS_WORDING_FILL_H
#define HEADGATE_ADAPTERS_WORDING_FILL_H

#include "adapters/catalogue.h"
#include "adapters/wording.h"

enum { FILL_MAX = 10 };

/*
 * A sentence with named places, "Limit at this site: {limit} ({rule}).": the
 * places are filled in any order, then it is said and all is freed.  It begins
 * as { 0 }.  A place that a text does not have is left out.
 */
struct fill {
    size_t count;
    const char *names[FILL_MAX];
    struct buf texts[FILL_MAX];
};

/* Where to write what stands at a place. */
struct buf *fill_at(struct fill *f, const char *name);
/* That of the last place, to write more. */
struct buf *fill_last(struct fill *f);
void fill_text(struct fill *f, const char *name, const char *text);
void fill_count(struct fill *f, const char *name, long long count);
void fill_number(struct fill *f, const char *name, double value, int decimals);
void fill_limit(struct fill *f, const char *name, const struct wording *w,
                enum param p);
/* {rule}: "HF-1" */
void fill_rule(struct fill *f, const struct finding *finding);
/* text: of the catalogue; f is empty again after it */
void fill_say(struct fill *f, const char *text, struct buf *out);

/* A blank between two sentences, where one is needed; and with the next. */
void say_blank(struct buf *out);
void say_next(struct buf *out, const char *text);

#endif
