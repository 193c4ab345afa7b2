/* doors: what a request needs, and who is let in for it */
#include "adapters/jose.h"
#include "service/doors.h"
#include "tests/jose_kit.h"
#include "tests/test.h"

#include <unistd.h>

enum { NOW_S = 1790000000, C = 1, R = 2, U = 4, D = 8, S = 16 };

/* ---- needs ------------------------------------------------------------------ */

/* SMART App Launch 2.2, "Scopes for requesting FHIR resources": c create, r
 * read, vread and history of one, u update and patch, d delete, s search. */
static const struct {
    const char *method, *path, *type;
    unsigned permits; /* 0: nothing is guarded */
    enum right_level level;
} needs[] = {
    { "POST", "fhir/Observation", "Observation", C, RIGHT_SYSTEM },
    { "PUT", "fhir/Observation/o1", "Observation", U, RIGHT_SYSTEM },
    { "PATCH", "fhir/Task/t1", "Task", U, RIGHT_SYSTEM },
    { "DELETE", "fhir/Task/t1", "Task", D, RIGHT_SYSTEM },
    { "GET", "fhir/Task/t1", "Task", R, RIGHT_SYSTEM },
    { "HEAD", "fhir/Task/t1", "Task", R, RIGHT_SYSTEM },
    { "GET", "fhir/Task/t1/_history", "Task", R, RIGHT_SYSTEM },
    { "GET", "fhir/Task/t1/_history/2", "Task", R, RIGHT_SYSTEM },
    { "GET", "fhir/Task/_history", "Task", R, RIGHT_SYSTEM },
    { "GET", "fhir/Task", "Task", S, RIGHT_SYSTEM },
    { "POST", "fhir/Task/_search", "Task", S, RIGHT_SYSTEM },
    { "PUT", "fhir/Patient", "Patient", U, RIGHT_SYSTEM },
    { "DELETE", "fhir/Patient", "Patient", D, RIGHT_SYSTEM },
    { "POST", "fhir/Task/t1/$x", "Task", U, RIGHT_SYSTEM },
    { "GET", "fhir/Nothing/x", "Nothing", R, RIGHT_SYSTEM },
    { "GET", "fhir/_history", "*", R | S, RIGHT_SYSTEM },
    { "POST", "fhir/$x", "*", U, RIGHT_SYSTEM },
    { "GET", "fhir", "*", S, RIGHT_SYSTEM },
    { "POST", "fhir", "", 0, RIGHT_SYSTEM },
    { "POST", "fhir/metadata", "", 0, RIGHT_SYSTEM },
    { "GET", "queue", "Task", R | S, RIGHT_SYSTEM },
    { "GET", "review", "Task", R | S, RIGHT_SYSTEM },
    { "GET", "plan", "Task", R | S, RIGHT_SYSTEM },
    { "GET", "technique", "Task", R | S, RIGHT_SYSTEM },
    { "GET", "something/new", "Task", R | S, RIGHT_SYSTEM },
    { "GET", "metrics", "metrics", R, RIGHT_LOCAL },
    { "POST", "technique", "technique", U, RIGHT_LOCAL },
    { "POST", "hl7", "Observation", C, RIGHT_SYSTEM },
    { "PUT", "something/new", "something", U, RIGHT_LOCAL },
};

/* "a/b/c" to its parts. */
static size_t split(const char *path, char *text, size_t size,
                    const char *parts[6])
{
    size_t count = 1;

    snprintf(text, size, "%s", path);
    parts[0] = text;
    for (char *at = text; *at != '\0'; at++) {
        if (*at == '/') {
            *at = '\0';
            parts[count++] = at + 1;
        }
    }
    return count;
}

static void each_request_has_its_need(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(needs); i++) {
        struct door_need need;
        const char *parts[6];
        char text[100];
        size_t count = split(needs[i].path, text, sizeof(text), parts);

        ROW(needs[i].path);
        doors_need(needs[i].method, parts, count, &need);
        assert_int_equal(need.right.permits, needs[i].permits);
        assert_string_equal(need.right.type, needs[i].type);
        assert_int_equal(need.right.level, needs[i].level);
        assert_null(need.right.query);
    }
}

