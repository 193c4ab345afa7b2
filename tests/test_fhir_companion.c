/*
 * What goes beside a Task, as text: written, changed by us, and brought
 * together with what a record has of it.  Whole ones are kept in tests/golden
 * and judged by independent validators (tests/peers/validate.mjs).
 *
 * Source of shapes, value sets and status words: HL7 FHIR R4 (4.0.1).
 */
#include "adapters/fhir_companion.h"
#include "tests/fhir_kit.h"

#define TEXT "BAND PLAN\nFirst a dowel of 5.0 mm \xc2\xb1 0.1.\n"
#define DATA "{\"offered\":true}"

static const struct fhir_companion common = {
    .base = BASE,
    .id = "0123456789abcdef0123456789abcdef",
    .key = "f36acacf-document",
    .patient = { .literal = "Patient/p-1001",
                 .type = "Patient",
                 .display = "Fictional, Wren" },
    .access = { .literal = "BodyStructure/acc-7",
                .type = "BodyStructure",
                .display = "Left upper-arm fistula" },
    .author = { .system = BASE "/NamingSystem/node",
                .value = "5e1f1c3e",
                .type = "Device",
                .display = "headgate" },
    .task = { .literal = "Task/t1", .type = "Task" },
    .at_ms = AUTHORED_S * 1000
};

static const struct fhir_out_ref readings[] = {
    { .literal = "Observation/o1", .type = "Observation", .version = "1" },
    { .literal = "Observation/o2", .type = "Observation", .version = "3" },
};

/* ---- written ------------------------------------------------------------------ */

static void write_document(const char *replaces)
{
    struct fhir_document d = { .of = common,
                               .title = "Band plan, provisional",
                               .text = TEXT,
                               .text_len = strlen(TEXT),
                               .json = DATA,
                               .json_len = strlen(DATA),
                               .replaces = replaces };

    buf_empty(&out);
    assert_int_equal(fhir_document_write(&d, &out), ERR_OK);
    check_out();
}

static void a_document(void **state)
{
    struct fhir_document none = { .of = common };

    (void)state;
    write_document("DocumentReference/d0");
    assert_golden_out("companion-document.json");
    /* base64 and SHA-1 of the data, by GNU coreutils and OpenSSL:
     * printf '{"offered":true}' | base64
     * printf '{"offered":true}' | openssl sha1 -binary | base64 */
    assert_has("\"contentType\":\"application/json\",\"data\":"
               "\"eyJvZmZlcmVkIjp0cnVlfQ==\",\"size\":16,\"hash\":"
               "\"eR8UzFL7nB+rTUW/KgfFKla5x/U=\"");
    write_document(NULL);
    assert_lacks("relatesTo");
    assert_int_equal(fhir_document_write(&none, &out), ERR_RANGE);
}

static void a_proposal(void **state)
{
    struct fhir_proposal p = { .of = common,
                               .code = "refer-flow-review",
                               .code_display = "Suggest access flow review",
                               .text = "Review of the access, because it seems "
                                       "to flow too high.",
                               .priority = "urgent",
                               .reason_count = 2,
                               .reasons = { readings[0], readings[1] } };

    (void)state;
    p.of.key = "f36acacf-order";
    buf_empty(&out);
    assert_int_equal(fhir_proposal_write(&p, &out), ERR_OK);
    check_out();
    assert_golden_out("companion-order.json");
    p.reason_count = 0;
    buf_empty(&out);
    assert_int_equal(fhir_proposal_write(&p, &out), ERR_OK);
    check_out();
    assert_lacks("reasonReference");
}

static void write_flag(void)
{
    struct fhir_flag f = { .of = common,
                           .code = "high-flow",
                           .code_display = "High access flow" };

    f.of.key = "f36acacf-flag";
    buf_empty(&out);
    assert_int_equal(fhir_flag_write(&f, &out), ERR_OK);
    check_out();
}

static void a_flag(void **state)
{
    (void)state;
    write_flag();
    assert_golden_out("companion-flag.json");
}

