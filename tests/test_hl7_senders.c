#include "service/hl7_senders.h"

#include "tests/test.h"

#include <stdlib.h>
#include <unistd.h>

#define HEAD(application, facility)                                            \
    "MSH|^~\\&|" application "|" facility                                      \
    "|HEADGATE|UNIT|20261120||ORU^R01|C-1|P|2.5.1\rPID|1\r"

static struct hl7_senders *senders;
static struct buf why;

static enum err open_by(const char *const *overrides, int count)
{
    static struct config config;
    enum err e;

    buf_init(&why, 1024);
    assert_int_equal(config_load(NULL, overrides, count, &config, &why),
                     ERR_OK);
    e = hl7_senders_open(&config, &senders, &why);
    assert_int_equal(why.len > 0, e == ERR_CONFIG);
    return e;
}

static void close_all(void)
{
    buf_clear(&why);
    hl7_senders_close(senders);
    senders = NULL;
}

static bool bears(const void *arg, const char *name)
{
    return strcmp(arg, name) == 0;
}

static const char *find(const char *message, const char *certificate,
                        bool proven)
{
    struct hl7_sender_head head;
    const struct hl7_profile *p;

    if (hl7_senders_peek(message, strlen(message), &head) != ERR_OK)
        return "no head";
    p = hl7_senders_find(senders, &head, proven ? NULL : bears, certificate);
    return p != NULL ? p->name : "nobody";
}

/* MSH-3 and MSH-4 are names (HD) whose first component is theirs (HL7 v2.5.1,
 * 2.15.9.3). */
static void finds_by_name(void **state)
{
    static const char *const settings[] = {
        "sender both.application=APP",     "sender both.facility=NORTH",
        "sender other.application=APP",    "sender other.facility=SOUTH",
        "sender wide.application=WIDE",    "sender place.facility=HALL",
        "sender place.application=PLACED", "sender named.unit=Files",
    };
    static const struct {
        const char *name, *message, *want;
    } cases[] = {
        { "both", HEAD("APP", "NORTH"), "both" },
        { "the other", HEAD("APP", "SOUTH"), "other" },
        { "neither", HEAD("APP", "EAST"), "nobody" },
        { "no facility", HEAD("APP", ""), "nobody" },
        { "any facility", HEAD("WIDE", "X"), "wide" },
        { "any, and none", HEAD("WIDE", ""), "wide" },
        { "first component", HEAD("APP^urn:oid:1.2^ISO", "NORTH^1^ISO"),
          "both" },
        { "case counts", HEAD("app", "NORTH"), "nobody" },
        { "a part of a name", HEAD("AP", "NORTH"), "nobody" },
        { "more than a name", HEAD("APPS", "NORTH"), "nobody" },
        { "both of one", HEAD("PLACED", "HALL"), "place" },
        { "half of it", HEAD("OTHER", "HALL"), "nobody" },
        { "other delimiters", "MSH#*~\\&#APP*x#NORTH#\r", "both" },
        { "a mark in front", "\xef\xbb\xbf" HEAD("APP", "NORTH"), "both" },
        { "ends in a line feed", "MSH|^~\\&|APP|NORTH\nPID|\n", "both" },
        { "ends there", "MSH|^~\\&|APP|NORTH", "both" },
        { "of the next line", "MSH|^~\\&\rAPP|NORTH|APP|NORTH\r", "nobody" },
        { "no head", "PID|1\r", "no head" },
        { "too short", "MSH|^", "no head" },
        { "nothing", "", "no head" },
    };

    (void)state;
    assert_int_equal(open_by(settings, COUNT(settings)), ERR_OK);
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_string_equal(find(cases[i].message, "", false), cases[i].want);
        assert_string_equal(find(cases[i].message, "", true), cases[i].want);
    }
    close_all();
}

