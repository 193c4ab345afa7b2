/*
 * hook_arm - the record is asked to call us: its Subscriptions are kept alive
 *
 * Loop thread.  For readings and for our Tasks, one after the other:
 *
 *     LOADING --> READING    the one we know: does it live, and how long yet?
 *        |           +--> ok: looked at again in a while
 *        +--> SEEKING   one with our address and criteria, from before
 *               +--> RENEWING (PUT)  or  MAKING (POST)   status "requested"
 *               +--> SAVING
 *
 * An R4 Subscription has no identifier, so that before one is made it is
 * sought by address and criteria: an answer that got lost makes no second one.
 * Where the record gives it up (status "error" or "off") it is asked again,
 * after longer and longer waits.  It stays when the service ends: what is
 * called meanwhile in vain is found by the poll.
 *
 * Source: HL7 FHIR R4 (4.0.1), subscription.html.
 */
#ifndef HEADGATE_SERVICE_HOOK_ARM_H
#define HEADGATE_SERVICE_HOOK_ARM_H

#include "service/config.h"
#include "service/record.h"
#include "service/store.h"

struct hook_arm;

struct hook_arm_options {
    uv_loop_t *loop;
    struct store *store;
    struct record *record;
    const struct config *config; /* borrowed; record_subscribe is true */
    bool tasks;                  /* also for our Tasks */
    int64_t (*now_ms)(void);
};

/* ERR_IO the token file cannot be read: see why; ERR_MEMORY */
MUST_CHECK enum err hook_arm_open(const struct hook_arm_options *options,
                                  struct hook_arm **arm, struct buf *why);
void hook_arm_close(struct hook_arm *arm, void (*on_closed)(void *arg),
                    void *arg);

enum arm_state {
    ARM_UNKNOWN, /* not looked at yet */
    ARM_ASKED,   /* "requested": the record has not said yes yet */
    ARM_ACTIVE,
    ARM_GIVEN_UP, /* "error" or "off": asked again later */
    ARM_REFUSED   /* the record does not take it */
};
enum { ARM_COUNT = 2 };

struct hook_arm_view {
    struct {
        const char *name; /* "Observation", "Task" */
        enum arm_state state;
        long status; /* of a refusal */
    } list[ARM_COUNT];
    size_t count;
};
void hook_arm_look(const struct hook_arm *arm, struct hook_arm_view *view);
void hook_arm_say(const struct hook_arm_view *view, struct buf *out);

#endif