static void a_provenance(void **state)
{
    struct fhir_source s = { .of = common,
                             .document = { .literal = "DocumentReference/d1",
                                           .type = "DocumentReference" },
                             .rule = "HF-1",
                             .policy_version = "3 beta",
                             .source_count = 2,
                             .sources = { readings[0], readings[1] } };

    (void)state;
    s.of.key = NULL;
    s.of.task.version = "1";
    buf_empty(&out);
    assert_int_equal(fhir_provenance_write(&s, &out), ERR_OK);
    check_out();
    assert_golden_out("companion-provenance.json");
    assert_lacks("identifier\":[");
    /* a uri has no blanks; the value of an identifier may */
    assert_has("\"policy\":[\"" BASE "/rules/HF-1|3%20beta\"]");
    assert_has("\"value\":\"HF-1|3 beta\"");
    s.rule = NULL;
    s.source_count = 0;
    s.document.literal = NULL;
    buf_empty(&out);
    assert_int_equal(fhir_provenance_write(&s, &out), ERR_OK);
    check_out();
    assert_lacks("entity");
    assert_lacks("policy");
}

/* ---- changed by us ---------------------------------------------------------------- */

/* What out holds becomes the input of the next step. */
static char *taken(void)
{
    char *text = strdup(out.data);

    assert_non_null(text);
    buf_empty(&out);
    return text;
}

static void a_document_is_retired(void **state)
{
    char *before;

    (void)state;
    write_document(NULL);
    before = taken();
    assert_int_equal(fhir_document_retire(before, strlen(before),
                                          "No plan is offered.", &out),
                     ERR_OK);
    check_out();
    assert_has("\"status\":\"superseded\"");
    assert_has("\"docStatus\":\"preliminary\"");
    assert_has("\"description\":\"No plan is offered.\"");
    assert_golden_out("companion-document-superseded.json");
    assert_int_equal(fhir_flag_end(before, strlen(before), 0, &out), ERR_FORM);
    free(before);
}

static void a_flag_ends_once(void **state)
{
    int64_t later_ms = (AUTHORED_S + 3 * DAY_S) * 1000;
    char *before, *ended;

    (void)state;
    write_flag();
    before = taken();
    assert_int_equal(fhir_flag_end(before, strlen(before), later_ms, &out),
                     ERR_OK);
    check_out();
    assert_has("\"status\":\"inactive\"");
    assert_has("\"period\":{\"start\":\"2026-03-06T08:12:00.000Z\",\"end\":"
               "\"2026-03-09T08:12:00.000Z\"}");
    assert_golden_out("companion-flag-ended.json");
    ended = taken();
    assert_int_equal(fhir_flag_end(ended, strlen(ended), later_ms + 1, &out),
                     ERR_OK);
    assert_string_equal(out.data, ended);
    /* R4 per-1: the end is not before the start, whatever the clock did */
    buf_empty(&out);
    assert_int_equal(fhir_flag_end(before, strlen(before), 1000, &out), ERR_OK);
    assert_has("\"end\":\"2026-03-06T08:12:00.000Z\"");
    free(ended);
    free(before);
}

static void a_proposal_is_revoked(void **state)
{
    static const char before[] =
        "{\"resourceType\":\"ServiceRequest\",\"status\":\"draft\",\"intent\":"
        "\"proposal\",\"note\":[{\"text\":\"first\"}]}";

    (void)state;
    buf_empty(&out);
    assert_int_equal(fhir_proposal_revoke(before, strlen(before),
                                          "It has gone.", AUTHORED_S * 1000,
                                          &out),
                     ERR_OK);
    check_out();
    assert_has("\"status\":\"revoked\"");
    assert_has("\"note\":[{\"text\":\"first\"},{\"authorString\":\"headgate");
    assert_has("\"text\":\"It has gone.\"}]");
}

/* ---- ours and the record's -------------------------------------------------------- */

#define DOC   "{\"resourceType\":\"DocumentReference\","
#define ORDER "{\"resourceType\":\"ServiceRequest\","
#define FLAG  "{\"resourceType\":\"Flag\","