/* R4, 3.1.1.5.4: what is included is read as well. */
static const struct {
    const char *name, *value, *type;
    unsigned permits;
} included[] = {
    { "_include", "Task:patient", "Patient", R },
    { "_include", "Task:subject", "Patient", R },
    { "_include:iterate", "Task:patient", "Patient", R },
    { "_include", "Task:focus:BodyStructure", "BodyStructure", R },
    { "_include", "Task:focus", "*", R },
    { "_include", "*", "*", R },
    { "_include", "Task:patientx", "*", R },
    { "_revinclude", "Provenance:target", "Provenance", R },
    { "_revinclude:iterate", "Provenance:target", "Provenance", R },
    { "_revinclude", "", "*", R },
    { "status", "requested", "", 0 },
    { "_count", "7", "", 0 },
};

static void what_is_included_is_needed(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(included); i++) {
        struct door_need need;

        ROW(included[i].value);
        doors_need_included(included[i].name, included[i].value, &need);
        assert_int_equal(need.right.permits, included[i].permits);
        assert_string_equal(need.right.type, included[i].type);
    }
}

static const struct {
    const char *scopes, *method, *path;
    const char *missing; /* NULL: it is allowed */
} grants[] = {
    { NULL, "DELETE", "fhir/Task/t1", NULL },
    { "", "GET", "fhir/Task", "system/Task.s" },
    { "system/Task.rs", "GET", "fhir/Task", NULL },
    { "system/Task.read", "GET", "fhir/Task/t1", NULL },
    { "system/Task.rs", "PUT", "fhir/Task/t1", "system/Task.u" },
    { "system/Task.write", "PUT", "fhir/Task/t1", NULL },
    { "system/*.cruds", "GET", "fhir/Nothing", NULL },
    { "system/Observation.c", "POST", "fhir/Observation", NULL },
    { "system/Observation.c", "PUT", "fhir/Observation/o",
      "system/Observation.u" },
    { "system/Observation.c", "POST", "fhir/Patient", "system/Patient.c" },
    { "system/Task.r", "GET", "queue", "system/Task.s" },
    { "system/Task.rs", "GET", "queue", NULL },
    { "system/*.cruds", "GET", "metrics", "headgate/metrics.r" },
    { "headgate/metrics.r", "GET", "metrics", NULL },
    { "headgate/metrics.r", "GET", "queue", "system/Task.rs" },
    { "system/*.cruds", "POST", "technique", "headgate/technique.u" },
    { "headgate/technique.u", "POST", "technique", NULL },
    { "system/Observation.c", "POST", "hl7", NULL },
    { "system/Observation.rs", "POST", "hl7", "system/Observation.c" },
    { "user/*.cruds patient/*.cruds", "GET", "fhir/Task", "system/Task.s" },
    { "system/Task.s?status=requested", "GET", "fhir/Task", "system/Task.s" },
};

static void what_is_granted_is_let(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(grants); i++) {
        struct door_grant grant = { .scopes = grants[i].scopes };
        struct door_need need;
        const char *parts[6];
        char text[100], missing[64] = "";
        size_t count = split(grants[i].path, text, sizeof(text), parts);

        ROW(grants[i].path);
        doors_need(grants[i].method, parts, count, &need);
        assert_int_equal(doors_let(&grant, &need, missing, sizeof(missing)),
                         grants[i].missing == NULL);
        assert_string_equal(missing,
                            grants[i].missing != NULL ? grants[i].missing : "");
    }
}

/* ---- who ---------------------------------------------------------------------- */

static char folder[64], tokens_path[96], keys_path[96];
static struct jose_key *ec, *rsa;

static void write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");

    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static void write_keys(const struct jose_key *const *keys, size_t count)
{
    struct buf set;

    buf_init(&set, 10000);
    jose_keys_write(keys, count, &set);
    write_file(keys_path, set.data);
    buf_clear(&set);
}

