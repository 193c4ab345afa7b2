#include "service/config.h"
#include "service/config_rows.h"
#include "tests/test.h"

#include <unistd.h>

/* A folder of its own for the files of a test. */
static char folder[64];

static int make_folder(void **state)
{
    (void)state;
    snprintf(folder, sizeof(folder), "/tmp/config-XXXXXX");
    return mkdtemp(folder) == NULL;
}

static int remove_folder(void **state)
{
    static const char *const names[] = { "x.ini", "a.json", "b.json",
                                         "mllp.ini" };
    char path[256];

    (void)state;
    for (size_t i = 0; i < COUNT(names); i++) {
        snprintf(path, sizeof(path), "%s/%s", folder, names[i]);
        unlink(path);
    }
    return rmdir(folder);
}

static const char *write_file(const char *name, const char *text)
{
    static char path[256];
    FILE *file;

    snprintf(path, sizeof(path), "%s/%s", folder, name);
    file = fopen(path, "we");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
    return path;
}

static enum err load(const char *path, const char *override, struct config *c,
                     char *why, size_t size)
{
    const char *overrides[] = { "http.anonymous=true", override };
    struct config loaded;
    struct buf b;
    enum err e;

    buf_init(&b, 4096);
    e = config_load(path, overrides, override != NULL ? 2 : 1, &loaded, &b);
    if (e == ERR_OK)
        e = config_check_listener(&loaded, path, &b);
    if (e == ERR_OK)
        *c = loaded;
    snprintf(why, size, "%s", b.data);
    assert_int_equal(why[0] != '\0', e != ERR_OK); /* always said, or silent */
    buf_clear(&b);
    return e;
}

static void has_defaults(void **state)
{
    struct config c;
    char why[512];

    (void)state;
    assert_int_equal(load(NULL, NULL, &c, why, sizeof(why)), ERR_OK);
    assert_string_equal(c.http_address, "127.0.0.1");
    assert_int_equal(c.http_port, 8480);
    assert_string_equal(c.http_tokens, "");
    assert_true(c.http_anonymous); /* by the override */
    assert_int_equal(c.http_body_max, 4194304);
    assert_int_equal(c.http_connections_max, 256);
    assert_int_equal(c.http_request_timeout_ms, 30000);
    assert_int_equal(c.http_idle_timeout_ms, 60000);
    assert_string_equal(c.fhir_base, "https://headgate.example/fhir");
    assert_int_equal(c.fhir_entries_max, 5000);
    assert_false(c.fhir_strict_access);
    assert_string_equal(c.zone, "UTC");
    assert_true(c.merge_implied);
    assert_string_equal(c.store_path, "headgate.db");
    assert_string_equal(c.policy_path, "policy.ini");
    assert_int_equal(c.map_count, 0);
    assert_string_equal(c.record_url, "");
    assert_string_equal(c.record_token_file, "");
    assert_int_equal(c.record_timeout_ms, 15000);
    assert_int_equal(c.outbox_retry_first_ms, 1000);
    assert_int_equal(c.outbox_retry_last_ms, 300000);
    assert_int_equal(c.outbox_parallel, 8);
    assert_int_equal(c.outbox_unclear_tries, 5);
    assert_false(c.mllp_enabled);
    assert_int_equal(c.mllp_port, 0);
    assert_false(config_listens_hl7(&c));
    assert_string_equal(c.mllp_address, "127.0.0.1");
    assert_int_equal(c.mllp_frame_max, 1048576);
    assert_false(c.mllp_any_sender);
    assert_int_equal(c.sender_count, 0);
    assert_string_equal(c.log_level, "info");
}

/* Nobody is served by accident: without a token file, not at all.  But whoever
 * only asks a service elsewhere, or runs past data, has none to name. */
