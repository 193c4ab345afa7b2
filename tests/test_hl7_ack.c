#include "adapters/hl7_ack.h"
#include "tests/test.h"

/* 2026-11-26T08:15:42Z, by `date -u -d 2026-11-26T08:15:42 +%s` */
enum { AT_S = 1795680942 };

static const struct hl7_issues two = { .count = 3,
                                       .errors = 2,
                                       .list = { { HL7_WARNING,
                                                   HL7_TABLE_VALUE,
                                                   "code-unclear",
                                                   { "OBX", 2, 3, 0, 0, 0 },
                                                   "Not mapped" },
                                                 { HL7_ERROR,
                                                   HL7_DATA_TYPE,
                                                   "bad-value",
                                                   { "OBX", 3, 5, 1, 1, 0 },
                                                   "Not a number | ^ ~ \\ &" },
                                                 { HL7_ERROR,
                                                   HL7_UNKNOWN_KEY,
                                                   "identity",
                                                   { "PID", 1, 3, 0, 0, 0 },
                                                   "Not known" } } };

static void answer_bytes(const char *bytes, size_t len, bool parsed,
                         enum hl7_answer answer,
                         const struct hl7_issues *issues, struct buf *out)
{
    struct hl7_message *m = NULL;
    struct hl7_fault fault;
    enum err e = hl7_read(bytes, len, "", &m, &fault);

    assert_int_equal(e == ERR_OK, parsed);
    buf_empty(out);
    hl7_ack_write(m, bytes, len, answer, "HG-1", AT_S, issues, out);
    assert_int_equal(buf_ok(out), ERR_OK);
    hl7_free(m);
}

/*
 * A message, its answer, line by line ("/" for CR).  Sources: HL7 v2.5.1, 2.9.2
 * (the rules of an answer), 2.15.8 and 2.15.5 (MSA, ERR); 2.3.1, 2.24.4 (ERR-1
 * of that time); section numbers from memory.
 */
static const struct {
    const char *name, *message;
    enum hl7_answer answer;
    const struct hl7_issues *issues;
    const char *want;
} cases[] = {
    { "accepted",
      "MSH|^~\\&|LAB|767543|ADT|767543|19900314130405||ACK^R01^ACK|XX3657|P|"
      "2.5/",
      HL7_AA, NULL,
      "MSH|^~\\&|ADT|767543|LAB|767543|20261126081542+0000||ACK^R01^ACK|HG-1|P|"
      "2.5/MSA|AA|XX3657/" },
    { "errors, 2.5 and later",
      "MSH|^~\\&|LAB^2.999^ISO|H|HG|U|1||ORU^R01^ORU_R01|7|P|2.5.1/", HL7_AE,
      &two,
      "MSH|^~\\&|HG|U|LAB^2.999^ISO|H|20261126081542+0000||ACK^R01^ACK|HG-1|P|"
      "2.5.1/MSA|AE|7/"
      "ERR||OBX^2^3|103^Table value not found^HL70357|W||||Not mapped/"
      "ERR||OBX^3^5^1^1|102^Data type error^HL70357|E||||Not a number \\F\\ "
      "\\S\\ \\R\\ \\E\\ \\T\\/"
      "ERR||PID^1^3|204^Unknown key identifier^HL70357|E||||Not known/" },
    { "errors, before 2.5", "MSH|^~\\&|LAB|H|HG|U|1||ORU^R01|7|P|2.3.1/",
      HL7_AE, &two,
      "MSH|^~\\&|HG|U|LAB|H|20261126081542+0000||ACK^R01^ACK|HG-1|P|2.3.1/"
      "MSA|AE|7|Not a number \\F\\ \\S\\ \\R\\ \\E\\ \\T\\/"
      "ERR|OBX^3^5^102&Data type error&HL70357~"
      "PID^1^3^204&Unknown key identifier&HL70357/" },
    { "no name of a structure in 2.3", "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.3/",
      HL7_AA, NULL,
      "MSH|^~\\&|C|D|A|B|20261126081542+0000||ACK^R01|HG-1|P|2.3/MSA|AA|7/" },
    { "no event", "MSH|^~\\&|A|B|C|D|1||ORU|7|P|2.4/", HL7_AR, NULL,
      "MSH|^~\\&|C|D|A|B|20261126081542+0000||ACK|HG-1|P|2.4/MSA|AR|7/" },
    { "with truncation", "MSH|^~\\&#|A|B|C|D|1||ORU^R01|7#|D|2.7/", HL7_CA,
      NULL,
      "MSH|^~\\&#|C|D|A|B|20261126081542+0000||ACK^R01^ACK|HG-1|D|2.7/"
      "MSA|CA|7#/" },
    { "no escape: delimiters in our text are blanks",
      "MSH|^~&|A|B|C|D|1||ORU^R01|7|P|2.5/", HL7_AE, &two,
      "MSH|^~&|C|D|A|B|20261126081542+0000||ACK^R01^ACK|HG-1|P|2.5/MSA|AE|7/"
      "ERR||OBX^2^3|103^Table value not found^HL70357|W||||Not mapped/"
      "ERR||OBX^3^5^1^1|102^Data type error^HL70357|E||||Not a number       \\ "
      " "
      "/"
      "ERR||PID^1^3|204^Unknown key identifier^HL70357|E||||Not known/" },
    { "byte for byte, in its character set",
      "MSH|^~\\&|L\xe4"
      "b|H\xf6|C|D|1||ORU^R01|7\xfc\\F\\ &x|P^T|2.5.1^DEU"
      "||||||8859/1~ISO IR87/",
      HL7_CA, NULL,
      "MSH|^~\\&|C|D|L\xe4"
      "b|H\xf6|20261126081542+0000||ACK^R01^ACK|HG-1|P^T|"
      "2.5.1^DEU||||||8859/1~ISO IR87/MSA|CA|7\xfc\\F\\ &x/" },
    { "what is not there", "MSH|^~\\&/", HL7_AR, NULL,
      "MSH|^~\\&|||||20261126081542+0000||ACK|HG-1|P|2.5.1/MSA|AR|/" },
};

