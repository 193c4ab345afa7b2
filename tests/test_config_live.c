/* Settings of TLS, who may listen where, what may change while a service runs,
 * and who else may read a file.  Expectations: the help texts of the settings
 * (config/headgate.ini), and POSIX file modes. */
#include "service/config.h"
#include "service/limits.h"
#include "service/modes.h"
#include "tests/test.h"

#include <fcntl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[64];

static const char *at(const char *name)
{
    static char path[128];

    snprintf(path, sizeof(path), "%s/%s", folder, name);
    return path;
}

static int start(void **state)
{
    (void)state;
    snprintf(folder, sizeof(folder), "/tmp/headgate-live-XXXXXX");
    return mkdtemp(folder) != NULL ? 0 : -1;
}

static int stop(void **state)
{
    static const char *const names[] = { "secret", "store.db", "policy.ini" };

    (void)state;
    for (size_t i = 0; i < COUNT(names); i++)
        unlink(at(names[i]));
    return rmdir(folder);
}

static void write_with(const char *name, mode_t mode)
{
    int fd = open(at(name), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);

    assert_true(fd >= 0);
    assert_int_equal(write(fd, "x", 1), 1);
    close(fd);
    assert_int_equal(chmod(at(name), mode), 0);
}

static enum err load(const char *const *sets, int count, struct config *c,
                     char *why, size_t size)
{
    struct buf b;
    enum err e;

    buf_init(&b, size);
    e = config_load(NULL, sets, count, c, &b);
    if (e == ERR_OK)
        e = config_check_listener(c, NULL, &b);
    snprintf(why, size, "%s", b.data);
    buf_clear(&b);
    return e;
}

enum { SETS_MAX = 7 };

static const struct {
    const char *name, *sets[SETS_MAX];
    const char *why; /* NULL: it may */
} listeners[] = {
    { "a token, on loopback", { "http.tokens=t" }, NULL },
    { "nothing said", { NULL }, "[http] tokens: name a file" },
    { "anonymous, on loopback", { "http.anonymous=true" }, NULL },
    { "anonymous, beyond",
      { "http.anonymous=true", "http.address=192.0.2.1" },
      "[http] anonymous: only on a loopback" },
    { "anonymous, beyond, by TLS",
      { "http.anonymous=true", "http.address=192.0.2.1",
        "http.tls_certificate=c", "http.tls_key=k" },
      "[http] anonymous: only on a loopback" },
    { "anonymous, beyond, behind a proxy",
      { "http.anonymous=true", "http.address=::", "http.plain=true" },
      "[http] anonymous: only on a loopback" },
    { "a token, beyond, plain",
      { "http.tokens=t", "http.address=0.0.0.0" },
      "[http] address: beyond loopback only by TLS" },
    { "a token, beyond, plain, IPv6",
      { "http.tokens=t", "http.address=::" },
      "[http] address: beyond loopback only by TLS" },
    { "a token, beyond, behind a proxy",
      { "http.tokens=t", "http.address=0.0.0.0", "http.plain=true" },
      NULL },
    { "a token, beyond, by TLS",
      { "http.tokens=t", "http.address=0.0.0.0", "http.tls_certificate=c",
        "http.tls_key=k" },
      NULL },
    { "plain and TLS",
      { "http.tokens=t", "http.plain=true", "http.tls_certificate=c",
        "http.tls_key=k" },
      "[http] plain: there is a tls_certificate" },
    { "a certificate alone",
      { "http.tokens=t", "http.tls_certificate=c" },
      "[http] tls_certificate and tls_key: each" },
    { "a key alone",
      { "http.tokens=t", "http.tls_key=k" },
      "[http] tls_certificate and tls_key: each" },
    { "clients without TLS",
      { "http.tokens=t", "http.tls_client=required", "http.tls_client_ca=a" },
      "[http] tls_client: needs tls_certificate" },
    { "clients of no authority",
      { "http.tokens=t", "http.tls_client=asked", "http.tls_certificate=c",
        "http.tls_key=k" },
      "[http] tls_client_ca, tls_client: " },
    { "an authority, and nobody is asked",
      { "http.tokens=t", "http.tls_client_ca=a", "http.tls_certificate=c",
        "http.tls_key=k" },
      "[http] tls_client_ca, tls_client: " },
    { "lists without an authority",
      { "http.tokens=t", "http.tls_crl=r", "http.tls_certificate=c",
        "http.tls_key=k" },
      "[http] tls_crl: needs" },
    { "clients required",
      { "http.tokens=t", "http.tls_client=required", "http.tls_client_ca=a",
        "http.tls_crl=r", "http.tls_certificate=c", "http.tls_key=k" },
      NULL },
    { "proxies",
      { "http.tokens=t", "http.proxy=10.0.0.7, 10.1.0.0/24, ::1" },
      NULL },
    { "a proxy by name",
      { "http.tokens=t", "http.proxy=10.0.0.7,proxy.example" },
      "[http] proxy: proxy.example is not an address" },
    { "a certificate for the record alone",
      { "http.tokens=t", "record.tls_certificate=c" },
      "[record] tls_certificate and tls_key: each" },
};