static const struct {
    const char *name;
    enum fhir_type type;
    const char *ours, *theirs;
    bool same;
    const char *want; /* of what is to be sent; NULL: as theirs */
} merges[] = {
    { "a new text, and what only they have", FHIR_DOCUMENT_REFERENCE,
      DOC "\"id\":\"d1\",\"status\":\"current\",\"content\":[2]}",
      DOC "\"id\":\"77\",\"meta\":{\"versionId\":\"3\"},\"text\":{\"div\":"
          "\"x\"},\"status\":\"current\",\"docStatus\":\"preliminary\","
          "\"content\":[1],\"custodian\":{\"display\": \"Ward\"}}",
      false,
      DOC "\"id\":\"77\",\"status\":\"current\",\"docStatus\":\"preliminary\","
          "\"content\":[2],\"custodian\":{\"display\":\"Ward\"}}" },
    { "nothing new", FHIR_DOCUMENT_REFERENCE,
      DOC "\"id\":\"d1\",\"status\":\"current\",\"content\":[1]}",
      DOC "\"id\":\"77\",\"meta\":{\"versionId\":\"3\"},\"status\":\"current\","
          "\"content\":[1]}",
      true, NULL },
    { "a member that only ours has", FHIR_DOCUMENT_REFERENCE,
      DOC "\"status\":\"current\",\"relatesTo\":[1]}",
      DOC "\"id\":\"77\",\"status\":\"current\"}", false,
      DOC "\"id\":\"77\",\"status\":\"current\",\"relatesTo\":[1]}" },
    { "superseded by us", FHIR_DOCUMENT_REFERENCE,
      DOC "\"status\":\"superseded\",\"description\":\"b\"}",
      DOC "\"id\":\"77\",\"status\":\"current\",\"description\":\"a\"}", false,
      DOC "\"id\":\"77\",\"status\":\"superseded\",\"description\":\"b\"}" },
    { "put aside by a person", FHIR_DOCUMENT_REFERENCE,
      DOC "\"status\":\"current\",\"content\":[2]}",
      DOC "\"id\":\"77\",\"status\":\"entered-in-error\",\"content\":[1]}",
      true, NULL },
    { "signed: its words stay", FHIR_DOCUMENT_REFERENCE,
      DOC "\"status\":\"current\",\"docStatus\":\"preliminary\",\"content\":"
          "[2]}",
      DOC "\"id\":\"77\",\"status\":\"current\",\"docStatus\":\"final\","
          "\"content\":[1]}",
      true, NULL },
    { "signed, and superseded by us", FHIR_DOCUMENT_REFERENCE,
      DOC "\"status\":\"superseded\",\"docStatus\":\"preliminary\","
          "\"description\":\"b\",\"content\":[1]}",
      DOC "\"id\":\"77\",\"text\":{\"div\":\"x\"},\"status\":\"current\","
          "\"docStatus\":\"final\",\"content\":[1]}",
      false,
      DOC "\"id\":\"77\",\"text\":{\"div\":\"x\"},\"status\":\"superseded\","
          "\"docStatus\":\"final\",\"content\":[1]}" },
    { "more urgent, and their note", FHIR_SERVICE_REQUEST,
      ORDER "\"status\":\"draft\",\"priority\":\"urgent\",\"note\":[{\"text\":"
            "\"ours\"}]}",
      ORDER "\"id\":\"5\",\"status\":\"draft\",\"priority\":\"routine\","
            "\"note\":[{\"text\":\"ours\"},{\"text\":\"theirs\"}]}",
      false,
      ORDER
      "\"id\":\"5\",\"status\":\"draft\",\"priority\":\"urgent\",\"note\":"
      "[{\"text\":\"ours\"},{\"text\":\"theirs\"}]}" },
    { "taken up by a person", FHIR_SERVICE_REQUEST,
      ORDER "\"status\":\"revoked\",\"priority\":\"urgent\"}",
      ORDER "\"id\":\"5\",\"status\":\"active\",\"priority\":\"routine\"}",
      true, NULL },
    { "revoked", FHIR_SERVICE_REQUEST, ORDER "\"status\":\"revoked\"}",
      ORDER "\"id\":\"5\",\"status\":\"draft\"}", false,
      ORDER "\"id\":\"5\",\"status\":\"revoked\"}" },
    { "ended by us", FHIR_FLAG,
      FLAG "\"status\":\"inactive\",\"period\":{\"start\":\"2026\",\"end\":"
           "\"2027\"}}",
      FLAG
      "\"id\":\"9\",\"status\":\"active\",\"period\":{\"start\":\"2026\"}}",
      false,
      FLAG
      "\"id\":\"9\",\"status\":\"inactive\",\"period\":{\"start\":\"2026\","
      "\"end\":\"2027\"}}" },
    { "not raised again", FHIR_FLAG,
      FLAG "\"status\":\"active\",\"period\":{\"start\":\"2026\"}}",
      FLAG
      "\"id\":\"9\",\"status\":\"inactive\",\"period\":{\"start\":\"2026\","
      "\"end\":\"2026-05\"}}",
      true, NULL },
    { "written once", FHIR_PROVENANCE,
      "{\"resourceType\":\"Provenance\",\"recorded\":\"b\"}",
      "{\"resourceType\":\"Provenance\",\"id\":\"4\",\"recorded\":\"a\"}", true,
      NULL },
};

