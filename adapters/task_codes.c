#include "adapters/task_codes.h"

#include <stdio.h>

static const struct task_code codes[TASK_CODE_COUNT] = {
    [TASK_CODE_REFER_FLOW] = { "refer-flow-review",
                               "Suggest access flow review",
                               "A suggestion that the access be reviewed, "
                               "because it seems to flow too high." },
    [TASK_CODE_REFER_HAND] = { "refer-hand-review",
                               "Suggest assessment of the hand",
                               "A suggestion that the hand of the access arm "
                               "be assessed for ischaemia." },
    [TASK_CODE_REFER_LOW_FLOW] = { "refer-low-flow-review",
                                   "Suggest examination for low access flow",
                                   "A suggestion that the access be examined, "
                                   "because it seems to flow too low." },
    [TASK_CODE_HIGH_FLOW] = { "high-flow", "High access flow",
                              "Flow, or its share of the cardiac output, at "
                              "or above a limit of the site's policy." },
    [TASK_CODE_HAND_ISCHAEMIA] = { "hand-ischaemia",
                                   "Ischaemia of the access hand",
                                   "Signs or finger pressures that may mean "
                                   "ischaemia of the access hand." },
    [TASK_CODE_LOW_FLOW] = { "low-flow", "Low access flow",
                             "Flow below a limit of the site's policy." },
    [TASK_CODE_AWAITING] = { TASK_AWAITING, "Awaiting review",
                             "Put to people; nobody has answered yet." },
    [TASK_CODE_SUGGESTED] = { "machine-suggested", "Suggested by a machine",
                              "Made by fixed rules from readings; a qualified "
                              "clinician decides." },
};

static const struct task_code inputs[] = {
    [INPUT_TRIGGER] = { "trigger", "Reading that the suggestion rests on",
                        "A reference to an Observation (valueReference)." },
    [INPUT_THRESHOLD] = { "threshold", "Limit in force at this site",
                          "A number with its unit (valueQuantity), or a grade "
                          "in words (valueString)." },
    [INPUT_DUE] = { "due", "Day by which to measure again",
                    "A date (valueDate)." },
};

static const struct {
    enum task_code_id referral, reason;
} groups[GROUP_COUNT] = {
    [GROUP_FLOW] = { TASK_CODE_REFER_FLOW, TASK_CODE_HIGH_FLOW },
    [GROUP_HAND] = { TASK_CODE_REFER_HAND, TASK_CODE_HAND_ISCHAEMIA },
    [GROUP_LOW_FLOW] = { TASK_CODE_REFER_LOW_FLOW, TASK_CODE_LOW_FLOW },
};

const struct task_code *task_code(enum task_code_id id)
{
    return &codes[id];
}

const struct task_code *task_code_referral(enum group group)
{
    return task_code(groups[group].referral);
}

const struct task_code *task_code_reason(enum group group)
{
    return task_code(groups[group].reason);
}

void task_code_repeat(enum quantity q, char code[TASK_CODE_SIZE])
{
    snprintf(code, TASK_CODE_SIZE, "repeat-%s", quantity_info(q)->code);
}

const struct task_code *task_code_input(enum fhir_input_kind kind)
{
    return (size_t)kind < COUNT(inputs) ? &inputs[kind] : NULL;
}
