/*
 * poll_side - all that comes in from the record: opened, told, closed together
 */
#ifndef HEADGATE_SERVICE_POLL_SIDE_H
#define HEADGATE_SERVICE_POLL_SIDE_H

#include "service/bulk.h"
#include "service/follow.h"
#include "service/hook_arm.h"
#include "service/poll.h"

struct poll_side;

struct poll_side_options {
    struct poll_options poll;
    bool follows; /* there are deliveries that may be marked */
    void (*on_looks)(void *arg);
    void *arg;
};

MUST_CHECK enum err poll_side_open(const struct poll_side_options *options,
                                   struct poll_side **side, struct buf *why);
/* on_closed from the loop. */
void poll_side_close(struct poll_side *side, void (*on_closed)(void *arg),
                     void *arg);

void poll_side_learn(struct poll_side *side,
                     const struct fhir_record_says *says);
/* NULL before it is open. */
struct bulk *poll_side_bulk(struct poll_side *side);
/* There is something new there. */
void poll_side_kick(struct poll_side *side);

struct poll_side_view {
    struct poll_view poll;
    struct follow_view follow;
    struct bulk_view bulk;
    struct hook_arm_view arm; /* count 0: the record is not asked */
    bool follows;
};
void poll_side_look(const struct poll_side *side, struct poll_side_view *view);
/* What is wrong, a line each. */
void poll_side_say(const struct poll_side_view *view, struct buf *out);
/* Prometheus text. */
void poll_side_metrics(const struct poll_side_view *view, int64_t now_ms,
                       struct buf *out);

#endif