static void slashes_to_cr(char *text)
{
    for (; *text != '\0'; text++) {
        if (*text == '/')
            *text = '\r';
    }
}

static void answers(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, HL7_ACK_MAX);
    for (size_t i = 0; i < COUNT(cases); i++) {
        char message[300], want[900];

        ROW(cases[i].name);
        snprintf(message, sizeof(message), "%s", cases[i].message);
        snprintf(want, sizeof(want), "%s", cases[i].want);
        if (strstr(message, "8859/1") == NULL) {
            slashes_to_cr(message);
            slashes_to_cr(want);
        } else {
            message[strlen(message) - 1] = '\r';
            want[strlen(want) - 1] = '\r';
            *strstr(want, "/MSA") = '\r';
        }
        answer_bytes(message, strlen(message), true, cases[i].answer,
                     cases[i].issues, &out);
        assert_string_equal(out.data, want);
    }
    buf_clear(&out);
}

static void answers_in_odd_delimiters(void **state)
{
    static const char message[] = "MSH$*!/%$A$B$C$D$1$$ORU*R01$7$P$2.6\r";
    struct buf out;

    (void)state;
    buf_init(&out, HL7_ACK_MAX);
    answer_bytes(message, strlen(message), true, HL7_CE, &two, &out);
    assert_string_equal(
        out.data,
        "MSH$*!/%$C$D$A$B$20261126081542+0000$$ACK*R01*ACK$HG-1$P$2.6\r"
        "MSA$CE$7\r"
        "ERR$$OBX*2*3$103*Table value not found*HL70357$W$$$$Not mapped\r"
        "ERR$$OBX*3*5*1*1$102*Data type error*HL70357$E$$$$Not a number | ^ ~ "
        "\\ &\r"
        "ERR$$PID*1*3$204*Unknown key identifier*HL70357$E$$$$Not known\r");
    buf_clear(&out);
}

/* What can be found in bytes that are no message: MSA of the answer, and its
 * MSH up to the time. */
