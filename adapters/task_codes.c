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
    [TASK_CODE_REFER_DOSE] = { "refer-dose-review",
                               "Suggest review of the dialysis dose",
                               "A suggestion that the dose of dialysis be "
                               "reviewed, because it seems too low, or seems "
                               "to fall." },
    [TASK_CODE_REFER_AFTER_BAND] = { "refer-band-review",
                                     "Suggest review of the band",
                                     "A suggestion that whoever placed a band "
                                     "review it, because it seems too tight, "
                                     "not tight enough, or to give way." },
    [TASK_CODE_REFER_FOLLOW_UP] = { "refer-follow-up",
                                    "Suggest the follow-up after a band",
                                    "A suggestion that the follow-up of a "
                                    "banded access, which is overdue, be "
                                    "made." },
    [TASK_CODE_REFER_BLEEDING] = { "refer-bleeding", "Bleeding access: act now",
                                   "A suggestion that help be called at once, "
                                   "because the access bleeds or threatens to "
                                   "rupture." },
    [TASK_CODE_REFER_INFECTION] = { "refer-infection",
                                    "Suggest examination for infection",
                                    "A suggestion that the access be examined "
                                    "for infection." },
    [TASK_CODE_HIGH_FLOW] = { "high-flow", "High access flow",
                              "Flow, or its share of the cardiac output, at "
                              "or above a limit of the site's policy." },
    [TASK_CODE_HAND_ISCHAEMIA] = { "hand-ischaemia",
                                   "Ischaemia of the access hand",
                                   "Signs or finger pressures that may mean "
                                   "ischaemia of the access hand." },
    [TASK_CODE_LOW_FLOW] = { "low-flow", "Low access flow",
                             "Flow below a limit of the site's policy." },
    [TASK_CODE_LOW_DOSE] = { "low-dose", "Low dose of dialysis",
                             "Kt/V or urea reduction below a limit of the "
                             "site's policy, or below what it was." },
    [TASK_CODE_AFTER_BAND] = { "after-band", "Finding after a band",
                               "Flow, pressure, dose or the hand after a band "
                               "not as they should be." },
    [TASK_CODE_OVERDUE] = { "follow-up-overdue",
                            "Follow-up after a band overdue",
                            "What a follow-up after a band asks for has not "
                            "been recorded in time." },
    [TASK_CODE_BLEEDING] = { "access-bleeding",
                             "Bleeding, or threatened rupture, of the access",
                             "Bleeding that does not stop, or signs that the "
                             "access may rupture." },
    [TASK_CODE_INFECTION] = { "access-infection",
                              "Suspected infection of the access",
                              "Signs of infection at the access, or an "
                              "exposed graft." },
    [TASK_CODE_FOLLOW_UP] = { "follow-up-after-band", "Follow-up after a band",
                              "A reminder that a follow-up visit after a band "
                              "is due, with what is to be recorded." },
    [TASK_CODE_AWAITING] = { TASK_AWAITING, "Awaiting review",
                             "Put to people; nobody has answered yet." },
    [TASK_CODE_SUGGESTED] = { "machine-suggested", "Suggested by a machine",
                              "Made by fixed rules from readings; a qualified "
                              "clinician decides." },
    [TASK_CODE_UNIT_LIST] = { "unit-list",
                              "Patients of a dialysis unit with an open "
                              "suggestion",
                              "The patients of one dialysis unit for whom a "
                              "suggestion or a reminder is open." },
    [TASK_CODE_PUT_OFF] = { TASK_PUT_OFF, "Put off until a day",
                            "A person has put it off; a note of the Task says "
                            "until when, who and why.  It comes back on that "
                            "day, and before it if it worsens." },
};

static const struct task_code inputs[] = {
    [INPUT_TRIGGER] = { "trigger", "Reading that the suggestion rests on",
                        "A reference to an Observation (valueReference)." },
    [INPUT_THRESHOLD] = { "threshold", "Limit in force at this site",
                          "A number with its unit (valueQuantity), or a grade "
                          "in words (valueString)." },
    [INPUT_DUE] = { "due", "Day by which to measure again",
                    "A date (valueDate)." },
    [INPUT_PLAN] = { "plan", "Band plan, for whoever reviews the access",
                     "A JSON document (valueAttachment, application/json) as "
                     "plan.schema.json describes it; at most one, renewed when "
                     "what it is made from changes." },
    [INPUT_WORKSHEET] = { "worksheet", "Band plan as a document to read",
                          "A reference to the DocumentReference "
                          "(valueReference) that holds the plan as a text and "
                          "as data; beside a plan only." },
    [INPUT_ACCESS] = { "access", "Access that the suggestion is about",
                       "A reference to a BodyStructure (valueReference), where "
                       "the focus of the Task is a ServiceRequest instead." },
};

static const struct {
    enum task_code_id referral, reason;
} groups[GROUP_COUNT] = {
    [GROUP_FLOW] = { TASK_CODE_REFER_FLOW, TASK_CODE_HIGH_FLOW },
    [GROUP_HAND] = { TASK_CODE_REFER_HAND, TASK_CODE_HAND_ISCHAEMIA },
    [GROUP_LOW_FLOW] = { TASK_CODE_REFER_LOW_FLOW, TASK_CODE_LOW_FLOW },
    [GROUP_DOSE] = { TASK_CODE_REFER_DOSE, TASK_CODE_LOW_DOSE },
    [GROUP_AFTER_BAND] = { TASK_CODE_REFER_AFTER_BAND, TASK_CODE_AFTER_BAND },
    [GROUP_FOLLOW_UP] = { TASK_CODE_REFER_FOLLOW_UP, TASK_CODE_OVERDUE },
    [GROUP_BLEEDING] = { TASK_CODE_REFER_BLEEDING, TASK_CODE_BLEEDING },
    [GROUP_INFECTION] = { TASK_CODE_REFER_INFECTION, TASK_CODE_INFECTION },
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

const struct task_code *task_code_follow_up(void)
{
    return task_code(TASK_CODE_FOLLOW_UP);
}

void task_code_repeat(enum quantity q, char code[TASK_CODE_SIZE])
{
    snprintf(code, TASK_CODE_SIZE, "repeat-%s", quantity_info(q)->code);
}

const struct task_code *task_code_input(enum fhir_input_kind kind)
{
    return (size_t)kind < COUNT(inputs) ? &inputs[kind] : NULL;
}