static void listens_only_where_it_may(void **state)
{
    static struct config c;
    char why[1024];

    (void)state;
    for (size_t i = 0; i < COUNT(listeners); i++) {
        int count = 0;

        ROW(listeners[i].name);
        while (count < SETS_MAX && listeners[i].sets[count] != NULL)
            count++;
        assert_int_equal(load(listeners[i].sets, count, &c, why, sizeof(why)),
                         listeners[i].why != NULL ? ERR_CONFIG : ERR_OK);
        if (listeners[i].why != NULL && strstr(why, listeners[i].why) == NULL)
            print_error("why: %s\n", why);
        assert_true(listeners[i].why == NULL ||
                    strstr(why, listeners[i].why) != NULL);
    }
}

/* ---- what may change ------------------------------------------------------ */

static void takes_what_may_change(void **state)
{
    static const char *const before[] = {
        "http.tokens=t1", "http.rate=1",         "http.port=1",
        "site.zone=UTC",  "http.anonymous=true", "sender a.application=A"
    };
    static const char *const after[] = { "http.tokens=t2",
                                         "http.rate=7",
                                         "http.port=2",
                                         "site.zone=Europe/Berlin",
                                         "http.anonymous=true",
                                         "sender a.application=B",
                                         "http.tls_certificate=c",
                                         "http.tls_key=k",
                                         "record.tls_ca=ca",
                                         "log.level=debug",
                                         "http.proxy=192.0.2.0/24",
                                         "record.documents=false" };
    static struct config now, fresh;
    struct buf kept;
    char why[1024];

    (void)state;
    assert_int_equal(load(before, COUNT(before), &now, why, sizeof(why)),
                     ERR_OK);
    assert_int_equal(load(after, COUNT(after), &fresh, why, sizeof(why)),
                     ERR_OK);
    buf_init(&kept, 4096);
    /* a listener stays plain; the rest that stays is not of this list */
    assert_int_equal(config_take_live(&now, &fresh, &kept), 6);
    assert_string_equal(kept.data,
                        "http.port\nhttp.tls_certificate\nhttp.tls_key\n"
                        "site.zone\nrecord.documents\nsender\n");
    assert_non_null(strstr(now.http_tokens, "t2"));
    assert_int_equal(now.http_rate, 7);
    assert_string_equal(now.log_level, "debug");
    assert_string_equal(now.http_proxy, "192.0.2.0/24");
    assert_non_null(strstr(now.record_tls_ca, "ca"));
    assert_int_equal(now.http_port, 1);
    assert_string_equal(now.zone, "UTC");
    assert_string_equal(now.http_tls_certificate, "");
    assert_true(now.record_documents);
    /* the same again: only what stays is told again */
    buf_empty(&kept);
    assert_int_equal(config_take_live(&now, &now, &kept), 0);
    fresh = now;
    snprintf(fresh.senders[0].profile.systems[0].name, 16, "L");
    fresh.senders[0].profile.system_count = 1;
    assert_int_equal(config_take_live(&now, &fresh, &kept), 1);
    assert_string_equal(kept.data, "sender\n");
    buf_empty(&kept);
    assert_int_equal(kept.len, 0);
    buf_clear(&kept);
}