static const struct {
    const char *name, *bytes;
    size_t len; /* 0: of the text */
    const char *msh, *msa;
} heads[] = {
    { "a segment without a name",
      "MSH|^~\\&|A|B|C|D|1||ORU^R01|77|P|2.5\rpid|\r", 0, "MSH|^~\\&|C|D|A|B|",
      "MSA|AR|77\r" },
    { "a byte of another set", "MSH|^~\\&|A|B|C|D|1||ORU^R01|7\xe4|P|2.5\r", 0,
      "MSH|^~\\&|C|D|A|B|", "MSA|AR|7\xe4\r" },
    { "lines before MSH", "\r\n\r\nMSH|^~\\&|A|B|C|D|1||ORU^R01|77|P|2.5", 0,
      "MSH|^~\\&|C|D|A|B|", "MSA|AR|77\r" },
    { "a batch around it", "BHS|^~\\&|X\rMSH|^~\\&|A|B|C|D|1||ORU^R01|77|P|2.5",
      0, "MSH|^~\\&|C|D|A|B|", "MSA|AR|77\r" },
    { "delimiters that are none", "MSH|^^\\&|A|B|C|D|1||ORU^R01|77|P|2.5", 0,
      "MSH|^~\\&|C|D|A|B|", "MSA|AR|77\r" },
    { "another field separator, and delimiters that are none",
      "MSH$**/%$A$B$C|c$D$1$$ORU*R01$77$P$2.5", 0, "MSH|^~\\&||D|A|B|",
      "MSA|AR|77\r" },
    { "a NUL", "MSH|^~\\&|A\0|B|C|D|1||ORU^R01|77\0x|P|2.5", 39,
      "MSH|^~\\&|C|D||B|", "MSA|AR|77\r" },
    { "cut within MSH-10", "MSH|^~\\&|A|B|C|D|1||ORU^R01|7", 0,
      "MSH|^~\\&|C|D|A|B|", "MSA|AR|7\r" },
    { "no MSH at all", "GET / HTTP/1.1\r\n", 0, "MSH|^~\\&|||||", "MSA|AR|\r" },
    { "MSH within a word", "xMSH|^~\\&|A|B", 0, "MSH|^~\\&|||||", "MSA|AR|\r" },
    { "nothing", "", 0, "MSH|^~\\&|||||", "MSA|AR|\r" },
};

static void answers_what_is_no_message(void **state)
{
    struct buf out;

    (void)state;
    buf_init(&out, HL7_ACK_MAX);
    for (size_t i = 0; i < COUNT(heads); i++) {
        size_t len = heads[i].len > 0 ? heads[i].len : strlen(heads[i].bytes);

        ROW(heads[i].name);
        buf_empty(&out);
        hl7_ack_write(NULL, heads[i].bytes, len, HL7_AR, "HG-1", AT_S, NULL,
                      &out);
        assert_int_equal(strncmp(out.data, heads[i].msh, strlen(heads[i].msh)),
                         0);
        assert_string_equal(strstr(out.data, "MSA"), heads[i].msa);
    }
    buf_empty(&out);
    hl7_ack_write(NULL, NULL, 0, HL7_AR, "HG-1", AT_S, NULL, &out);
    assert_string_equal(strstr(out.data, "MSA"), "MSA|AR|\r");
    buf_clear(&out);
}

/* However much there is to say, and however long the fields are. */
static void stays_small(void **state)
{
    static struct hl7_issues many = { .count = HL7_ISSUES_MAX,
                                      .errors = 500,
                                      .dropped = 480 };
    char *bytes = malloc(200000);
    size_t len;
    struct buf out;

    (void)state;
    for (size_t i = 0; i < HL7_ISSUES_MAX; i++) {
        many.list[i] =
            (struct hl7_issue){ .severity = HL7_ERROR,
                                .code = HL7_TOO_LONG,
                                .place = { "OBX", 20000, 999999, 999999, 999999,
                                           999999 } };
        memset(many.list[i].text, '|', sizeof(many.list[i].text) - 1);
    }
    len = (size_t)snprintf(bytes, 100, "MSH|^~\\&|");
    memset(bytes + len, 'a', 199000);
    for (size_t i = len + 1000; i < 14000; i += 1000)
        bytes[i] = '|';
    buf_init(&out, 1 << 20);
    answer_bytes(bytes, len + 199000, true, HL7_AE, &many, &out);
    assert_true(out.len > 10000 && out.len <= HL7_ACK_MAX);
    assert_non_null(strstr(out.data, " and more: 480\r"));
    buf_clear(&out);
    free(bytes);
}

/* ---- when it is wanted ---------------------------------------------------- */

/* HL7 v2.5.1, 2.9.3.1 and table 0155. */
static const struct {
    const char *name, *fields;
    struct hl7_wants want;
} wants[] = {
    { "original", "||", { false, HL7_WANTED_NONE, HL7_WANTED_NONE } },
    { "always, never",
      "|AL|NE",
      { true, HL7_WANTED_ALWAYS, HL7_WANTED_NEVER } },
    { "error, success",
      "|ER|SU",
      { true, HL7_WANTED_ERROR, HL7_WANTED_SUCCESS } },
    { "only the second", "||AL", { true, HL7_WANTED_NONE, HL7_WANTED_ALWAYS } },
    { "deleted", "|\"\"|\"\"", { false, HL7_WANTED_NONE, HL7_WANTED_NONE } },
    { "no such word",
      "|YES|al",
      { true, HL7_WANTED_ALWAYS, HL7_WANTED_ALWAYS } },
};

