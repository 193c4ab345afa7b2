/* fhir_kit - Tasks and checks that the tests of the writers share */
#ifndef HEADGATE_TESTS_FHIR_KIT_H
#define HEADGATE_TESTS_FHIR_KIT_H

#include "adapters/fhir_write.h"
#include "planner/history.h"
#include "tests/golden.h"

#include <jansson.h>
#include <stdbool.h>

#define BASE "https://headgate.example/fhir"
/* 6 March 2026, 08:12 UTC */
#define AUTHORED_S 1772784720LL

/* ---- helpers ---------------------------------------------------------------- */

static struct buf out; /* what is written */

static inline int start(void **state)
{
    (void)state;
    buf_init(&out, 1 << 20);
    return 0;
}

static inline int stop(void **state)
{
    (void)state;
    buf_clear(&out);
    return 0;
}

/* JSON, and nothing that FHIR forbids in it: null, empty, doubled. */
static inline void check_json(json_t *value)
{
    const char *key;
    json_t *item;
    size_t i;

    assert_false(json_is_null(value));
    assert_false(json_is_string(value) && json_string_length(value) == 0);
    assert_false(json_is_array(value) && json_array_size(value) == 0);
    assert_false(json_is_object(value) && json_object_size(value) == 0);
    json_array_foreach(value, i, item)
    {
        check_json(item);
    }
    json_object_foreach(value, key, item)
    {
        check_json(item);
    }
}

/* Parse what was written; the caller owns the tree. */
static inline json_t *parse_out(void)
{
    json_error_t error;
    json_t *root;

    assert_int_equal(buf_ok(&out), ERR_OK);
    root = json_loadb(out.data, out.len, JSON_REJECT_DUPLICATES, &error);
    if (root == NULL)
        fail_msg("%s at %d in: %s", error.text, error.position, out.data);
    check_json(root);
    return root;
}

static inline void check_out(void)
{
    json_decref(parse_out());
}

static inline void assert_has(const char *part)
{
    if (strstr(out.data, part) == NULL)
        fail_msg("%s is not in: %s", part, out.data);
}

static inline void assert_lacks(const char *part)
{
    if (strstr(out.data, part) != NULL)
        fail_msg("%s is in: %s", part, out.data);
}

/* Of the version of the program only the place is kept in a golden file. */
static inline void assert_golden_out(const char *name)
{
    static const char version[] = "headgate " HEADGATE_VERSION "\"";
    struct buf text;
    const char *from = out.data, *at;

    buf_init(&text, 1 << 20);
    while ((at = strstr(from, version)) != NULL) {
        buf_add(&text, from, (size_t)(at - from));
        buf_puts(&text, "headgate 0.0.0\"");
        from = at + strlen(version);
    }
    buf_puts(&text, from);
    buf_puts(&text, "\n");
    assert_golden(name, text.data, text.len);
    buf_clear(&text);
}

static inline size_t count_of(const char *part)
{
    size_t count = 0;

    for (const char *at = out.data; (at = strstr(at, part)) != NULL; at++)
        count++;
    return count;
}

#endif