static void a_merge(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(merges); i++) {
        const char *ours = merges[i].ours, *theirs = merges[i].theirs;
        bool same = !merges[i].same;

        ROW(merges[i].name);
        buf_empty(&out);
        assert_int_equal(fhir_companion_merge(merges[i].type, ours,
                                              strlen(ours), theirs,
                                              strlen(theirs), &same, &out),
                         ERR_OK);
        assert_int_equal(same, merges[i].same);
        assert_string_equal(out.data,
                            merges[i].want != NULL ? merges[i].want : theirs);
    }
}

static void another_type_is_refused(void **state)
{
    static const char flag[] = FLAG "\"status\":\"active\"}";
    static const char task[] = "{\"resourceType\":\"Task\"}";
    bool same;

    (void)state;
    assert_int_equal(fhir_companion_merge(FHIR_FLAG, flag, strlen(flag), task,
                                          strlen(task), &same, &out),
                     ERR_FORM);
    assert_int_equal(fhir_companion_merge(FHIR_FLAG, flag, strlen(flag),
                                          "<html>", 6, &same, &out),
                     ERR_FORM);
    assert_int_equal(fhir_companion_merge(FHIR_TASK, task, strlen(task), task,
                                          strlen(task), &same, &out),
                     ERR_FORM);
}

/* Merging twice is merging once: nothing is sent a second time. */
static void a_merge_settles(void **state)
{
    char *first;
    bool same;

    (void)state;
    for (size_t i = 0; i < COUNT(merges); i++) {
        ROW(merges[i].name);
        buf_empty(&out);
        assert_int_equal(
            fhir_companion_merge(merges[i].type, merges[i].ours,
                                 strlen(merges[i].ours), merges[i].theirs,
                                 strlen(merges[i].theirs), &same, &out),
            ERR_OK);
        first = taken();
        assert_int_equal(fhir_companion_merge(merges[i].type, merges[i].ours,
                                              strlen(merges[i].ours), first,
                                              strlen(first), &same, &out),
                         ERR_OK);
        assert_true(same);
        free(first);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_document),
        cmocka_unit_test(a_proposal),
        cmocka_unit_test(a_flag),
        cmocka_unit_test(a_provenance),
        cmocka_unit_test(a_document_is_retired),
        cmocka_unit_test(a_flag_ends_once),
        cmocka_unit_test(a_proposal_is_revoked),
        cmocka_unit_test(a_merge),
        cmocka_unit_test(another_type_is_refused),
        cmocka_unit_test(a_merge_settles),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
