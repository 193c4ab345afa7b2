/*
 * What goes beside a Task, from readings to resources in a real store: the
 * document of a plan, the proposal, the flag on the chart, where a Task comes
 * from; when each is made, renewed and ended, and what the record is to have.
 *
 * Source of status words, shapes and references: HL7 FHIR R4 (4.0.1).  Digests
 * are those of OpenSSL, JSON is read by jansson.
 */
#include "adapters/fhir_plan.h"
#include "service/companions.h"
#include "service/episodes.h"
#include "service/planning.h"
#include "service/resources.h"
#include "tests/service_world.h"
#include "tests/test.h"

#include <jansson.h>
#include <openssl/evp.h>

#define FLOW_TASK "refer-flow-review"

enum { A_DAY = 86400 };

static int start(void **state)
{
    struct world *w;

    world_start(state);
    w = *state;
    assert_int_equal(planning_open(&w->review.planning), ERR_OK);
    w->review.record = true;
    w->review.companions = (struct companion_options){ .documents = true,
                                                       .proposals = true,
                                                       .flags = true,
                                                       .provenance = true,
                                                       .inline_max = 262144 };
    world_has_access(w);
    return 0;
}

static int stop(void **state)
{
    struct world *w = *state;

    planning_close(w->review.planning);
    return world_stop(state);
}

/* ---- sending --------------------------------------------------------------- */

static void number(struct world *w, const char *code, const char *value,
                   const char *unit)
{
    assert_int_equal(world_post(w, OBS(.code = code, .value = value,
                                       .unit = unit, .access = ACCESS)),
                     201);
}

static void later(double days)
{
    world_now_s += (int64_t)(days * A_DAY);
}

static void flow(struct world *w, const char *value)
{
    later(7);
    number(w, "access-flow", value, "mL/min");
    world_review(w);
}

/* HF-1: two flows of at least 2000 mL/min, a week apart. */
static void high_flow(struct world *w)
{
    flow(w, "2400");
    later(7);
    number(w, "access-flow", "2500", "mL/min");
    number(w, "mean-pressure", "95", "mm[Hg]");
    world_review(w);
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
}

/* ---- looking ----------------------------------------------------------------- */

static json_t *json_of(const struct buf *text)
{
    json_t *tree =
        json_loadb(text->data, text->len, JSON_REJECT_DUPLICATES, NULL);

    assert_non_null(tree);
    return tree;
}

static json_t *task_json(struct world *w, const char *code,
                         struct resource *row)
{
    struct buf text;
    json_t *task;

    buf_init(&text, TASK_MAX);
    *row = world_task(w, code, &text);
    task = json_of(&text);
    buf_clear(&text);
    return task;
}

/* The companion of the newest Task of this code; NULL: it has none. */
static json_t *beside(struct world *w, const char *code, enum fhir_type kind,
                      struct companion *c)
{
    struct resource row;
    struct buf text;
    json_t *tree = task_json(w, code, &row);

    json_decref(tree);
    assert_int_equal(companion_get(w->db, row.id, kind, c), ERR_OK);
    if (c->row.id == 0)
        return NULL;
    buf_init(&text, TASK_MAX);
    assert_int_equal(companion_body(w->db, c, &text), ERR_OK);
    tree = json_of(&text);
    buf_clear(&text);
    return tree;
}

/* "content.0.attachment.size": one step after the other */
static json_t *at(json_t *tree, const char *path)
{
    char text[120], *step = text, *end;

    snprintf(text, sizeof(text), "%s", path);
    while (tree != NULL && step != NULL) {
        end = strchr(step, '.');
        if (end != NULL)
            *end++ = '\0';
        tree = json_is_array(tree)
                   ? json_array_get(tree, (size_t)strtol(step, NULL, 10))
                   : json_object_get(tree, step);
        step = end;
    }
    return tree;
}

static const char *text_at(json_t *tree, const char *path)
{
    const char *text = json_string_value(at(tree, path));

    return text != NULL ? text : "(none)";
}

static void expect(json_t *tree, const char *path, const char *want)
{
    if (strcmp(text_at(tree, path), want) != 0)
        fail_msg("%s is \"%s\", not \"%s\"", path, text_at(tree, path), want);
}

/* The references of all inputs of a kind. */
static size_t inputs_of(json_t *task, const char *kind, const char **reference)
{
    size_t count = 0, i;
    json_t *input;

    json_array_foreach(json_object_get(task, "input"), i, input)
    {
        if (strcmp(text_at(input, "type.coding.0.code"), kind) != 0)
            continue;
        *reference = text_at(input, "valueReference.reference");
        count++;
    }
    return count;
}