static void needs_tokens(void **state)
{
    struct config c;
    struct buf why;

    (void)state;
    buf_init(&why, 4096);
    assert_int_equal(config_load(NULL, NULL, 0, &c, &why), ERR_OK);
    assert_int_equal(why.len, 0);
    assert_int_equal(config_check_listener(&c, "x.ini", &why), ERR_CONFIG);
    assert_non_null(strstr(why.data, "x.ini: [http] tokens"));
    buf_clear(&why);
}

static void reads_overrides(void **state)
{
    static const struct {
        const char *name, *override;
        enum err want;
        const char *why; /* part of it */
    } cases[] = {
        { "port", "http.port=9000", ERR_OK, "" },
        { "port, lowest", "http.port=0", ERR_OK, "" },
        { "port, too high", "http.port=65536", ERR_CONFIG,
          "--set: [http] port: 65536 is not between 0 and 65535" },
        { "port, negative", "http.port=-1", ERR_CONFIG, "-1 is not between" },
        { "port, huge", "http.port=99999999999999999999", ERR_CONFIG,
          "is not between" },
        { "port, not a number", "http.port=http", ERR_CONFIG,
          "http is not a whole number" },
        { "port, fraction", "http.port=80.5", ERR_CONFIG, "not a whole" },
        { "port, more behind", "http.port=80x", ERR_CONFIG, "not a whole" },
        { "port, empty", "http.port=", ERR_CONFIG, "not a whole number" },
        { "flag", "fhir.strict_access=true", ERR_OK, "" },
        { "flag, other word", "fhir.strict_access=yes", ERR_CONFIG,
          "yes is neither true nor false" },
        { "address, IPv6", "http.address=::1", ERR_OK, "" },
        { "address, all of 127", "http.address=127.9.9.9", ERR_OK, "" },
        { "address, name", "http.address=localhost", ERR_CONFIG, "in numbers" },
        { "open and anonymous", "http.address=0.0.0.0", ERR_CONFIG,
          "[http] anonymous: only on a loopback" },
        { "open and anonymous, IPv6", "http.address=::", ERR_CONFIG,
          "[http] anonymous" },
        { "almost loopback", "http.address=128.0.0.1", ERR_CONFIG,
          "[http] anonymous" },
        { "zone", "site.zone=Etc/UTC", ERR_OK, "" },
        { "zone, none", "site.zone=Nowhere/Else", ERR_CONFIG,
          "[site] zone: Nowhere/Else is not a zone" },
        { "zone, a path", "site.zone=../etc/passwd", ERR_CONFIG, "zone" },
        { "address of record", "record.url=https://record.example/fhir", ERR_OK,
          "" },
        { "address, no scheme", "record.url=record.example", ERR_CONFIG,
          "is not an http" },
        { "address, query", "record.url=https://r.example/?a=b", ERR_CONFIG,
          "\"?\"" },
        { "base, empty", "fhir.base=", ERR_CONFIG, "must not be empty" },
        { "level", "log.level=debug", ERR_OK, "" },
        { "level, other", "log.level=loud", ERR_CONFIG,
          "loud is not one of debug" },
        { "store, empty", "store.path=", ERR_CONFIG, "must not be empty" },
        { "map, missing", "codes.map=/nowhere/x.json", ERR_CONFIG,
          "[codes] map: /nowhere/x.json cannot be read" },
        { "retry", "outbox.retry_first=300000", ERR_OK, "" },
        { "retry, crossed", "outbox.retry_first=300001", ERR_CONFIG,
          "[outbox] retry_first: is above retry_last" },
        { "no HL7 v2", "mllp.enabled=false", ERR_OK, "" },
        { "no port for HL7 v2", "mllp.port=0", ERR_OK, "" },
        { "HL7 v2", "mllp.enabled=true", ERR_OK, "" },
        { "port for HL7 v2", "mllp.port=2575", ERR_OK, "" },
        { "a sender", "sender hall.application=A", ERR_OK, "" },
        { "a system", "sender hall.system.L=https://a.example/l", ERR_OK, "" },
        { "a system, no name", "sender hall.system=urn:a:b", ERR_CONFIG,
          "--set: [sender hall] system: there is no such setting" },
        { "a system, no URI", "sender hall.system.L=local", ERR_CONFIG,
          "--set: [sender hall] system.L: local is not a URI" },
        { "sender, unknown key", "sender hall.aplication=A", ERR_CONFIG,
          "--set: [sender hall] aplication: there is no such setting" },
        { "sender, no key", "sender hall=A", ERR_CONFIG, "no such setting" },
        { "sender, no name", "sender .unit=A", ERR_CONFIG,
          "a sender's name has 1 to 40" },
        { "any sender", "sender any.unit=A", ERR_OK, "" },
        { "any sender of one application", "sender any.application=A",
          ERR_CONFIG, "[sender any] application, facility, certificate: it" },
        { "sender, choice", "sender hall.bad_content=AR", ERR_OK, "" },
        { "sender, no choice", "sender hall.bad_content=AX", ERR_CONFIG,
          "[sender hall] bad_content: AX is not one of AE AA AR" },
        { "sender, zone", "sender hall.zone=Nowhere/Else", ERR_CONFIG,
          "[sender hall] zone: Nowhere/Else is not a zone" },
        { "sender, certificate", "sender hall.certificate=x.example",
          ERR_CONFIG,
          "settings: [sender hall] certificate: needs mllp.tls_client_ca" },
        { "unknown key", "http.prot=80", ERR_CONFIG,
          "--set: http.prot=80: there is no such setting" },
        { "no section", "port=80", ERR_CONFIG, "no such setting" },
        { "no value", "http.port", ERR_CONFIG,
          "not of the form section.key=value" },
        { "nothing", "", ERR_CONFIG, "not of the form" },
    };
    struct config c;
    char why[1024];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        memset(&c, 0x55, sizeof(c));
        assert_int_equal(load(NULL, cases[i].override, &c, why, sizeof(why)),
                         cases[i].want);
        if (strstr(why, cases[i].why) == NULL)
            print_error("why: %s\n", why);
        assert_non_null(strstr(why, cases[i].why));
        if (cases[i].want != ERR_OK) /* untouched */
            assert_int_equal(((unsigned char *)&c)[0], 0x55);
    }
}

