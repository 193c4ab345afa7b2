/*
 * Rows are learnt while others look codes up without a lock.  What the thread
 * sanitizer says of this program (preset `thread`) is the proof; without it,
 * it still shows that a row is seen as a whole or not at all.
 */
#include "adapters/codes.h"
#include "tests/test.h"

#include <pthread.h>
#include <stdatomic.h>

enum { READERS = 3, ROWS = 2000 };

struct shared {
    struct codes *codes;
    atomic_int learnt; /* rows that are surely there */
    atomic_bool wrong;
    atomic_long looks;
};

static bool is_whole(const struct code_entry *e)
{
    return e->meaning == CODE_QUANTITY && e->quantity == Q_ACCESS_FLOW &&
           e->unit != NULL && strcmp(e->unit, "mL/min") == 0;
}

static void *reader(void *arg)
{
    struct shared *s = arg;
    char code[16];

    while (atomic_load(&s->learnt) < ROWS) {
        int known = atomic_load(&s->learnt);

        for (int i = 0; i < ROWS; i += 37) {
            struct code_entry e;

            snprintf(code, sizeof(code), "%d", i);
            e = codes_find(s->codes, "u:s", code, CODES_NEWEST);
            if ((i < known || e.meaning != CODE_UNKNOWN) && !is_whole(&e))
                atomic_store(&s->wrong, true);
            atomic_fetch_add(&s->looks, 1);
        }
        if (codes_find(s->codes, CODES_LOINC, "8480-6", CODES_NEWEST)
                .quantity != Q_SYSTOLIC_PRESSURE)
            atomic_store(&s->wrong, true);
    }
    return NULL;
}

static void learn_all(struct shared *s)
{
    struct buf why;
    char code[16];

    buf_init(&why, 1000);
    for (int i = 0; i < ROWS; i++) {
        struct codes_line line = { "u:s",     code, "access-flow", "mL/min", "",
                                   INT64_MIN, 0 };

        snprintf(code, sizeof(code), "%d", i);
        assert_int_equal(codes_learn(s->codes, &line, &why), ERR_OK);
        atomic_store(&s->learnt, i + 1);
    }
    buf_clear(&why);
}

static void test_readers_see_whole_rows(void **state)
{
    struct shared s = { .codes = NULL };
    pthread_t threads[READERS];

    (void)state;
    assert_int_equal(codes_new("https://headgate.example/fhir", &s.codes),
                     ERR_OK);
    for (int i = 0; i < READERS; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, reader, &s), 0);
    learn_all(&s);
    for (int i = 0; i < READERS; i++)
        assert_int_equal(pthread_join(threads[i], NULL), 0);
    assert_false(atomic_load(&s.wrong));
    print_message("%ld look-ups\n", atomic_load(&s.looks));
    codes_free(s.codes);
}

/* A row is learnt and taken back again and again: it is seen whole, or not. */
static void *half_reader(void *arg)
{
    struct shared *s = arg;

    while (atomic_load(&s->learnt) < ROWS) {
        struct code_entry e = codes_find(s->codes, "u:s", "X", CODES_NEWEST);

        if (e.meaning != CODE_UNKNOWN && !is_whole(&e))
            atomic_store(&s->wrong, true);
        atomic_fetch_add(&s->looks, 1);
    }
    return NULL;
}

static void test_rows_are_taken_back(void **state)
{
    struct shared s = { .codes = NULL };
    pthread_t threads[READERS];
    struct buf why;

    (void)state;
    buf_init(&why, 1000);
    assert_int_equal(codes_new("https://headgate.example/fhir", &s.codes),
                     ERR_OK);
    for (int i = 0; i < READERS; i++)
        assert_int_equal(pthread_create(&threads[i], NULL, half_reader, &s), 0);
    for (int i = 0; i < ROWS; i++) {
        struct codes_line line = { "u:s", "X",       "access-flow", "mL/min",
                                   "",    INT64_MIN, i + 1 };

        assert_int_equal(codes_learn(s.codes, &line, &why), ERR_OK);
        assert_int_equal(codes_unlearn(s.codes, i + 1), ERR_OK);
        assert_int_equal(codes_unlearn(s.codes, i + 1), ERR_ABSENT);
        assert_false(codes_listed(s.codes, "u:s", "X", CODES_NEWEST));
        atomic_store(&s.learnt, i + 1);
    }
    for (int i = 0; i < READERS; i++)
        assert_int_equal(pthread_join(threads[i], NULL), 0);
    assert_false(atomic_load(&s.wrong));
    assert_int_equal(codes_unlearn(s.codes, 0), ERR_ABSENT);
    buf_clear(&why);
    codes_free(s.codes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_readers_see_whole_rows),
        cmocka_unit_test(test_rows_are_taken_back),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