static long long column(struct world *w, const char *what, int64_t resource)
{
    char sql[160];

    snprintf(sql, sizeof(sql), "SELECT %s FROM outbox WHERE resource = %lld",
             what, (long long)resource);
    return world_count(w, sql);
}

/* The record has it, as 77. */
static void found(struct world *w, int64_t resource)
{
    assert_int_equal(db_run(w->db, Q_OUTBOX_FOUND, "iss", resource, "77", "1"),
                     ERR_OK);
}

/* ---- the document -------------------------------------------------------------- */

/* Its bytes, with size and hash as R4 says of an Attachment: SHA-1, base64. */
static char *attached(json_t *document, int content, const char *type)
{
    char path[48], want[64];
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int digest_len;
    json_t *attachment;
    const char *data;
    char *bytes;
    int len;

    snprintf(path, sizeof(path), "content.%d.attachment", content);
    attachment = at(document, path);
    expect(attachment, "contentType", type);
    data = text_at(attachment, "data");
    bytes = calloc(1, strlen(data) + 1);
    assert_non_null(bytes);
    len = EVP_DecodeBlock((unsigned char *)bytes, (const unsigned char *)data,
                          (int)strlen(data));
    assert_true(len > 0);
    for (const char *c = data + strlen(data); c > data && c[-1] == '='; c--)
        len--;
    bytes[len] = '\0';
    assert_int_equal(json_integer_value(json_object_get(attachment, "size")),
                     len);
    assert_int_equal(
        EVP_Digest(bytes, (size_t)len, digest, &digest_len, EVP_sha1(), NULL),
        1);
    EVP_EncodeBlock((unsigned char *)want, digest, (int)digest_len);
    expect(attachment, "hash", want);
    return bytes;
}

static void a_plan_becomes_a_document(void **state)
{
    struct world *w = world(state);
    struct companion c;
    struct resource row;
    struct buf task_text, plan;
    const char *reference;
    char want[120], *text, *data;
    json_t *task, *document;

    high_flow(w);
    task = task_json(w, FLOW_TASK, &row);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c);
    assert_non_null(document);
    snprintf(want, sizeof(want), "DocumentReference/%s", c.row.fid);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 1);
    assert_string_equal(reference, want);
    expect(document, "status", "current");
    expect(document, "docStatus", "preliminary");
    expect(document, "subject.reference", "Patient/p-1");
    expect(document, "context.related.0.reference", ACCESS);
    expect(document, "author.0.type", "Device");
    snprintf(want, sizeof(want), "%s-document",
             text_at(task, "identifier.0.value"));
    expect(document, "identifier.0.value", want);
    expect(document, "identifier.0.system", BASE "/NamingSystem/task-key");
    assert_null(json_object_get(document, "relatesTo"));
    /* the data are the plan of the Task, the text is that for people */
    text = attached(document, 0, "text/plain; charset=utf-8");
    data = attached(document, 1, "application/json");
    buf_init(&task_text, TASK_MAX);
    buf_init(&plan, TASK_MAX);
    world_task(w, FLOW_TASK, &task_text);
    assert_int_equal(fhir_plan_of_task(task_text.data, task_text.len, &plan),
                     ERR_OK);
    assert_string_equal(data, plan.data);
    assert_non_null(strstr(text, "BAND PLAN"));
    assert_non_null(strstr(text, "Decision support, not an order"));
    /* it waits for its Task */
    assert_int_equal(column(w, "state", c.row.id), 3);
    assert_int_equal(column(w, "place", c.row.id), 4);
    assert_int_equal(column(w, "wanted", c.row.id), 1);
    assert_int_equal(column(w, "task", c.row.id), row.id);
    assert_int_equal(column(w, "key IS NOT NULL", c.row.id), 1);
    buf_clear(&plan);
    buf_clear(&task_text);
    free(data);
    free(text);
    json_decref(document);
    json_decref(task);
}

static void a_new_plan_is_a_new_version(void **state)
{
    struct world *w = world(state);
    struct companion before, after;
    struct resource row;
    const char *reference;
    json_t *task, *document;
    char *data;

    high_flow(w);
    json_decref(beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &before));
    found(w, before.row.id);
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &after);
    assert_int_equal(after.row.id, before.row.id);
    assert_int_equal(after.row.version, before.row.version + 1);
    data = attached(document, 1, "application/json");
    assert_non_null(strstr(data, "\"conduit_mm\":8"));
    task = task_json(w, FLOW_TASK, &row);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 1);
    /* the record has it: it goes there by itself */
    assert_int_equal(column(w, "state", after.row.id), 0);
    assert_int_equal(column(w, "wanted", after.row.id), 2);
    free(data);
    json_decref(task);
    json_decref(document);
}

