/*
 * hook_arm_work - what the files of hook_arm share; private to them
 *
 *     hook_arm.c       what is asked of the record
 *     hook_arm_open.c  opening, closing, how it goes
 */
#ifndef HEADGATE_SERVICE_HOOK_ARM_WORK_H
#define HEADGATE_SERVICE_HOOK_ARM_WORK_H

#include "service/hook_arm.h"
#include "service/resources.h"

enum { ARM_TEXT_MAX = 65536 };

enum arm_step {
    ARM_IDLE,
    ARM_LOADING,
    ARM_READING,
    ARM_SEEKING,
    ARM_WRITING,
    ARM_SAVING
};

struct armed {
    const char *name;
    struct buf criteria;
    char remote[FID_SIZE]; /* "" none is known */
    int64_t end_s;
    int tries; /* failures or refusals in a row */
    int asked; /* looks in a row at which it was still "requested" */
    int64_t due_ms;
    enum arm_state state;
    long status;
};

struct hook_arm {
    struct hook_arm_options options;
    struct armed list[ARM_COUNT];
    size_t count, at;
    char *token; /* NULL: none */
    uv_timer_t timer;
    struct record_call *call;
    struct store_job job;
    enum arm_step step;
    bool no_condition; /* the record does not know If-None-Exist here */
    bool closing;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

void arm_go(struct hook_arm *a, enum arm_step next);
/* Once no job runs. */
void arm_close_if_done(struct hook_arm *a);

#endif