/* ---- modes ---------------------------------------------------------------- */

static const struct {
    const char *name;
    mode_t secret, store, rule, folder;
    unsigned errors;
    const char *says; /* NULL: nothing */
} modes[] = {
    { "as it should be", 0600, 0600, 0644, 0755, 0, NULL },
    { "open files, in a folder that is shut", 0666, 0666, 0666, 0700, 0, NULL },
    { "read-only", 0400, 0600, 0444, 0755, 0, NULL },
    { "a secret for all", 0604, 0600, 0644, 0755, 1,
      "[http] tokens: %s/secret: everybody on this machine may read it" },
    { "a secret that all may change", 0602, 0600, 0644, 0755, 1,
      "%s/secret: everybody on this machine may change it" },
    { "a secret that a group may change", 0620, 0600, 0644, 0755, 1,
      "%s/secret: a whole group may change it" },
    { "a secret of ours that a group may read", 0640, 0600, 0644, 0755, 0,
      "warning: --set: [http] tokens: %s/secret: a whole group may read" },
    { "a store for all", 0600, 0644, 0644, 0755, 1,
      "[store] path: %s/store.db: everybody on this machine may read" },
    { "a store for a group", 0600, 0640, 0644, 0755, 0,
      "%s/store.db: a whole group may read it" },
    { "rules that all may change", 0600, 0600, 0646, 0755, 1,
      "[policy] path: %s/policy.ini: everybody on this machine may "
      "change" },
    { "rules that a group may change", 0600, 0600, 0664, 0755, 0,
      "%s/policy.ini: a whole group may change it" },
    { "a folder for all", 0600, 0600, 0644, 0707, 1,
      "[store] path: %s/: everybody on this machine may put files" },
    { "a folder for all, each his own (sticky)", 0600, 0600, 0644, 01777, 0,
      NULL },
};

static void look_at_row(const struct config *c, size_t i)
{
    struct buf found;

    write_with("secret", modes[i].secret);
    write_with("store.db", modes[i].store);
    write_with("policy.ini", modes[i].rule);
    assert_int_equal(chmod(folder, modes[i].folder), 0);
    buf_init(&found, 4096);
    assert_int_equal(modes_check(c, true, &found), modes[i].errors);
    if (modes[i].says == NULL) {
        assert_string_equal(found.data, "");
    } else {
        const char *path = strstr(modes[i].says, "%s");

        if (strstr(found.data, path + 2) == NULL)
            print_error("found: %s\n", found.data);
        assert_non_null(strstr(found.data, path + 2));
        assert_non_null(strstr(found.data, folder));
        assert_int_equal(strstr(found.data, "warning: ") != NULL,
                         modes[i].errors == 0);
    }
    buf_clear(&found);
}

static void looks_at_modes(void **state)
{
    char sets[3][160], text[256];
    const char *list[] = { sets[0], sets[1], sets[2] };
    static struct config c;
    struct buf found;

    (void)state;
    snprintf(sets[0], sizeof(sets[0]), "http.tokens=%s/secret", folder);
    snprintf(sets[1], sizeof(sets[1]), "store.path=%s/store.db", folder);
    snprintf(sets[2], sizeof(sets[2]), "policy.path=%s/policy.ini", folder);
    assert_int_equal(load(list, 3, &c, text, sizeof(text)), ERR_OK);
    for (size_t i = 0; i < COUNT(modes); i++) {
        ROW(modes[i].name);
        look_at_row(&c, i);
    }
    assert_int_equal(chmod(folder, 0700), 0);
    /* in words, root is told too; of what is not there nothing is said */
    unlink(at("secret"));
    write_with("store.db", 0600);
    write_with("policy.ini", 0600);
    buf_init(&found, 4096);
    assert_int_equal(modes_check(&c, false, &found), 0);
    assert_int_equal(strstr(found.data, "runs as root") != NULL,
                     geteuid() == 0);
    buf_clear(&found);
}

