/*
 * quarantine_kit - patients with one and with two accesses, feeds in which
 * something is unclear, and a person who says his word on it
 */
#ifndef HEADGATE_TESTS_QUARANTINE_KIT_H
#define HEADGATE_TESTS_QUARANTINE_KIT_H

#include "service/quarantine_act.h"
#include "tests/service_world.h"
#include "tests/test.h"

#define LOCAL "urn:example:machine"

/* ---- people --------------------------------------------------------------- */

struct word {
    enum quarantine_verb verb;
    const char *item;
    bool as_sent;
    const char *reason, *code, *target, *unit, *arm, *from, *access, *side;
};

static struct quarantine_act last; /* what the last word came to */

static inline void put(char *to, size_t size, const char *text)
{
    size_t len = text != NULL ? strlen(text) : 0;

    assert_true(len < size);
    memcpy(to, text != NULL ? text : "", len);
    to[len] = '\0';
}

static inline enum err step(struct db *db, void *arg)
{
    return quarantine_act(db, arg);
}

static inline void prepare(struct world *w, const struct word *said)
{
    buf_clear(&last.text);
    last =
        (struct quarantine_act){ .verb = said->verb, .as_sent = said->as_sent };
    buf_init(&last.text, 100000);
    w->reader.now_s = world_now_s;
    last.site = (struct quarantine_site){ .reader = w->reader,
                                          .codes = w->codes,
                                          .record = "",
                                          .zone = w->zone,
                                          .merge_implied = true,
                                          .now_ms = world_now_ms() };
    put(last.item, sizeof(last.item), said->item);
    put(last.reason, sizeof(last.reason), said->reason);
    put(last.code, sizeof(last.code), said->code);
    put(last.target, sizeof(last.target), said->target);
    put(last.unit, sizeof(last.unit), said->unit);
    put(last.arm, sizeof(last.arm), said->arm);
    put(last.from, sizeof(last.from), said->from);
    put(last.access, sizeof(last.access), said->access);
    put(last.side, sizeof(last.side), said->side);
    put(last.who, sizeof(last.who), "A Nurse");
    put(last.why, sizeof(last.why), "the unit was asked");
}

/* All steps of it, each as the store would run it; the status. */
static inline int say(struct world *w, const struct word *said)
{
    enum err e;

    prepare(w, said);
    do {
        e = world_step(w, step, &last);
    } while (e == ERR_OK && last.more);
    if (e != ERR_OK && last.status < 400)
        fail_msg("%s: %s", said->item, err_word(e));
    return last.status;
}
#define SAY(...) say(w, &(struct word){ .verb = __VA_ARGS__ })

static inline bool says(const char *text)
{
    return strstr(last.text.data, text) != NULL;
}

/* By its id: numbers are the store's own. */
static inline const char *named(const char *id)
{
    static char name[4][100];
    static size_t at;
    char *text = name[at++ % 4];

    snprintf(text, sizeof(name[0]), "Observation/%s", id);
    return text;
}

/* ---- readings ------------------------------------------------------------- */

/* p-1 has one access; p-2 has one on each arm. */
static inline int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    assert_int_equal(world_put(w, "p-1", pat_json("p-1", "1001")), 201);
    assert_int_equal(world_put(w, "p-2", pat_json("p-2", "1002")), 201);
    assert_int_equal(
        world_put(w, "acc-7", ACC(.id = "acc-7", .identifier = "A-7")), 201);
    assert_int_equal(
        world_put(w, "acc-8",
                  ACC(.id = "acc-8", .identifier = "A-8",
                      .patient = "Patient/p-2", .site = "Left forearm")),
        201);
    assert_int_equal(
        world_put(w, "acc-9",
                  ACC(.id = "acc-9", .identifier = "A-9",
                      .patient = "Patient/p-2", .site = "Right forearm")),
        201);
    return 0;
}

static inline int stop(void **state)
{
    buf_clear(&last.text);
    last = (struct quarantine_act){ .status = 0 };
    return world_stop(state);
}

/* One entry of a collection: what is unclear is held. */
static inline void feed(struct world *w, const char *json)
{
    const char *bundle =
        bundle_json("collection", entry_json(NULL, NULL, json), NULL);

    assert_true(world_bundle(w, bundle) < 300);
}

static inline const char *machine(const char *id, const char *code,
                                  const char *unit, double ago_h)
{
    static char text[8][900];
    static size_t at;
    char when[FHIR_TIME_SIZE], quantity[200];
    char *json = text[at++ % 8];

    fhir_time_write(world_now_s - (int64_t)(ago_h * 3600), when);
    if (unit != NULL)
        snprintf(quantity, sizeof(quantity), "{\"value\":2300,\"unit\":\"%s\"}",
                 unit);
    else
        snprintf(quantity, sizeof(quantity), "{\"value\":2300}");
    snprintf(json, sizeof(text[0]),
             "{\"resourceType\":\"Observation\",\"id\":\"%s\",\"status\":"
             "\"final\",\"code\":{\"coding\":[{\"system\":\"%s\",\"code\":"
             "\"%s\"}]},\"subject\":{\"reference\":\"Patient/p-1\"},"
             "\"effectiveDateTime\":\"%s\",\"valueQuantity\":%s}",
             id, strncmp(code, "access-", 7) == 0 ? OBS_CODES : LOCAL, code,
             when, quantity);
    return json;
}

static inline long long readings(struct world *w, const char *id)
{
    char sql[200];

    snprintf(sql, sizeof(sql),
             "SELECT count(*) FROM reading g JOIN resource r ON r.id ="
             " g.resource WHERE r.fid = '%s'",
             id);
    return world_count(w, sql);
}

static inline long long held(struct world *w)
{
    return world_count(w, "SELECT count(*) FROM held");
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, start, stop)

#endif
