/*
 * task_codes - the codes that our Tasks carry, with their words
 *
 * CodeSystem av-task (Task.code, reasonCode, businessStatus and the tag of
 * meta) and CodeSystem av-task-io (Task.input.type).  What is sent and what
 * is published (fhir_codesystem) come from the same rows.
 */
#ifndef HEADGATE_ADAPTERS_TASK_CODES_H
#define HEADGATE_ADAPTERS_TASK_CODES_H

#include "adapters/fhir_write.h"
#include "planner/rules.h"

/* Known by name: these business statuses are ours to take away. */
#define TASK_AWAITING "awaiting-review"
#define TASK_PUT_OFF  "put-off"

enum task_code_id {
    /* Task.code of a suggestion */
    TASK_CODE_REFER_FLOW,
    TASK_CODE_REFER_HAND,
    TASK_CODE_REFER_LOW_FLOW,
    TASK_CODE_REFER_DOSE,
    TASK_CODE_REFER_AFTER_BAND,
    TASK_CODE_REFER_FOLLOW_UP,
    TASK_CODE_REFER_BLEEDING,
    TASK_CODE_REFER_INFECTION,
    /* Task.reasonCode */
    TASK_CODE_HIGH_FLOW,
    TASK_CODE_HAND_ISCHAEMIA,
    TASK_CODE_LOW_FLOW,
    TASK_CODE_LOW_DOSE,
    TASK_CODE_AFTER_BAND,
    TASK_CODE_OVERDUE,
    TASK_CODE_BLEEDING,
    TASK_CODE_INFECTION,
    /* Task.code of a reminder that a follow-up is due */
    TASK_CODE_FOLLOW_UP,
    /* Task.businessStatus while nobody has answered */
    TASK_CODE_AWAITING,
    /* meta.tag of every Task */
    TASK_CODE_SUGGESTED,
    /* List.code of the list of a dialysis unit */
    TASK_CODE_UNIT_LIST,
    /* Task.businessStatus while a person has put it off */
    TASK_CODE_PUT_OFF,
    TASK_CODE_COUNT
};

struct task_code {
    const char *code, *display, *definition;
};

/* The row of a code; id must be below TASK_CODE_COUNT. */
const struct task_code *task_code(enum task_code_id id);

/* Task.code and Task.reasonCode of the suggestions of a group. */
const struct task_code *task_code_referral(enum group group);
const struct task_code *task_code_reason(enum group group);

/* Task.code of a reminder: one for each quantity that is measured as a
 * number ("repeat-access-flow"); the display is the same for all. */
enum { TASK_CODE_SIZE = 64 };
#define TASK_REPEAT_DISPLAY "Measure again to confirm"
void task_code_repeat(enum quantity q, char code[TASK_CODE_SIZE]);

/* Task.code of the reminder that a follow-up after a band is due. */
const struct task_code *task_code_follow_up(void);

/* Task.input.type of a kind of input; NULL if there is no such kind. */
const struct task_code *task_code_input(enum fhir_input_kind kind);

#endif
