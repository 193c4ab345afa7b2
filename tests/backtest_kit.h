/* A past for the tests of the back test: a world, and files written in it.
 * Included by test_backtest*.c alone. */
#ifndef HEADGATE_TESTS_BACKTEST_KIT_H
#define HEADGATE_TESTS_BACKTEST_KIT_H

#include "adapters/fhir_time.h"
#include "adapters/policy_file.h"
#include "service/backtest.h"
#include "tests/test.h"

#include <stdarg.h>

#define BASE "https://headgate.example/fhir"
#define CODE(c)                                                                \
    "{\"coding\":[{\"system\":\"" BASE "/CodeSystem/av-observation\","         \
    "\"code\":\"" c "\"}]}"

enum { FEED_SIZE = 64 * 1024, SAID_MAX = 16, FIRST_DAY = 20089 };

/* FIRST_DAY is 2025-01-01; day n of a test is n days later, 10:00 UTC. */
static int64_t at_s(int day)
{
    return (int64_t)(FIRST_DAY + day) * DAY_S + 10 * HOUR_S;
}

struct said {
    char file[32], word[32], text[128];
    uint64_t line;
};

struct world {
    struct codes *codes;
    struct zone *zone;
    struct policy policy;
    struct backtest_options options;
    struct backtest_feed feed;
    struct backtest_data data;
    struct backtest_report report;
    char text[FEED_SIZE]; /* the file being written */
    size_t len;
    struct said said[SAID_MAX];
    size_t said_count;
};

/* ---- a world -------------------------------------------------------------- */

static void on_said(void *arg, const char *file, uint64_t line,
                    const char *word, const char *text, const char *place)
{
    struct world *w = arg;
    struct said *s = &w->said[w->said_count % SAID_MAX];

    (void)place;
    snprintf(s->text, sizeof(s->text), "%s", text);
    snprintf(s->file, sizeof(s->file), "%s", file);
    snprintf(s->word, sizeof(s->word), "%s", word);
    s->line = line;
    w->said_count++;
}

static int start(void **state)
{
    struct world *w = calloc(1, sizeof(*w));
    struct buf why;

    assert_non_null(w);
    buf_init(&why, 4096);
    assert_int_equal(
        policy_file_read(SOURCE_DIR "/config/policy.ini", &w->policy, &why),
        ERR_OK);
    buf_clear(&why);
    /* what goldens show must not change with the shipped file's own number */
    snprintf(w->policy.version, sizeof(w->policy.version), "7");
    snprintf(w->policy.approver, sizeof(w->policy.approver), "access lead");
    snprintf(w->policy.date, sizeof(w->policy.date), "2025-01-01");
    assert_int_equal(zone_load("UTC", &w->zone), ERR_OK);
    assert_int_equal(codes_new(BASE, &w->codes), ERR_OK);
    w->options = (struct backtest_options){ .policy = &w->policy,
                                            .reader = { .codes = w->codes,
                                                        .base = BASE,
                                                        .zone = w->zone,
                                                        .entries_max = 500 },
                                            .merge_implied = true,
                                            .evidence = true,
                                            .say = on_said,
                                            .arg = w };
    backtest_feed_init(&w->feed, &w->options.reader, on_said, w);
    *state = w;
    return 0;
}

static int stop(void **state)
{
    struct world *w = *state;

    backtest_clear(&w->report);
    backtest_feed_clear(&w->feed);
    codes_free(w->codes);
    zone_free(w->zone);
    free(w);
    return 0;
}

/* ---- writing the past ----------------------------------------------------- */

__attribute__((format(printf, 2, 3))) static void put(struct world *w,
                                                      const char *format, ...)
{
    va_list args;
    int n;

    va_start(args, format);
    n = vsnprintf(w->text + w->len, FEED_SIZE - w->len, format, args);
    va_end(args);
    assert_true(n >= 0 && (size_t)n < FEED_SIZE - w->len);
    w->len += (size_t)n;
}

static void put_access(struct world *w, const char *patient)
{
    put(w,
        "{\"resourceType\":\"Patient\",\"id\":\"p%s\",\"identifier\":[{"
        "\"system\":\"https://site.example/ids/patient\",\"value\":\"%s\"}]}\n"
        "{\"resourceType\":\"BodyStructure\",\"id\":\"a%s\",\"identifier\":[{"
        "\"system\":\"https://site.example/ids/access\",\"value\":\"A%s\"}],"
        "\"morphology\":{\"coding\":[{\"system\":\"" BASE
        "/CodeSystem/av-access-type\",\"code\":\"avf\"}]},\"location\":{"
        "\"text\":\"Left upper arm\"},\"patient\":{\"reference\":\"Patient/p%s"
        "\"}}\n",
        patient, patient, patient, patient, patient);
}

/* What is common to all Observations, without the last bracket. */
static void put_observation(struct world *w, const char *patient,
                            const char *id, const char *status, int day,
                            int arrival_day)
{
    char measured[FHIR_TIME_SIZE], arrived[FHIR_TIME_SIZE];

    fhir_time_write(at_s(day), measured);
    fhir_time_write(at_s(arrival_day) + 3 * HOUR_S, arrived);
    put(w,
        "{\"resourceType\":\"Observation\",\"id\":\"%s\",\"meta\":{"
        "\"lastUpdated\":\"%s\"},\"status\":\"%s\",\"subject\":{\"reference\":"
        "\"Patient/p%s\"},\"focus\":[{\"reference\":\"BodyStructure/a%s\"}],"
        "\"effectiveDateTime\":\"%s\"",
        id, arrived, status, patient, patient, measured);
}

/* An access flow, measured on a day, that arrived on a day at 13:00. */
static void put_flow(struct world *w, const char *patient, const char *id,
                     int day, int arrival_day, int flow_ml_min)
{
    put_observation(w, patient, id, "final", day, arrival_day);
    put(w,
        ",\"code\":" CODE(
            "access-flow") ",\"valueQuantity\":{\"value\":%d,"
                           "\"system\":\"http://"
                           "unitsofmeasure.org\",\"code\":\"mL/min\"}}\n",
        flow_ml_min);
}

static void add_file(struct world *w, const char *name)
{
    FILE *f = fmemopen(w->text, w->len, "rb");

    assert_non_null(f);
    assert_int_equal(backtest_feed_add(&w->feed, f, name), ERR_OK);
    fclose(f);
    w->len = 0;
}

static void run(struct world *w)
{
    if (w->len > 0)
        add_file(w, "past.ndjson");
    backtest_feed_sort(&w->feed);
    assert_int_equal(backtest_run(&w->feed, &w->options, &w->data, &w->report),
                     ERR_OK);
}

#endif
