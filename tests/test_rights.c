/* rights: scopes of both versions, and what is missing */
#include "adapters/rights.h"
#include "tests/test.h"

enum { C = 1, R = 2, U = 4, D = 8, S = 16 };

/* SMART App Launch 2.2, "Scopes for requesting FHIR resources": the grammar,
 * and .read, .write and .* of version 1 as .rs, .cud and .cruds. */
static const struct {
    const char *text;
    enum right_level level;
    const char *type;
    unsigned permits; /* 0: it is no scope of this form */
    const char *query;
} rows[] = {
    { "system/Observation.rs", RIGHT_SYSTEM, "Observation", R | S, NULL },
    { "system/Task.cruds", RIGHT_SYSTEM, "Task", 31, NULL },
    { "system/Task.c", RIGHT_SYSTEM, "Task", C, NULL },
    { "system/Task.cu", RIGHT_SYSTEM, "Task", C | U, NULL },
    { "system/Task.ds", RIGHT_SYSTEM, "Task", D | S, NULL },
    { "system/*.rs", RIGHT_SYSTEM, "*", R | S, NULL },
    { "system/Observation.read", RIGHT_SYSTEM, "Observation", R | S, NULL },
    { "system/Task.write", RIGHT_SYSTEM, "Task", C | U | D, NULL },
    { "system/*.*", RIGHT_SYSTEM, "*", 31, NULL },
    { "user/Patient.rs", RIGHT_USER, "Patient", R | S, NULL },
    { "patient/Observation.rs?category=vital-signs", RIGHT_PATIENT,
      "Observation", R | S, "category=vital-signs" },
    { "headgate/metrics.r", RIGHT_LOCAL, "metrics", R, NULL },
    { "headgate/dead-letters.u", RIGHT_LOCAL, "dead-letters", U, NULL },
    { "system/Task.sr", 0, "", 0, NULL },
    { "system/Task.rr", 0, "", 0, NULL },
    { "system/Task.rx", 0, "", 0, NULL },
    { "system/Task.", 0, "", 0, NULL },
    { "system/Task", 0, "", 0, NULL },
    { "system/.rs", 0, "", 0, NULL },
    { "system/Task.Read", 0, "", 0, NULL },
    { "system/Ta$k.rs", 0, "", 0, NULL },
    { "system/**.rs", 0, "", 0, NULL },
    { "System/Task.rs", 0, "", 0, NULL },
    { "system", 0, "", 0, NULL },
    { "/Task.rs", 0, "", 0, NULL },
    { "system/Task.rs?", 0, "", 0, NULL },
    { "openid", 0, "", 0, NULL },
    { "launch/patient", 0, "", 0, NULL },
    { "", 0, "", 0, NULL },
};

static void scopes_are_read(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct right r;
        enum err e = right_read(rows[i].text, strlen(rows[i].text), &r);

        ROW(rows[i].text);
        assert_int_equal(e, rows[i].permits != 0 ? ERR_OK : ERR_FORM);
        if (e != ERR_OK)
            continue;
        assert_int_equal(r.level, rows[i].level);
        assert_string_equal(r.type, rows[i].type);
        assert_int_equal(r.permits, rows[i].permits);
        assert_int_equal(r.query != NULL, rows[i].query != NULL);
        if (r.query != NULL) {
            assert_int_equal(r.query_len, strlen(rows[i].query));
            assert_memory_equal(r.query, rows[i].query, r.query_len);
        }
    }
}

static const struct {
    const char *wanted, *granted, *missing;
} grants[] = {
    { "system/Observation.rs", "system/Observation.rs", "" },
    { "system/Observation.rs", "system/Observation.read", "" },
    { "system/Observation.read", "system/Observation.rs", "" },
    { "system/Observation.rs", "system/Observation.cruds", "" },
    { "system/Observation.rs", "system/*.cruds", "" },
    { "system/Observation.rs", "system/*.*", "" },
    { "system/Observation.rs", "system/Observation.r system/Observation.s",
      "" },
    { "system/Observation.rs  system/Task.cu",
      " system/Task.c system/Task.u\tsystem/Observation.rs launch", "" },
    { "system/Observation.rs", "system/Observation.r",
      "may not search Observation (system/Observation.s)" },
    { "system/Task.crus", "system/Task.rs",
      "may not create or update Task (system/Task.cu)" },
    { "system/Task.cruds", "",
      "may not create, read, update, delete or search Task "
      "(system/Task.cruds)" },
    { "system/Task.write", "system/Task.read",
      "may not create, update or delete Task (system/Task.cud)" },
    { "system/Observation.rs system/Task.c", "system/Patient.rs",
      "may not read or search Observation (system/Observation.rs); "
      "may not create Task (system/Task.c)" },
    /* a right to some of all is no right to all */
    { "system/*.rs", "system/Observation.rs",
      "may not read or search all types (system/*.rs)" },
    /* of a person, or of one patient: no right of a service */
    { "system/Observation.r", "user/Observation.r patient/*.r",
      "may not read Observation (system/Observation.r)" },
    /* a limit is a smaller right, unless it is the one that was wanted */
    { "system/Observation.r", "system/Observation.r?category=laboratory",
      "may not read Observation (system/Observation.r)" },
    { "system/Observation.r?category=laboratory",
      "system/Observation.r?category=laboratory", "" },
    { "system/Observation.r?category=laboratory", "system/Observation.r", "" },
    { "system/Observation.r?category=laboratory",
      "system/Observation.r?category=imaging",
      "may not read Observation (system/Observation.r?category=laboratory)" },
    { "fhir openid", "openid", "not granted: fhir" },
    { "", "system/*.*", "" },
};

static void what_is_missing_is_named(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(grants); i++) {
        struct buf out;

        ROW(grants[i].granted);
        buf_init(&out, 1000);
        rights_missing(grants[i].wanted, grants[i].granted, &out);
        assert_string_equal(out.len > 0 ? out.data : "", grants[i].missing);
        buf_clear(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(scopes_are_read),
        cmocka_unit_test(what_is_missing_is_named),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
