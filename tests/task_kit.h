/* task_kit - two Tasks: one of ours, one that a person has changed */
#ifndef HEADGATE_TESTS_TASK_KIT_H
#define HEADGATE_TESTS_TASK_KIT_H

#include "tests/fhir_kit.h"

static const struct fhir_task plain_task = {
    .base = BASE,
    .id = "t1",
    .key = "f36acacf",
    .episode = "A-0101/flow/1",
    .rule = "HF-1",
    .policy_version = "1",
    .status = "requested",
    .priority = "routine",
    .code = "refer-flow-review",
    .code_display = "Suggest access flow review",
    .reason_code = "high-flow",
    .reason_display = "High access flow",
    .description = "Please look.",
    .note = "Because.",
    .focus = { .literal = "BodyStructure/acc-7",
               .type = "BodyStructure",
               .display = "Left upper-arm fistula" },
    .patient = { .system = "https://site.example/ids/patient",
                 .value = "1001",
                 .type = "Patient",
                 .display = "Fictional, Wren" },
    .requester = { .literal = "Device/headgate" },
    .reason = { .literal = "Observation/o2" },
    .authored_ms = AUTHORED_S * 1000,
    .modified_ms = AUTHORED_S * 1000,
    .start_s = AUTHORED_S,
    .due_s = AUTHORED_S + 14 * DAY_S,
    .input_count = 4,
    .inputs = { { .kind = INPUT_TRIGGER,
                  .ref = { .literal = "Observation/o1",
                           .display = "2240 mL/min" } },
                { .kind = INPUT_TRIGGER,
                  .ref = { .literal = "Observation/o2" } },
                { .kind = INPUT_THRESHOLD, .value = 2000, .unit = "mL/min" },
                { .kind = INPUT_THRESHOLD, .value = 0.3, .unit = "1" } }
};

/* The plain Task as text, the caller's buffer. */
static inline void write_task(const struct fhir_task *t, struct buf *text)
{
    buf_init(text, 1 << 16);
    assert_int_equal(fhir_task_write(t, text), ERR_OK);
}

/* As a person left it: spaced, with what we know nothing of. */
static const char touched_task[] =
    "{\n  \"resourceType\": \"Task\", \"id\": \"t1\",\n"
    "  \"status\": \"accepted\",\n"
    "  \"_status\": { \"id\": \"s\" },\n"
    "  \"owner\": { \"reference\": \"Practitioner/dr-9\" },\n"
    "  \"intent\": \"proposal\", \"priority\": \"urgent\",\n"
    "  \"description\": \"mine  now\",\n"
    "  \"authoredOn\": \"2026-03-06T08:12:00Z\",\n"
    "  \"extension\": [ { \"url\": \"urn:x\", \"valueDecimal\": 2.50 } ],\n"
    "  \"lastModified\": \"2026-03-07T08:12:00+01:00\",\n"
    "  \"note\": [ { \"text\": \"Seen.\" } ],\n"
    "  \"input\": [ { \"type\": { \"coding\": [ { \"system\": \"" BASE
    "/CodeSystem/av-task-io\", \"code\": \"trigger\" } ] },\n"
    "    \"valueReference\": { \"reference\": \"Observation/o1\" } },\n"
    "   { \"type\": { \"coding\": [ { \"system\": \"" BASE
    "/CodeSystem/av-task-io\", \"code\": \"threshold\" } ] },\n"
    "    \"valueQuantity\": { \"value\": 2000.0, \"system\": "
    "\"http://unitsofmeasure.org\", \"code\": \"mL/min\" } } ],\n"
    "  \"output\": [ { \"type\": { \"text\": \"referral\" },"
    " \"valueReference\": { \"reference\": \"ServiceRequest/sr-55\" } } ] }";

/* A reference to be replaced, and by what. */
struct mapped {
    const char *from;
    struct fhir_out_ref to;
};

static inline bool map_one(void *arg, const char *literal,
                           struct fhir_out_ref *to)
{
    const struct mapped *m = arg;

    if (strcmp(m->from, literal) != 0)
        return false;
    *to = m->to;
    return true;
}

#endif