static void reads_files(void **state)
{
    static const struct {
        const char *name, *text;
        enum err want;
        const char *why;
    } cases[] = {
        { "empty", "", ERR_OK, "" },
        { "comments", "; a\n# b\n\n[http]\nport = 1 ; behind\n", ERR_OK, "" },
        { "indented", "  [http]\n    port = 1\n    idle_timeout = 100\n",
          ERR_OK, "" },
        { "carriage returns", "[http]\r\nport = 1\r\n", ERR_OK, "" },
        { "last line open", "[http]\nport = 1", ERR_OK, "" },
        { "out of range", "\n[http]\nport = 70000\n", ERR_CONFIG,
          "x.ini:3: [http] port: 70000 is not between 0 and 65535" },
        { "unknown key", "[http]\nprot = 1\n", ERR_CONFIG,
          "x.ini:2: [http] prot: there is no such setting" },
        { "unknown section", "[htpp]\nport = 1\n", ERR_CONFIG,
          "x.ini:2: [htpp] port: there is no such section" },
        { "before any section", "port = 1\n", ERR_CONFIG, "x.ini:1: [] port" },
        { "twice", "[http]\nport = 1\nport = 2\n", ERR_CONFIG,
          "x.ini:3: [http] port: is given twice" },
        { "no equals sign", "[http]\nport\n", ERR_CONFIG,
          "x.ini:2: is not a line of an INI file" },
        { "section left open", "; c\n[http\nport = 1\n", ERR_CONFIG,
          "x.ini:2: is not a line" },
        { "map missing", "[codes]\nmap = none.json\n", ERR_CONFIG,
          "x.ini:2: [codes] map: " },
        { "HL7 v2, open to all", "[mllp]\nport = 2575\naddress = ::\n",
          ERR_CONFIG,
          "x.ini:3: [mllp] address: beyond loopback only with allow" },
        { "HL7 v2, open to none that is named",
          "[mllp]\nport = 2575\naddress = ::\nallow = ,\n", ERR_CONFIG,
          "x.ini:3: [mllp] address: beyond loopback only with allow" },
        { "HL7 v2, open to some",
          "[http]\nport = 1\n[mllp]\nenabled = true\naddress = 0.0.0.0\n"
          "allow = 10.0.0.0/8, 2001:db8::/32\n",
          ERR_OK, "" },
        { "not open at all: nothing to protect",
          "[mllp]\naddress = 0.0.0.0\n[http]\nport = 1\n", ERR_OK, "" },
        { "not an address", "[mllp]\nallow = 10.0.0.0/8, hall\n", ERR_CONFIG,
          "x.ini:2: [mllp] allow: hall is not an address or prefix" },
        { "not a prefix", "[mllp]\nallow = 10.0.0.0/33\n", ERR_CONFIG,
          "x.ini:2: [mllp] allow: 10.0.0.0/33 is not an address or prefix" },
        { "certificate without key", "[mllp]\ntls_certificate = c.pem\n",
          ERR_CONFIG, "x.ini:2: [mllp] tls_certificate and tls_key: each" },
        { "clients without a certificate of ours",
          "[mllp]\ntls_client_ca = c.pem\n", ERR_CONFIG,
          "x.ini:2: [mllp] tls_client_ca: needs tls_certificate" },
        { "key without certificate", "[mllp]\n\ntls_key = k.pem\n", ERR_CONFIG,
          "x.ini:3: [mllp] tls_certificate and tls_key: each" },
        { "lists of nobody's authority",
          "[mllp]\ntls_certificate = c.pem\ntls_key = k.pem\n"
          "tls_crl = r.pem\n",
          ERR_CONFIG, "x.ini:4: [mllp] tls_crl: needs tls_client_ca" },
        { "everybody, beyond loopback",
          "[http]\nanonymous = true\naddress = 0.0.0.0\n", ERR_CONFIG,
          "--set: [http] anonymous: only on a loopback address" },
        { "certificate of a sender that nobody asks for",
          "[sender a]\n\ncertificate = a.example\n", ERR_CONFIG,
          "x.ini:3: [sender a] certificate: needs mllp.tls_client_ca" },
        { "unknown section of a sender", "[sendr x]\napplication = A\n",
          ERR_CONFIG,
          "x.ini:2: [sendr x] application: there is no such section; that of "
          "a sender is [sender NAME]" },
        { "sender, unknown key", "[sender a]\n\nunits = x\n", ERR_CONFIG,
          "x.ini:3: [sender a] units: there is no such setting" },
        { "sender, bad flag", "[sender a]\naccept_test = yes\n", ERR_CONFIG,
          "x.ini:2: [sender a] accept_test: yes is neither true nor false" },
        { "sender, twice", "[sender a]\nunit = x\nunit = y\n", ERR_CONFIG,
          "x.ini:3: [sender a] unit: is given twice" },
        { "system, twice",
          "[sender a]\nsystem.L = urn:a:b\nsystem.L = urn:a:c\n", ERR_CONFIG,
          "x.ini:3: [sender a] system.L: is given twice" },
        { "system, long name",
          "[sender a]\nsystem.ABCDEFGHIJKLMNOP = urn:a:b\n", ERR_CONFIG,
          "has a name that is too long" },
        { "sender, name with a blank", "[sender a b]\nunit = x\n", ERR_CONFIG,
          "x.ini:2: [sender a b]: a sender's name has 1 to 40 letters" },
        { "two of one application",
          "[sender a]\napplication = X\n[sender b]\napplication = X\n",
          ERR_CONFIG,
          "x.ini:4: [sender b] application: a message may be both of this "
          "sender and of [sender a]" },
        { "one of any facility",
          "[sender a]\napplication = X\nfacility = F\n"
          "[sender b]\napplication = X\n",
          ERR_CONFIG, "of [sender a]" },
        { "two of different facilities",
          "[http]\nport = 1\n[sender a]\napplication = X\nfacility = F\n"
          "[sender b]\napplication = X\nfacility = G\n",
          ERR_OK, "" },
        { "one that is only named", /* and thus no other's */
          "[http]\nport = 1\n[sender a]\nunit = U\n"
          "[sender b]\napplication = X\n",
          ERR_OK, "" },
    };
    struct config c;
    char why[1024];

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        ROW(cases[i].name);
        assert_int_equal(load(write_file("x.ini", cases[i].text), NULL, &c, why,
                              sizeof(why)),
                         cases[i].want);
        if (strstr(why, cases[i].why) == NULL)
            print_error("why: %s\n", why);
        assert_non_null(strstr(why, cases[i].why));
        if (cases[i].want == ERR_OK && strstr(cases[i].text, "port") != NULL)
            assert_int_equal(c.http_port, 1);
    }
}