static void finds_by_certificate(void **state)
{
    static const char *const settings[] = {
        "mllp.tls_certificate=c.pem",
        "mllp.tls_key=k.pem",
        "mllp.tls_client_ca=a.pem",
        "sender north.application=APP",
        "sender north.certificate=north.example",
        "sender south.application=APP",
        "sender south.certificate=south.example",
        "sender machine.certificate=machine.example",
    };

    (void)state;
    assert_int_equal(open_by(settings, COUNT(settings)), ERR_OK);
    assert_string_equal(find(HEAD("APP", ""), "north.example", false), "north");
    assert_string_equal(find(HEAD("APP", ""), "south.example", false), "south");
    assert_string_equal(find(HEAD("APP", ""), "east.example", false), "nobody");
    assert_string_equal(find(HEAD("APP", ""), "", false), "nobody");
    /* whatever it calls itself */
    assert_string_equal(find(HEAD("X", "Y"), "machine.example", false),
                        "machine");
    /* shown by other means who it is; of two nobody can tell */
    assert_string_equal(find(HEAD("APP", ""), NULL, true), "nobody");
    close_all();
}

/* Whoever claims to be one of the known, and cannot show it, is nobody. */
static void takes_any_sender(void **state)
{
    static const char *const settings[] = {
        "mllp.tls_certificate=c.pem",
        "mllp.tls_key=k.pem",
        "mllp.tls_client_ca=a.pem",
        "mllp.any_sender=true",
        "sender north.application=APP",
        "sender north.certificate=north.example",
    };
    static const char *const described[] = { "mllp.any_sender=true",
                                             "sender any.system.L=urn:a:l" };

    (void)state;
    assert_int_equal(open_by(settings, COUNT(settings)), ERR_OK);
    assert_string_equal(find(HEAD("APP", ""), "north.example", false), "north");
    assert_string_equal(find(HEAD("APP", ""), "south.example", false),
                        "nobody");
    assert_string_equal(find(HEAD("OTHER", ""), "", false), "any");
    assert_string_equal(find(HEAD("", ""), "", false), "any");
    assert_non_null(hl7_senders_named(senders, "any"));
    assert_string_equal(hl7_senders_named(senders, "north")->name, "north");
    assert_null(hl7_senders_named(senders, "south"));
    assert_int_equal(hl7_senders_named(senders, "any")->system_count, 0);
    close_all();
    assert_int_equal(open_by(described, COUNT(described)), ERR_OK);
    assert_string_equal(find(HEAD("OTHER", ""), "", false), "any");
    assert_string_equal(hl7_senders_named(senders, "any")->systems[0].uri,
                        "urn:a:l");
    close_all();
    assert_int_equal(open_by(settings, 3), ERR_OK);
    assert_null(hl7_senders_named(senders, "any"));
    assert_string_equal(find(HEAD("OTHER", ""), "", false), "nobody");
    close_all();
}

static void knows_zones_and_charsets(void **state)
{
    static const char *const settings[] = { "site.zone=Europe/Berlin",
                                            "sender a.application=A",
                                            "sender a.charset=8859/1",
                                            "sender b.application=B",
                                            "sender b.zone=Asia/Kolkata" };
    static const char *const wrong[] = { "sender a.charset=KLINGON" };
    const struct hl7_profile *a, *b;

    (void)state;
    assert_int_equal(open_by(settings, COUNT(settings)), ERR_OK);
    a = hl7_senders_named(senders, "a");
    b = hl7_senders_named(senders, "b");
    /* 1 July 2026: summer time in Berlin is UTC+2, India is UTC+5:30 */
    assert_int_equal(zone_offset_s(a->zone, 1782864000), 7200);
    assert_int_equal(zone_offset_s(b->zone, 1782864000), 19800);
    assert_string_equal(a->charset, "8859/1");
    assert_string_equal(a->unit, "a"); /* nothing else is said */
    close_all();
    assert_int_equal(open_by(wrong, COUNT(wrong)), ERR_CONFIG);
    assert_non_null(strstr(why.data, "[sender a] charset: KLINGON"));
    close_all();
}

