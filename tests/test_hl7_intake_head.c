/*
 * What is answered from the head of a message alone: in which mode, where the
 * rest cannot be taken apart, and what a sender is told that nobody knows.
 *
 * Source: HL7 v2.5.1, 2.9.3 (enhanced mode: CA is the commitment to keep a
 * message, CR its refusal), tables 0008, 0155, 0357.
 */
#include "service/hl7_answer.h"
#include "tests/service_world.h"
#include "tests/test.h"

static struct hl7_profile profile;
static struct hl7_intake in;
static char text[2048];

static int start(void **state)
{
    if (world_start(state) != 0)
        return -1;
    profile = (struct hl7_profile){ .name = "hall",
                                    .application = "APP",
                                    .zone = ((struct world *)*state)->zone,
                                    .patient_system = IDS "patient" };
    return 0;
}

static int stop(void **state)
{
    hl7_intake_clear(&in);
    return world_stop(state);
}

/* Through the store; the codes of what is answered, "CA AE". */
static const char *deliver(struct world *w, const struct hl7_profile *who)
{
    static char codes[32];
    struct hl7_counters counters = { .repeated = 0 };
    struct hl7_ids ids;
    struct buf frames;

    hl7_intake_clear(&in);
    in = (struct hl7_intake){ .bytes = text,
                              .len = strlen(text),
                              .profile = who,
                              .reader = w->reader,
                              .way = QUARANTINE_HL7,
                              .now_ms = world_now_ms() };
    assert_int_equal(hl7_intake_read(&in), ERR_OK);
    assert_int_equal(world_step(w, hl7_intake_apply, &in), ERR_OK);
    hl7_ids_start(&ids);
    buf_init(&frames, 2 * HL7_ACK_MAX + 64);
    hl7_answer_write(&in, ERR_OK, &ids, in.now_ms, &counters, &frames);
    assert_int_equal(buf_ok(&frames), ERR_OK);
    codes[0] = '\0';
    for (const char *at = frames.data; (at = strstr(at, "\rMSA|")) != NULL;
         at += 5)
        snprintf(codes + strlen(codes), sizeof(codes) - strlen(codes), "%s%.2s",
                 codes[0] != '\0' ? " " : "", at + 5);
    buf_clear(&frames);
    return codes;
}

static const struct {
    const char *name, *accept, *application, *rest;
    const char *codes; /* with a control id */
    const char *none;  /* without: nothing to keep it by */
} cases[] = {
    { "original, no segment", "", "", "\r??\r", "AE", "AR" },
    { "enhanced, no segment", "AL", "AL", "\r??\r", "CA AE", "CR" },
    { "enhanced, a second head", "AL", "NE", "\rMSH|^~\\&|X\r", "CA", "CR" },
    { "enhanced, an unknown set", "AL", "AL", "||KLINGON\r", "CA AE", "CR" },
    { "enhanced, a byte in the head", "AL", "ER", "|||\xe4\r", "CA AE", "CR" },
    { "only the application's", "", "AL", "\r??\r", "AE", "AR" },
    { "only if it fails", "ER", "ER", "\r??\r", "AE", "CR" },
    { "never", "NE", "NE", "\r??\r", "", "" },
};

static void answers_in_the_mode_of_the_head(void **state)
{
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        snprintf(
            text, sizeof(text),
            "MSH|^~\\&|APP|HALL|HG|U|2026||ORU^R01|M-%zu|P|2.5.1|||%s|%s%s", i,
            cases[i].accept, cases[i].application, cases[i].rest);
        assert_string_equal(deliver(*state, &profile), cases[i].codes);
        assert_true(in.message == NULL && in.id != 0);
        snprintf(text, sizeof(text),
                 "MSH|^~\\&|APP|HALL|HG|U|2026||ORU^R01||P|2.5.1|||%s|%s%s",
                 cases[i].accept, cases[i].application, cases[i].rest);
        assert_string_equal(deliver(*state, &profile), cases[i].none);
        assert_true(in.message == NULL && in.id == 0);
    }
}

/* Of a type, a version, a sender that is not taken: refused in that mode. */
static void refuses_in_the_mode_of_the_head(void **state)
{
    static const struct {
        const char *type, *version, *rest;
        bool stranger;
    } wrong[] = {
        { "ADT^A01", "2.5.1", "", false },
        { "ORU^R01", "2.1", "", false },
        { "ORU^R01", "2.5.1", "", true },
        { "ORU^R01", "2.5.1", "\r??", true }, /* and cannot be read */
    };

    for (size_t i = 0; i < 3 * COUNT(wrong); i++) {
        size_t row = i / 3;
        const char *accept = i % 3 == 0 ? "" : i % 3 == 1 ? "AL" : "NE";
        const char *application = i % 3 == 0 ? "" : "AL";

        ROW(wrong[row].type);
        snprintf(text, sizeof(text),
                 "MSH|^~\\&|APP|HALL|HG|U|2026||%s|M-1|P|%s|||%s|%s%s\r",
                 wrong[row].type, wrong[row].version, accept, application,
                 wrong[row].rest);
        assert_string_equal(
            deliver(*state, wrong[row].stranger ? NULL : &profile),
            i % 3 == 1 ? "CR" : "AR");
        assert_int_equal(in.id, 0);
    }
}

/* What whoever connects a machine has to set; of the names no more than can do
 * no harm in an answer, in JSON, on a screen. */
static void tells_strangers_what_to_set(void **state)
{
    static const struct {
        const char *three, *four, *says;
    } names[] = {
        { "DIALYSIS", "NORTH",
          "No section [sender NAME] is for MSH-3 \"DIALYSIS\" and MSH-4 "
          "\"NORTH\": " },
        { "DIALYSIS^2.999.1^ISO", "", "MSH-3 \"DIALYSIS\" and MSH-4 \"\": " },
        { "abcdefghijklmnopqrstuvwxyz", "abcdefghijklmnopqrstuvwx",
          "\"abcdefghijklmnopqrstu...\" and MSH-4 "
          "\"abcdefghijklmnopqrstuvwx\": " },
        { "D\xfc\x1b[31m\"x\x7f", "\t", "\"D??[31m?x?\" and MSH-4 \"?\": " },
    };

    for (size_t i = 0; i < COUNT(names); i++) {
        struct buf json;

        ROW(names[i].three);
        snprintf(text, sizeof(text),
                 "MSH|^~\\&|%s|%s|HG|U|2026||ORU^R01|M-1|P|2.5.1\r",
                 names[i].three, names[i].four);
        assert_string_equal(deliver(*state, NULL), "AR");
        assert_int_equal(in.issues.count, 1);
        assert_int_equal(in.issues.list[0].code, HL7_UNKNOWN_KEY);
        assert_non_null(strstr(in.issues.list[0].text, names[i].says));
        /* whole, whatever the names are */
        assert_non_null(strstr(in.issues.list[0].text, "those of this sender"));
        buf_init(&json, 65536);
        hl7_answer_json(&in, &json);
        assert_int_equal(buf_ok(&json), ERR_OK);
        for (size_t k = 0; k < json.len; k++)
            assert_in_range(json.data[k], ' ', '~');
        buf_clear(&json);
    }
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, start, stop)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(answers_in_the_mode_of_the_head),
        TEST(refuses_in_the_mode_of_the_head),
        TEST(tells_strangers_what_to_set),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