/* A line that is too long is refused, not read as two. */
/* A port alone opens the listener; false shuts it, wherever the port stands. */
static void false_shuts_the_listener(void **state)
{
    static const struct {
        const char *name, *text, *override;
        bool listens;
    } cases[] = {
        { "nothing", "[http]\n", NULL, false },
        { "a port", "[mllp]\nport = 2575\n", NULL, true },
        { "true", "[mllp]\nenabled = true\n", NULL, true },
        { "false and a port", "[mllp]\nenabled = false\nport = 2575\n", NULL,
          false },
        { "true and a port, false after it",
          "[mllp]\nenabled = true\nport = 2575\n", "mllp.enabled=false",
          false },
        { "a port, false after it", "[mllp]\nport = 2575\n",
          "mllp.enabled=false", false },
        { "false, true after it", "[mllp]\nenabled = false\nport = 2575\n",
          "mllp.enabled=true", true },
        { "false, a port after it", "[mllp]\nenabled = false\n",
          "mllp.port=2575", false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct config c;
        char why[512];

        ROW(cases[i].name);
        assert_int_equal(load(write_file("mllp.ini", cases[i].text),
                              cases[i].override, &c, why, sizeof(why)),
                         ERR_OK);
        assert_int_equal(config_listens_hl7(&c), cases[i].listens);
    }
}

static void refuses_long_lines(void **state)
{
    char text[5000], why[1024];
    struct config c;
    int n = snprintf(text, sizeof(text), "[http]\n; ");

    (void)state;
    memset(text + n, 'x', 4000);
    snprintf(text + n + 4000, 100, "\nport = 1\n");
    assert_int_equal(
        load(write_file("x.ini", text), NULL, &c, why, sizeof(why)),
        ERR_CONFIG);
    assert_non_null(strstr(why, "x.ini:2: is not a line"));
}

static void refuses_missing_files(void **state)
{
    struct config c;
    char why[1024];

    (void)state;
    assert_int_equal(load("/nowhere/x.ini", NULL, &c, why, sizeof(why)),
                     ERR_IO);
    assert_non_null(strstr(why, "/nowhere/x.ini: cannot be read"));
    assert_int_equal(load("/tmp", NULL, &c, why, sizeof(why)), ERR_IO);
}

/* Files are found from the file that names them, overrides from here. */
static void resolves_paths(void **state)
{
    struct config c;
    const char *path;
    char why[1024], want[256];

    (void)state;
    path = write_file("x.ini", "[store]\npath = ../run/d.db\n"
                               "[http]\ntokens = /etc/tokens\n"
                               "[record]\ntoken_file = t\n");
    assert_int_equal(load(path, NULL, &c, why, sizeof(why)), ERR_OK);
    snprintf(want, sizeof(want), "%s/../run/d.db", folder);
    assert_string_equal(c.store_path, want);
    snprintf(want, sizeof(want), "%s/t", folder);
    assert_string_equal(c.record_token_file, want);
    snprintf(want, sizeof(want), "%s/policy.ini", folder); /* beside it */
    assert_string_equal(c.policy_path, want);
    assert_string_equal(c.http_tokens, "/etc/tokens");

    assert_int_equal(load(path, "store.path=x.db", &c, why, sizeof(why)),
                     ERR_OK);
    assert_string_equal(c.store_path, "x.db");

    path = write_file("x.ini", "[log]\nlevel = warn\n");
    assert_int_equal(load(path, NULL, &c, why, sizeof(why)), ERR_OK);
    snprintf(want, sizeof(want), "%s/headgate.db", folder); /* beside it */
    assert_string_equal(c.store_path, want);
    assert_string_equal(c.log_level, "warn");
    assert_int_equal(load(path, "log.level=error", &c, why, sizeof(why)),
                     ERR_OK);
    assert_string_equal(c.log_level, "error"); /* the override wins */
}

/* Both sides of the longest path that fits. */
static void limits_paths(void **state)
{
    char text[CONFIG_TEXT_SIZE + 64], why[2048];
    struct config c;

    (void)state;
    for (int over = 0; over <= 1; over++) {
        int n = snprintf(text, sizeof(text), "store.path=");

        memset(text + n, 'p', (size_t)(CONFIG_TEXT_SIZE - 1 + over));
        text[n + CONFIG_TEXT_SIZE - 1 + over] = '\0';
        assert_int_equal(load(NULL, text, &c, why, sizeof(why)),
                         over ? ERR_CONFIG : ERR_OK);
    }
    assert_non_null(strstr(why, "is too long"));
}

static void collects_maps(void **state)
{
    char text[CONFIG_MAPS_MAX * 16 + 64] = "[codes]\n", why[1024], want[256];
    struct config c;

    (void)state;
    write_file("a.json", "{}");
    write_file("b.json", "{}");
    assert_int_equal(load(write_file("x.ini", "[codes]\nmap = a.json\n"
                                              "map =\nmap = b.json\n"),
                          NULL, &c, why, sizeof(why)),
                     ERR_OK);
    assert_int_equal(c.map_count, 2);
    snprintf(want, sizeof(want), "%s/b.json", folder);
    assert_string_equal(c.maps[1], want);

    for (int i = 1; i <= CONFIG_MAPS_MAX + 1; i++) {
        size_t len = strlen(text);

        snprintf(text + len, sizeof(text) - len, "map = a.json\n");
        assert_int_equal(
            load(write_file("x.ini", text), NULL, &c, why, sizeof(why)),
            i <= CONFIG_MAPS_MAX ? ERR_OK : ERR_CONFIG);
    }
    assert_int_equal(c.map_count, CONFIG_MAPS_MAX);
    assert_non_null(strstr(why, "one map too many"));
}

static void drops_the_last_slash(void **state)
{
    struct config c;
    char why[1024];

    (void)state;
    assert_int_equal(
        load(NULL, "fhir.base=https://a.example/fhir//", &c, why, sizeof(why)),
        ERR_OK);
    assert_string_equal(c.fhir_base, "https://a.example/fhir");
}

/* Every number of the table, both sides of both ends of its range. */
static void keeps_ranges(void **state)
{
    struct config c;
    char text[128], why[1024];
    size_t count;
    const struct config_row *rows = config_rows(&count);

    (void)state;
    for (size_t i = 0; i < count; i++) {
        const long values[] = { rows[i].least - 1, rows[i].least, rows[i].most,
                                rows[i].most + 1 };

        if (rows[i].type != T_INT)
            continue;
        ROW(rows[i].key);
        for (size_t k = 0; k < COUNT(values); k++) {
            enum err want = k == 0 || k == 3 ? ERR_CONFIG : ERR_OK;

            snprintf(text, sizeof(text), "%s=%ld", rows[i].key, values[k]);
            if (strstr(rows[i].key, "outbox.retry_") != NULL && want == ERR_OK)
                continue; /* bound to each other */
            assert_int_equal(load(NULL, text, &c, why, sizeof(why)), want);
        }
    }
}

static char *reference(void)
{
    struct buf b;

    buf_init(&b, 1 << 20);
    config_reference(&b);
    assert_int_equal(buf_ok(&b), ERR_OK);
    return buf_take(&b);
}

static void ships_its_reference(void **state)
{
    static char shipped[100000];
    char *want = reference();
    FILE *file = fopen(SOURCE_DIR "/config/headgate.ini", "re");

    (void)state;
    assert_non_null(file);
    shipped[fread(shipped, 1, sizeof(shipped) - 1, file)] = '\0';
    fclose(file);
    assert_string_equal(shipped, want);
    free(want);
}

/* The reference says the truth: with every line in force nothing changes. */
static void reference_is_the_default(void **state)
{
    struct config plain, all;
    char *text = reference(), *to = text, why[1024], want[256];

    (void)state;
    for (const char *from = text; *from != '\0'; from++) {
        bool setting = *from == ';' && (from == text || from[-1] == '\n') &&
                       from[1] != ' ';

        if (!setting)
            *to++ = *from;
    }
    *to = '\0';
    assert_non_null(strstr(text, "\nport = 8480\n"));
    assert_int_equal(
        load(write_file("x.ini", text), NULL, &all, why, sizeof(why)), ERR_OK);
    free(text);
    assert_int_equal(load(NULL, NULL, &plain, why, sizeof(why)), ERR_OK);
    /* written down, a path starts at the folder of its file */
    snprintf(want, sizeof(want), "%s/headgate.db", folder);
    assert_string_equal(all.store_path, want);
    snprintf(all.store_path, sizeof(all.store_path), "headgate.db");
    memset(all.policy_path, 0, sizeof(all.policy_path));
    memset(plain.policy_path, 0, sizeof(plain.policy_path));
    memset(all.store_path, 0, sizeof(all.store_path));
    memset(plain.store_path, 0, sizeof(plain.store_path));
    /* and where it is said is another place */
    memset(all.path, 0, sizeof(all.path));
    memset(all.lines, 0, sizeof(all.lines));
    memset(plain.lines, 0, sizeof(plain.lines));
    assert_memory_equal(&all, &plain, sizeof(plain));
}

static void lines_fit_a_screen(void **state)
{
    char *text = reference(), *line = text;

    (void)state;
    while (line != NULL && *line != '\0') {
        char *end = strchr(line, '\n');

        assert_non_null(end);
        assert_true(end - line <= 79);
        line = end + 1;
    }
    free(text);
}

/* What a section says of its sender, and what it leaves as it is. */
static void reads_senders(void **state)
{
    const struct hl7_profile *p;
    char text[16384] = "", why[1024];
    struct config c;

    (void)state;
    assert_int_equal(
        load(write_file("x.ini", "[sender hall-north]\n"
                                 "application = DIALYSIS\n"
                                 "system.L = https://north.example/l\n"
                                 "system.99ABC = urn:oid:1.2.3\n"
                                 "access = OBR-15\n"
                                 "bad_content = AA\n"
                                 "numbers_in_text = true\n"
                                 "zone = Etc/UTC\n"
                                 "[mllp]\n"
                                 "any_sender = true\n"
                                 "[sender south]\n"
                                 "certificate =\n"),
             "sender hall-north.system.L=https://other.example/l", &c, why,
             sizeof(why)),
        ERR_OK);
    assert_true(c.mllp_any_sender);
    assert_int_equal(c.sender_count, 2);
    p = &c.senders[0].profile;
    assert_string_equal(p->name, "hall-north");
    assert_string_equal(p->application, "DIALYSIS");
    assert_int_equal(p->system_count, 2);
    assert_string_equal(p->systems[0].name, "L");
    assert_string_equal(p->systems[0].uri, "https://other.example/l");
    assert_string_equal(p->systems[1].name, "99ABC");
    assert_string_equal(p->systems[1].uri, "urn:oid:1.2.3");
    assert_int_equal(p->access_field, HL7_ACCESS_OBR_15);
    assert_int_equal(p->bad_content, HL7_BAD_AA);
    assert_true(p->numbers_in_text);
    assert_string_equal(c.senders[0].zone, "Etc/UTC");
    p = &c.senders[1].profile;
    assert_string_equal(p->name, "south");
    assert_int_equal(p->access_field, HL7_ACCESS_NONE);
    assert_int_equal(p->bad_content, HL7_BAD_AE);
    assert_int_equal(p->system_count, 0);
    assert_string_equal(c.senders[1].zone, "");

    for (int i = 0; i <= CONFIG_SENDERS_MAX; i++) {
        size_t len = strlen(text);

        snprintf(text + len, sizeof(text) - len,
                 "[sender s%d]\napplication = A%d\n", i, i);
        assert_int_equal(
            load(write_file("x.ini", text), NULL, &c, why, sizeof(why)),
            i < CONFIG_SENDERS_MAX ? ERR_OK : ERR_CONFIG);
    }
    assert_int_equal(c.sender_count, CONFIG_SENDERS_MAX);
    assert_non_null(strstr(why, "[sender s64]: is one sender too many"));
}

static void ships_a_demo(void **state)
{
    struct config c;
    struct buf why;

    (void)state;
    buf_init(&why, 4096);
    assert_int_equal(
        config_load(SOURCE_DIR "/config/demo.ini", NULL, 0, &c, &why), ERR_OK);
    buf_clear(&why);
    assert_string_equal(c.http_address, "127.0.0.1");
    assert_int_equal(c.http_port, 8480);
    assert_true(c.http_anonymous);
    assert_string_equal(c.store_path, SOURCE_DIR "/config/../run/demo.db");
    assert_string_equal(c.policy_path, SOURCE_DIR "/config/policy.ini");
    assert_int_equal(c.map_count, 2);
    assert_string_equal(c.maps[0], SOURCE_DIR "/config/demo/site-c.json");
    assert_string_equal(c.maps[1], SOURCE_DIR "/config/maps/snomed-ct.csv");
    assert_string_equal(c.zone, "UTC");
    assert_string_equal(c.record_url, "");
    assert_true(c.mllp_enabled);
    assert_int_equal(c.mllp_port, 2575);
    assert_string_equal(c.mllp_address, "127.0.0.1");
    assert_true(c.mllp_any_sender);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(has_defaults),
        cmocka_unit_test(needs_tokens),
        cmocka_unit_test(reads_overrides),
        cmocka_unit_test(reads_files),
        cmocka_unit_test(false_shuts_the_listener),
        cmocka_unit_test(refuses_long_lines),
        cmocka_unit_test(refuses_missing_files),
        cmocka_unit_test(resolves_paths),
        cmocka_unit_test(limits_paths),
        cmocka_unit_test(collects_maps),
        cmocka_unit_test(drops_the_last_slash),
        cmocka_unit_test(keeps_ranges),
        cmocka_unit_test(ships_its_reference),
        cmocka_unit_test(reference_is_the_default),
        cmocka_unit_test(lines_fit_a_screen),
        cmocka_unit_test(reads_senders),
        cmocka_unit_test(ships_a_demo),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