/* A file, with --set or without: a complaint names the file and the line. */
static void says_where(void **state)
{
    static const char *const set[] = { "sender a.charset=KLINGON" };
    static const char *const files[] = { "mllp.enabled=true" };
    static const struct {
        const char *name, *text, *want;
        const char *const *set;
    } cases[] = {
        { "a character set", "[sender a]\n; words\ncharset = LATIN1\n",
          "where.ini:3: [sender a] charset: LATIN1 is not a character set",
          NULL },
        { "by --set", "[sender a]\ncharset = 8859/1\n",
          "--set: [sender a] charset: KLINGON is not a character set", set },
        { "a certificate that is missing",
          "[mllp]\ntls_key = /dev/null\ntls_certificate = none.pem\n",
          "where.ini:3: [mllp] tls_certificate: /tmp/headgate-where-", files },
        { "revocation lists that are missing",
          "[mllp]\ntls_key = /dev/null\ntls_certificate = /dev/null\n"
          "tls_client_ca = /dev/null\ntls_crl = /nowhere/crl.pem\n",
          "where.ini:5: [mllp] tls_crl: /nowhere/crl.pem cannot be read: No "
          "such file or directory",
          files },
    };
    char folder[] = "/tmp/headgate-where-XXXXXX", path[64];
    static struct config config;

    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof(path), "%s/where.ini", folder);
    for (size_t i = 0; i < COUNT(cases); i++) {
        FILE *f = fopen(path, "we");
        enum err e;

        ROW(cases[i].name);
        assert_non_null(f);
        fputs(cases[i].text, f);
        fclose(f);
        buf_init(&why, 1024);
        assert_int_equal(config_load(path, cases[i].set,
                                     cases[i].set != NULL ? 1 : 0, &config,
                                     &why),
                         ERR_OK);
        e = config_check_files(&config, &why);
        if (e == ERR_OK)
            e = hl7_senders_open(&config, &senders, &why);
        assert_int_equal(e, ERR_CONFIG);
        if (strstr(why.data, cases[i].want) == NULL)
            fail_msg("%s", why.data);
        close_all();
    }
    unlink(path);
    rmdir(folder);
}

static void reads_the_head(void **state)
{
    struct hl7_sender_head head;
    char text[1024];

    (void)state;
    assert_int_equal(hl7_senders_peek(HEAD("APP^1", "NORTH"),
                                      strlen(HEAD("APP^1", "NORTH")), &head),
                     ERR_OK);
    assert_string_equal(head.application, "APP");
    assert_string_equal(head.facility, "NORTH");
    assert_string_equal(head.control, "C-1");
    assert_false(head.too_long);
    for (int over = 0; over <= 1; over++) {
        snprintf(text, sizeof(text), "MSH|^~\\&|%0*d|F||||||%0*d\r", 63 + over,
                 0, 199 + over, 0);
        assert_int_equal(hl7_senders_peek(text, strlen(text), &head), ERR_OK);
        assert_int_equal(head.too_long, over);
        assert_int_equal(strlen(head.application), over ? 0 : 63);
        assert_int_equal(strlen(head.control), 199); /* cut */
    }
}

static void knows_its_own_names(void **state)
{
    static const struct {
        const char *names, *receiver;
        bool want;
    } cases[] = {
        { "", "ANY", true },
        { "", "", true },
        { " , ", "ANY", true },
        { "HEADGATE", "HEADGATE", true },
        { "HEADGATE", "HEADGATES", false },
        { "HEADGATE", "HEAD", false },
        { "HEADGATE", "", false },
        { "A, HEAD GATE ,B", "HEAD GATE", true },
        { "A, HEAD GATE ,B", "B", true },
        { "A, HEAD GATE ,B", "HEAD GATE ", false },
        { "A, HEAD GATE ,B", "C", false },
        { ",A,,B,", "B", true },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].names);
        assert_int_equal(
            hl7_receiver_is_ours(cases[i].names, cases[i].receiver),
            cases[i].want);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finds_by_name),
        cmocka_unit_test(finds_by_certificate),
        cmocka_unit_test(says_where),
        cmocka_unit_test(takes_any_sender),
        cmocka_unit_test(knows_zones_and_charsets),
        cmocka_unit_test(reads_the_head),
        cmocka_unit_test(knows_its_own_names),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