/* Taken out, it is superseded; a plan that comes back is another document. */
static void a_plan_that_is_gone_is_superseded(void **state)
{
    struct world *w = world(state);
    struct companion first, second;
    struct resource row;
    const char *reference;
    char want[160];
    json_t *task, *document;

    high_flow(w);
    json_decref(beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &first));
    number(w, "digital-brachial-index-compressed", "0.45", "1");
    world_review(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &first);
    expect(document, "status", "superseded");
    assert_int_equal(first.row.version, 2);
    json_decref(document);
    task = task_json(w, FLOW_TASK, &row);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 0);
    assert_int_equal(inputs_of(task, "plan", &reference), 0);
    json_decref(task);
    later(1);
    number(w, "digital-brachial-index-compressed", "0.95", "1");
    world_review(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &second);
    assert_int_not_equal(second.row.id, first.row.id);
    expect(document, "status", "current");
    expect(document, "relatesTo.0.code", "replaces");
    snprintf(want, sizeof(want), "DocumentReference/%s", first.row.fid);
    expect(document, "relatesTo.0.target.reference", want);
    task = task_json(w, FLOW_TASK, &row);
    snprintf(want, sizeof(want), "%s-document-2",
             text_at(task, "identifier.0.value"));
    expect(document, "identifier.0.value", want);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 1);
    snprintf(want, sizeof(want), "DocumentReference/%s", second.row.fid);
    assert_string_equal(reference, want);
    json_decref(task);
    json_decref(document);
}

/* The data go first, then the document, which a note tells of. */
static void a_long_plan_is_no_document(void **state)
{
    struct world *w = world(state);
    struct companion c;
    struct resource row;
    const char *reference;
    json_t *task, *document;
    char *text;
    size_t len;

    high_flow(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c);
    text = attached(document, 0, "text/plain; charset=utf-8");
    len = strlen(text);
    json_decref(document);
    free(text);
    w->review.companions.inline_max = len + 1000; /* and not all the data */
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c);
    assert_int_equal(json_array_size(json_object_get(document, "content")), 1);
    expect(document, "status", "current");
    json_decref(document);
    w->review.companions.inline_max = 1024;
    number(w, "conduit-diameter", "7", "mm");
    world_review(w);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c);
    expect(document, "status", "superseded");
    json_decref(document);
    task = task_json(w, FLOW_TASK, &row);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 0);
    assert_int_equal(inputs_of(task, "plan", &reference), 1);
    json_decref(task);
    assert_int_equal(world_task_says(w, FLOW_TASK, "too long to be kept"), 1);
}

/* ---- the proposal --------------------------------------------------------------- */

static void a_proposal_is_the_focus(void **state)
{
    struct world *w = world(state);
    struct companion c;
    struct resource row;
    const char *reference;
    char want[120];
    json_t *task, *order;

    high_flow(w);
    task = task_json(w, FLOW_TASK, &row);
    order = beside(w, FLOW_TASK, FHIR_SERVICE_REQUEST, &c);
    snprintf(want, sizeof(want), "ServiceRequest/%s", c.row.fid);
    expect(task, "focus.reference", want);
    assert_int_equal(inputs_of(task, "access", &reference), 1);
    assert_string_equal(reference, ACCESS);
    expect(order, "status", "draft");
    expect(order, "intent", "proposal");
    expect(order, "priority", text_at(task, "priority"));
    expect(order, "code.coding.0.code", FLOW_TASK);
    expect(order, "supportingInfo.0.reference", ACCESS);
    assert_non_null(strstr(text_at(order, "note.0.text"), "no order"));
    assert_int_equal(json_array_size(json_object_get(order, "reasonReference")),
                     2);
    assert_int_equal(column(w, "state", c.row.id), 3);
    json_decref(order);
    json_decref(task);
}

static void ends_with(struct world *w, const char *person, const char *status)
{
    struct companion c;
    json_t *order;

    high_flow(w);
    if (person != NULL)
        world_person(w, FLOW_TASK, person);
    flow(w, "900");
    flow(w, "900");
    order = beside(w, FLOW_TASK, FHIR_SERVICE_REQUEST, &c);
    expect(order, "status", status);
    json_decref(order);
}

static void our_end_revokes_it(void **state)
{
    ends_with(world(state), NULL, "revoked");
}

static void a_persons_task_keeps_it(void **state)
{
    ends_with(world(state), "accepted", "draft");
}