static int start(void **state)
{
    const struct jose_key *one;
    struct buf why;

    (void)state;
    snprintf(folder, sizeof(folder), "/tmp/headgate-doors-XXXXXX");
    assert_non_null(mkdtemp(folder));
    snprintf(tokens_path, sizeof(tokens_path), "%s/tokens", folder);
    snprintf(keys_path, sizeof(keys_path), "%s/keys", folder);
    buf_init(&why, 1000);
    assert_int_equal(
        jose_key_read_pem(RFC6979_PEM, strlen(RFC6979_PEM), "ec", &ec, &why),
        ERR_OK);
    assert_int_equal(
        jose_key_read_pem(RFC7520_PEM, strlen(RFC7520_PEM), "rsa", &rsa, &why),
        ERR_OK);
    buf_clear(&why);
    one = ec;
    write_keys(&one, 1);
    /* SHA-256 of "abc": FIPS 180-4 */
    write_file(tokens_path,
               "# one\nunit-a ba7816bf8f01cfea414140de5dae2223"
               "b00361a396177a9cb410ff61f20015ad system/Task.rs\n");
    return 0;
}

static int stop(void **state)
{
    (void)state;
    jose_key_free(ec);
    jose_key_free(rsa);
    unlink(tokens_path);
    unlink(keys_path);
    rmdir(folder);
    return 0;
}

static struct doors *open_doors(void)
{
    struct config config = { .http_jwt_issuer = "https://i.example",
                             .http_jwt_audience = "https://h.example" };
    struct doors *doors = NULL;
    struct buf why;

    snprintf(config.http_tokens, sizeof(config.http_tokens), "%s", tokens_path);
    snprintf(config.http_jwt_keys, sizeof(config.http_jwt_keys), "%s",
             keys_path);
    buf_init(&why, 1000);
    assert_int_equal(doors_open(&config, &doors, &why), ERR_OK);
    buf_clear(&why);
    return doors;
}

/* "Bearer " and a statement of this client with these scopes. */
static void write_bearer(const struct jose_key *key, const char *client,
                         const char *scope, struct buf *out)
{
    char claims[500];

    snprintf(claims, sizeof(claims),
             "{\"iss\":\"https://i.example\",\"aud\":\"https://h.example\","
             "\"exp\":%d,\"sub\":\"%s\",\"scope\":\"%s\"}",
             NOW_S + 300, client, scope);
    buf_empty(out);
    buf_puts(out, "Bearer ");
    assert_int_equal(jose_sign(key, claims, strlen(claims), out), ERR_OK);
}

static enum err who(struct doors *doors, const char *header, int64_t now_s,
                    struct door_grant *grant, const char **why)
{
    *grant = (struct door_grant){ .client = -1 };
    return doors_who(doors, header, now_s * 1000, grant, why);
}

static void who_stands_there(void **state)
{
    struct doors *doors = open_doors();
    struct door_grant grant;
    const char *why;
    struct buf bearer;

    (void)state;
    buf_init(&bearer, 20000);
    assert_int_equal(who(doors, NULL, NOW_S, &grant, &why), ERR_ABSENT);
    assert_int_equal(who(doors, "Basic abc", NOW_S, &grant, &why), ERR_ABSENT);
    assert_int_equal(who(doors, "Bearer abd", NOW_S, &grant, &why), ERR_DENIED);
    assert_string_equal(why, "unknown");
    assert_int_equal(who(doors, "Bearer abc", NOW_S, &grant, &why), ERR_OK);
    assert_int_equal(grant.client, 2); /* the line */
    assert_memory_equal(grant.scopes, "system/Task.rs", 14);
    /* clients with a JWT are numbered as they come */
    write_bearer(ec, "north", "system/Task.r", &bearer);
    assert_int_equal(who(doors, bearer.data, NOW_S, &grant, &why), ERR_OK);
    assert_int_equal(grant.client, 1001);
    assert_string_equal(grant.scopes, "system/Task.r");
    write_bearer(ec, "south", "", &bearer);
    assert_int_equal(who(doors, bearer.data, NOW_S, &grant, &why), ERR_OK);
    assert_int_equal(grant.client, 1002);
    assert_string_equal(grant.scopes, ""); /* nothing, not everything */
    write_bearer(ec, "north", "", &bearer);
    assert_int_equal(who(doors, bearer.data, NOW_S, &grant, &why), ERR_OK);
    assert_int_equal(grant.client, 1001);
    /* at its end, with a minute for two clocks */
    assert_int_equal(who(doors, bearer.data, NOW_S + 359, &grant, &why),
                     ERR_OK);
    assert_int_equal(who(doors, bearer.data, NOW_S + 360, &grant, &why),
                     ERR_DENIED);
    assert_string_equal(why, "expired");
    bearer.data[bearer.len - 1] =
        bearer.data[bearer.len - 1] == 'A' ? 'B' : 'A';
    assert_int_equal(who(doors, bearer.data, NOW_S, &grant, &why), ERR_DENIED);
    buf_clear(&bearer);
    doors_close(doors);
}

