/*
 * plan_json_kit - the JSON of an invented plan, read back
 */
#ifndef HEADGATE_TESTS_PLAN_JSON_KIT_H
#define HEADGATE_TESTS_PLAN_JSON_KIT_H

#include "tests/plan_write_kit.h"

#include <jansson.h>

static struct write_kit kit;
static struct buf text;

/* The document, read back by another's reader, which refuses a member that
 * stands twice. */
static inline json_t *document(void)
{
    json_error_t error;
    json_t *json;

    buf_empty(&text);
    plan_json(&kit.d, &text);
    assert_int_equal(buf_ok(&text), ERR_OK);
    assert_true(text.len > 0 && text.data[text.len - 1] == '\n');
    assert_null(memchr(text.data, '\n', text.len - 1)); /* one line */
    json = json_loadb(text.data, text.len, JSON_REJECT_DUPLICATES, &error);
    if (json == NULL)
        fail_msg("%s at %d:\n%s", error.text, error.position, text.data);
    return json;
}

/* A member by its way: "ladder.1.flow_ml_min.p05"; NULL: there is none. */
static inline json_t *member(json_t *json, const char *way)
{
    char name[64];

    while (json != NULL && *way != '\0') {
        size_t len = strcspn(way, ".");

        assert_true(len > 0 && len < sizeof(name));
        memcpy(name, way, len);
        name[len] = '\0';
        json = json_is_array(json)
                   ? json_array_get(json, (size_t)strtol(name, NULL, 10))
                   : json_object_get(json, name);
        way += len + (way[len] == '.');
    }
    return json;
}

/* A member as it is written: "0.189", "null", "\"share\"". */
static inline void assert_member(json_t *json, const char *way,
                                 const char *want)
{
    json_t *m = member(json, way);
    char *got;

    if (m == NULL) {
        fail_msg("there is no %s in:\n%s", way, text.data);
        return;
    }
    got =
        json_dumps(m, JSON_ENCODE_ANY | JSON_COMPACT | JSON_REAL_PRECISION(6));
    if (strcmp(got, want) != 0)
        print_error("%s\n", way);
    assert_string_equal(got, want);
    free(got);
}

#endif