/* ---- the flag ---------------------------------------------------------------------- */

static void expect_flag(struct world *w, const char *status, bool has_end)
{
    struct companion c;
    json_t *flag = beside(w, FLOW_TASK, FHIR_FLAG, &c);

    assert_non_null(flag);
    expect(flag, "status", status);
    assert_true((at(flag, "period.end") != NULL) == has_end);
    json_decref(flag);
}

static void a_finding_is_flagged(void **state)
{
    struct world *w = world(state);
    struct companion c;
    struct resource row;
    char want[120];
    json_t *flag;

    high_flow(w);
    json_decref(task_json(w, FLOW_TASK, &row));
    flag = beside(w, FLOW_TASK, FHIR_FLAG, &c);
    expect(flag, "status", "active");
    expect(flag, "category.0.coding.0.system",
           "http://terminology.hl7.org/CodeSystem/flag-category");
    expect(flag, "category.0.coding.0.code", "clinical");
    expect(flag, "code.coding.0.code", "high-flow");
    expect(flag, "subject.reference", "Patient/p-1");
    snprintf(want, sizeof(want), "Task/%s", row.fid);
    expect(flag, "extension.0.valueReference.reference", want);
    json_decref(flag);
    assert_int_equal(column(w, "state", c.row.id), 3);
    expect_flag(w, "active", false);
}

static void its_end_ends_the_flag(void **state)
{
    struct world *w = world(state);

    high_flow(w);
    flow(w, "900");
    flow(w, "900");
    expect_flag(w, "inactive", true);
}

/* Whatever the person makes of the Task. */
static void a_person_ends_the_flag(void **state)
{
    struct world *w = world(state);
    struct companion c;
    int version;

    high_flow(w);
    world_person(w, FLOW_TASK, "accepted");
    expect_flag(w, "active", false);
    world_person(w, FLOW_TASK, "completed");
    expect_flag(w, "inactive", true);
    json_decref(beside(w, FLOW_TASK, FHIR_FLAG, &c));
    version = c.row.version;
    assert_int_equal(column(w, "wanted", c.row.id), version);
    /* and no second time */
    world_person(w, FLOW_TASK, "entered-in-error");
    json_decref(beside(w, FLOW_TASK, FHIR_FLAG, &c));
    assert_int_equal(c.row.version, version);
}

static void a_dose_is_not_flagged(void **state)
{
    struct world *w = world(state);

    number(w, "pump-flow", "300", "mL/min");
    flow(w, "450");
    flow(w, "440");
    assert_int_equal(world_tasks(w, "refer-low-flow-review", "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion WHERE kind "
                                    "= 8"),
                     0);
}

/* ---- where it comes from ------------------------------------------------------- */

static void its_sources_are_named(void **state)
{
    struct world *w = world(state);
    struct companion source, document;
    struct resource row;
    char want[120];
    size_t i, sources = 0;
    json_t *tree, *entity;

    high_flow(w);
    json_decref(task_json(w, FLOW_TASK, &row));
    json_decref(beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &document));
    tree = beside(w, FLOW_TASK, FHIR_PROVENANCE, &source);
    snprintf(want, sizeof(want), "Task/%s/_history/1", row.fid);
    expect(tree, "target.0.reference", want);
    snprintf(want, sizeof(want), "DocumentReference/%s", document.row.fid);
    expect(tree, "target.1.reference", want);
    expect(tree, "activity.coding.0.code", "CREATE");
    expect(tree, "agent.0.type.coding.0.code", "assembler");
    expect(tree, "agent.0.who.display", "headgate " HEADGATE_VERSION);
    json_array_foreach(json_object_get(tree, "entity"), i, entity)
    {
        const char *what = text_at(entity, "what.reference");

        if (strcmp(text_at(entity, "role"), "source") != 0)
            continue;
        sources++;
        assert_int_equal(strncmp(what, "Observation/", 12), 0);
        assert_string_equal(strstr(what, "/_history/"), "/_history/1");
    }
    assert_int_equal(sources, 2);
    entity = at(tree, "entity.2");
    expect(entity, "role", "derivation");
    expect(entity, "what.identifier.system", BASE "/rules");
    assert_int_equal(
        strncmp(text_at(entity, "what.identifier.value"), "HF-1|", 5), 0);
    assert_string_equal(source.key, "");
    assert_int_equal(column(w, "state", source.row.id), 3);
    assert_int_equal(column(w, "key IS NULL", source.row.id), 1);
    json_decref(tree);
    /* once, when it is made */
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    json_decref(beside(w, FLOW_TASK, FHIR_PROVENANCE, &source));
    assert_int_equal(source.row.version, 1);
}