/* The issuer changes its keys while we run: the new one is found at once, the
 * old one is gone within a minute, and a broken file changes nothing. */
static void keys_change(void **state)
{
    const struct jose_key *both[] = { rsa, ec };
    struct doors *doors = open_doors();
    struct buf by_ec, by_rsa;
    struct door_grant grant;
    const char *why;

    (void)state;
    buf_init(&by_ec, 20000);
    buf_init(&by_rsa, 20000);
    write_bearer(ec, "a", "", &by_ec);
    write_bearer(rsa, "a", "", &by_rsa);
    assert_int_equal(who(doors, by_ec.data, NOW_S, &grant, &why), ERR_OK);
    assert_int_equal(who(doors, by_rsa.data, NOW_S, &grant, &why), ERR_DENIED);
    assert_string_equal(why, "key");
    write_keys(both, 2);
    /* not for each false token: ten seconds lie between two readings */
    assert_int_equal(who(doors, by_rsa.data, NOW_S + 9, &grant, &why),
                     ERR_DENIED);
    assert_int_equal(who(doors, by_rsa.data, NOW_S + 10, &grant, &why), ERR_OK);
    write_keys(both, 1);
    assert_int_equal(who(doors, by_ec.data, NOW_S + 69, &grant, &why), ERR_OK);
    assert_int_equal(who(doors, by_ec.data, NOW_S + 70, &grant, &why),
                     ERR_DENIED);
    write_file(keys_path, "{");
    assert_int_equal(who(doors, by_rsa.data, NOW_S + 200, &grant, &why),
                     ERR_OK);
    write_keys(both + 1, 1);
    buf_clear(&by_ec);
    buf_clear(&by_rsa);
    doors_close(doors);
}

static void files_that_are_refused(void **state)
{
    static const struct {
        const char *text;
        enum err want;
        const char *why;
    } rows[] = { { NULL, ERR_IO, "keys" },
                 { "{", ERR_CONFIG, "JSON" },
                 { "{\"keys\":[]}", ERR_CONFIG, "no key" } };
    const struct jose_key *one = ec;

    (void)state;
    for (size_t i = 0; i < COUNT(rows); i++) {
        struct config config = { .http_jwt_issuer = "x" };
        struct doors *doors = NULL;
        struct buf why;

        snprintf(config.http_jwt_keys, sizeof(config.http_jwt_keys), "%s%s",
                 keys_path, rows[i].text == NULL ? "-none" : "");
        if (rows[i].text != NULL)
            write_file(keys_path, rows[i].text);
        buf_init(&why, 1000);
        assert_int_equal(doors_open(&config, &doors, &why), rows[i].want);
        assert_null(doors);
        assert_non_null(strstr(why.data, rows[i].why));
        assert_non_null(strstr(why.data, keys_path));
        buf_clear(&why);
    }
    write_keys(&one, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_request_has_its_need),
        cmocka_unit_test(what_is_included_is_needed),
        cmocka_unit_test(what_is_granted_is_let),
        cmocka_unit_test(who_stands_there),
        cmocka_unit_test(keys_change),
        cmocka_unit_test(files_that_are_refused),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