/* A link says nothing of the file: what counts is where that is. */
static void looks_through_links(void **state)
{
    char sets[2][200], text[256], shut[120];
    const char *list[] = { sets[0], sets[1] };
    static struct config c;
    struct buf found;

    (void)state;
    snprintf(shut, sizeof(shut), "%s/shut", folder);
    assert_int_equal(chmod(folder, 0755), 0);
    assert_int_equal(mkdir(shut, 0700), 0);
    snprintf(sets[1], sizeof(sets[1]), "store.path=%s/store.db", folder);
    for (int i = 0; i < 2; i++) {
        /* 0: the link in a folder that is shut, the file not; 1: the reverse */
        const char *file = i == 0 ? "secret" : "shut/secret";
        const char *link = i == 0 ? "shut/link" : "link";
        char to[160], from[160];

        write_with(file, 0644);
        snprintf(to, sizeof(to), "%s/%s", folder, file);
        snprintf(from, sizeof(from), "%s/%s", folder, link);
        assert_int_equal(symlink(to, from), 0);
        snprintf(sets[0], sizeof(sets[0]), "http.tokens=%s", from);
        assert_int_equal(load(list, 2, &c, text, sizeof(text)), ERR_OK);
        buf_init(&found, 4096);
        assert_int_equal(modes_check(&c, true, &found), i == 0 ? 1 : 0);
        assert_int_equal(
            strstr(found.data, "everybody on this machine may read") != NULL,
            i == 0);
        buf_clear(&found);
        unlink(from);
        unlink(to);
    }
    rmdir(shut);
    assert_int_equal(chmod(folder, 0700), 0);
}

/* ---- descriptors ---------------------------------------------------------- */

static void warns(const struct config *c, bool hard, const char *what)
{
    struct buf found;

    buf_init(&found, 4096);
    limits_check(c, hard, &found);
    if (what == NULL)
        assert_string_equal(found.data, "");
    else
        assert_non_null(strstr(found.data, what));
    buf_clear(&found);
}

/* What a connection holds: /proc/self/fd of a service with one by TLS has three
 * more than one without (doors_tls.mjs). */
static void compares_with_the_system(void **state)
{
    static struct config c;
    struct rlimit before, limit;

    (void)state;
    c.http_connections_max = 100;
    c.http_connections_per_client = 25;
    c.mllp_connections_max = 50;
    assert_int_equal(limits_needed(&c), 2 * 100 + 128);
    c.sender_count = 1;
    assert_int_equal(limits_needed(&c), 2 * 100 + 50 + 128);
    snprintf(c.http_tls_certificate, sizeof(c.http_tls_certificate), "a.pem");
    assert_int_equal(limits_needed(&c), 4 * 100 + 50 + 128);
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &before), 0);
    assert_true(before.rlim_max >= 600); /* else the rest says nothing */
    limit = before;
    limit.rlim_cur = 200;
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &limit), 0);
    warns(&c, false, "warning: process: 200 descriptors");
    warns(&c, false, "up to 578 may be needed");
    warns(&c, true, NULL); /* a start will raise it */
    limits_raise(&c);
    warns(&c, false, NULL);
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &limit), 0);
    assert_int_equal(limit.rlim_cur, 578);
    /* never down */
    c.http_connections_max = 50;
    limits_raise(&c);
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &limit), 0);
    assert_int_equal(limit.rlim_cur, 578);
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &before), 0);
    c.http_connections_per_client = 26;
    warns(&c, true,
          "[http] connections_per_client: 26 of connections_max = 50");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(listens_only_where_it_may),
        cmocka_unit_test(takes_what_may_change),
        cmocka_unit_test(looks_at_modes),
        cmocka_unit_test(looks_through_links),
        cmocka_unit_test(compares_with_the_system),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