/* ---- settings, silence ------------------------------------------------------------ */

static void nothing_is_made_unasked(void **state)
{
    struct world *w = world(state);
    struct resource row;
    const char *reference;
    json_t *task;

    w->review.companions = (struct companion_options){ .documents = false };
    high_flow(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion"), 0);
    task = task_json(w, FLOW_TASK, &row);
    expect(task, "focus.reference", ACCESS);
    assert_int_equal(inputs_of(task, "worksheet", &reference), 0);
    assert_int_equal(inputs_of(task, "access", &reference), 0);
    json_decref(task);
}

/* What is there is ended also where no more are made. */
static void settings_strand_nothing(void **state)
{
    struct world *w = world(state);
    struct companion c;
    json_t *document;

    high_flow(w);
    w->review.companions = (struct companion_options){ .documents = false };
    flow(w, "900");
    flow(w, "900");
    expect_flag(w, "inactive", true);
    document = beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c);
    expect(document, "status", "superseded");
    json_decref(document);
}

static void without_a_record_they_stay_here(void **state)
{
    struct world *w = world(state);

    w->review.record = false;
    high_flow(w);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion"), 4);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 0);
    /* a record, for the first time */
    w->review.record = true;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox"), 5);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM outbox WHERE state = 3"), 4);
    assert_int_equal(world_count(w, "SELECT count(*) FROM outbox WHERE key IS "
                                    "NULL"),
                     1);
}

static void silence_makes_none(void **state)
{
    struct world *w = world(state);

    w->review.silent = true;
    flow(w, "2400");
    flow(w, "2500");
    number(w, "mean-pressure", "95", "mm[Hg]");
    world_review(w);
    assert_int_equal(
        world_count(w, "SELECT count(*) FROM task WHERE silent = 1"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion"), 0);
    w->review.silent = false;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    world_review(w);
    /* what still holds is suggested anew, with all that goes beside it */
    assert_int_equal(world_tasks(w, FLOW_TASK, "requested"), 1);
    assert_int_equal(world_count(w, "SELECT count(*) FROM companion"), 4);
}

/* A Task that was posted before is kept up; the record hears of it after. */
static void what_changed_in_silence_goes_out(void **state)
{
    struct world *w = world(state);
    struct companion c;

    high_flow(w);
    json_decref(beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c));
    found(w, c.row.id);
    assert_int_equal(db_run(w->db, Q_OUTBOX_SENT, "iiii", c.row.id, INT64(1),
                            INT64(201), INT64(0)),
                     ERR_OK);
    w->review.silent = true;
    number(w, "conduit-diameter", "8", "mm");
    world_review(w);
    json_decref(beside(w, FLOW_TASK, FHIR_DOCUMENT_REFERENCE, &c));
    assert_int_equal(c.row.version, 2);
    assert_int_equal(column(w, "wanted", c.row.id), 1);
    assert_int_equal(column(w, "state", c.row.id), 1);
    w->review.silent = false;
    assert_int_equal(review_start(w->db, &w->review), ERR_OK);
    assert_int_equal(column(w, "wanted", c.row.id), 2);
    assert_int_equal(column(w, "state", c.row.id), 0);
}

/* A flag follows its Task, and goes as soon as that is there. */
static void a_flag_goes_alone(void **state)
{
    struct world *w = world(state);
    struct companion c;
    struct resource row;

    high_flow(w);
    json_decref(task_json(w, FLOW_TASK, &row));
    found(w, row.id);
    world_person(w, FLOW_TASK, "completed");
    json_decref(beside(w, FLOW_TASK, FHIR_FLAG, &c));
    assert_int_equal(column(w, "state", c.row.id), 0);
}

#define TEST(t) cmocka_unit_test_setup_teardown(t, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(a_plan_becomes_a_document),
        TEST(a_new_plan_is_a_new_version),
        TEST(a_plan_that_is_gone_is_superseded),
        TEST(a_long_plan_is_no_document),
        TEST(a_proposal_is_the_focus),
        TEST(our_end_revokes_it),
        TEST(a_persons_task_keeps_it),
        TEST(a_finding_is_flagged),
        TEST(its_end_ends_the_flag),
        TEST(a_person_ends_the_flag),
        TEST(a_dose_is_not_flagged),
        TEST(its_sources_are_named),
        TEST(nothing_is_made_unasked),
        TEST(settings_strand_nothing),
        TEST(without_a_record_they_stay_here),
        TEST(silence_makes_none),
        TEST(what_changed_in_silence_goes_out),
        TEST(a_flag_goes_alone),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