static void says_when(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(wants); i++) {
        char text[100];
        struct hl7_message *m = NULL;
        struct hl7_fault fault;
        struct hl7_wants got;

        ROW(wants[i].name);
        snprintf(text, sizeof(text), "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5||%s",
                 wants[i].fields);
        assert_int_equal(hl7_read(text, strlen(text), "", &m, &fault), ERR_OK);
        got = hl7_wants(m);
        assert_int_equal(got.enhanced, wants[i].want.enhanced);
        assert_int_equal(got.accept, wants[i].want.accept);
        assert_int_equal(got.application, wants[i].want.application);
        hl7_free(m);
        /* the same of bytes that nobody can take apart */
        snprintf(text + strlen(text), 20, "\r\xff\xffno segment");
        assert_int_equal(hl7_read(text, strlen(text), "", &m, &fault),
                         ERR_FORM);
        got = hl7_wants_of_head(text, strlen(text));
        assert_int_equal(got.enhanced, wants[i].want.enhanced);
        assert_int_equal(got.accept, wants[i].want.accept);
        assert_int_equal(got.application, wants[i].want.application);
    }
    assert_true(hl7_is_wanted(HL7_WANTED_ALWAYS, true));
    assert_true(hl7_is_wanted(HL7_WANTED_ALWAYS, false));
    assert_false(hl7_is_wanted(HL7_WANTED_NEVER, true));
    assert_false(hl7_is_wanted(HL7_WANTED_NEVER, false));
    assert_false(hl7_is_wanted(HL7_WANTED_ERROR, true));
    assert_true(hl7_is_wanted(HL7_WANTED_ERROR, false));
    assert_true(hl7_is_wanted(HL7_WANTED_SUCCESS, true));
    assert_false(hl7_is_wanted(HL7_WANTED_SUCCESS, false));
    assert_false(hl7_is_wanted(HL7_WANTED_NONE, true));
    assert_false(hl7_is_wanted(HL7_WANTED_NONE, false));
}

/* What a message that is none says of the answer that it wants. */
static void looks_at_heads(void **state)
{
    static const struct {
        const char *text;
        enum hl7_wanted accept, application;
    } looks[] = {
        { "", HL7_WANTED_NONE, HL7_WANTED_NONE },
        { "MSH", HL7_WANTED_NONE, HL7_WANTED_NONE },
        { "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5|||AL", HL7_WANTED_ALWAYS,
          HL7_WANTED_NONE },
        { "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5|||NE|ER^x~AL\rPID",
          HL7_WANTED_NEVER, HL7_WANTED_ERROR },
        { "MSH#*~!&#A#B#C#D#1##ORU*R01#7#P#2.5###SU#AL#\r", HL7_WANTED_SUCCESS,
          HL7_WANTED_ALWAYS },
        /* the fields of the next segment are not those of this one */
        { "MSH|^~\\&|A|B|C|D|1||ORU^R01|7|P|2.5\rPID|1|||AL|AL",
          HL7_WANTED_NONE, HL7_WANTED_NONE },
        { "\x0bMSH|^~\\&|A\xe4|B|C|D|1||ORU^R01|7|P|2.5|||AL|NE|\r",
          HL7_WANTED_ALWAYS, HL7_WANTED_NEVER },
        /* delimiters that nobody can use part the fields all the same */
        { "MSH|^^^^|A|B|C|D|1||ORU^R01|7|P|2.5|||AL|NE|\r", HL7_WANTED_ALWAYS,
          HL7_WANTED_NEVER },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(looks); i++) {
        struct hl7_wants got;

        ROW(looks[i].text);
        got = hl7_wants_of_head(looks[i].text, strlen(looks[i].text));
        assert_int_equal(got.accept, looks[i].accept);
        assert_int_equal(got.application, looks[i].application);
        assert_int_equal(got.enhanced,
                         looks[i].accept != HL7_WANTED_NONE ||
                             looks[i].application != HL7_WANTED_NONE);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(answers),
        cmocka_unit_test(answers_in_odd_delimiters),
        cmocka_unit_test(answers_what_is_no_message),
        cmocka_unit_test(stays_small),
        cmocka_unit_test(says_when),
        cmocka_unit_test(looks_at_heads),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
