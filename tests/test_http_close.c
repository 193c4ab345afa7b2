/* http_server at its beginning and its end: sockets, closing, lost peers */
#include "tests/http_world.h"

#include <sys/stat.h>
#include <unistd.h>

static void test_pending_at_close(void **state)
{
    struct world w;
    struct result r[2];
    char url[128];
    struct http_call_options o;
    struct http_call *c;
    size_t i;

    (void)state;
    memset(r, 0, sizeof(r));
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/hold");
    for (i = 0; i < 2; i++)
        assert_int_equal(http_call_start(w.client, &o, take_answer, &r[i], &c),
                         ERR_OK);
    while (w.held_count < 2)
        uv_run(&w.loop, UV_RUN_ONCE);
    assert_int_equal(http_server_pending(w.server), 2);
    world_close_server(&w);
    for (i = 0; i < 2; i++) {
        await(&w, &r[i], 1);
        assert_int_equal(r[i].err, ERR_OK);
        assert_int_equal(r[i].status, 503);
        assert_string_equal(r[i].body, "refused 0");
    }
    world_end(&w);
}

static void test_close_from_handler(void **state)
{
    struct world w;
    struct result r;

    (void)state;
    world_init(&w);
    world_serve(&w);
    get(&w, "/close", &r);
    assert_int_equal(r.status, 503);
    run_until(&w, &w.server_closed);
    world_end(&w);
}

static void test_quiesce(void **state)
{
    struct world w;
    struct result held = { 0 }, r;
    char url[128];
    struct http_call_options o;
    struct http_call *c;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/hold");
    assert_int_equal(http_call_start(w.client, &o, take_answer, &held, &c),
                     ERR_OK);
    while (w.held_count == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    http_server_quiesce(w.server);
    http_server_quiesce(w.server);
    get(&w, "/echo", &r);
    assert_int_equal(r.err, ERR_IO);
    http_reply(w.held[0], 200, NULL, 0, NULL, "still", 5);
    await(&w, &held, 1);
    assert_string_equal(held.body, "still");
    world_end(&w);
}

static void test_peer_gone_before_reply(void **state)
{
    struct world w;
    struct result r = { 0 };
    char url[128];
    struct http_call_options o;
    struct http_call *c;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/hold");
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_OK);
    while (w.held_count == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    http_call_cancel(c);
    get(&w, "/later", &r);
    http_reply(w.held[0], 200, NULL, 0, NULL, "late", 4);
    get(&w, "/later", &r);
    assert_int_equal(r.status, 200);
    world_end(&w);
}

static void test_unsendable_reply(void **state)
{
    struct world w;
    struct result r = { 0 };
    char url[128];
    struct http_call_options o;
    struct http_call *c;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/hold");
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_OK);
    while (w.held_count == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    reply_unsendable(w.held[0]);
    await(&w, &r, 1);
    assert_int_equal(r.err, ERR_IO); /* broken off, not left waiting */
    ROW("from inside the handler");
    get(&w, "/unsendable", &r);
    assert_int_equal(r.err, ERR_IO);
    assert_int_equal(http_server_pending(w.server), 0);
    world_end(&w);
}

/* An answer that is being sent when the server closes is sent to its end. */
static void test_close_while_sending(void **state)
{
    struct world w;
    struct result r = { 0 };
    char url[128];
    struct http_call_options o;
    struct http_call *c;

    (void)state;
    world_init(&w);
    world_serve(&w);
    o = call_to(&w, url, sizeof(url), "/big");
    o.answer_max = 8000000;
    assert_int_equal(http_call_start(w.client, &o, take_answer, &r, &c),
                     ERR_OK);
    while (w.handled == 0)
        uv_run(&w.loop, UV_RUN_ONCE);
    world_close_server(&w);
    await(&w, &r, 1);
    assert_int_equal(r.err, ERR_OK);
    assert_int_equal(r.body_len, 8000000);
    world_end(&w);
}

/* A socket file in a directory of its own, and another file beside it. */
struct place {
    char directory[32], path[64], file[64];
    mode_t mask; /* to be restored */
};

static void place_init(struct place *p)
{
    p->mask = umask(0);
    snprintf(p->directory, sizeof(p->directory), "/tmp/headgate-test-XXXXXX");
    assert_non_null(mkdtemp(p->directory));
    snprintf(p->path, sizeof(p->path), "%s/control", p->directory);
    snprintf(p->file, sizeof(p->file), "%s/file", p->directory);
}

static void place_clear(struct place *p)
{
    umask(p->mask);
    unlink(p->file);
    assert_int_equal(rmdir(p->directory), 0); /* so the socket is gone */
}

static void assert_private(const char *path)
{
    struct stat st;

    assert_int_equal(stat(path, &st), 0);
    assert_int_equal(st.st_mode & 07777, 0600);
}

static void test_unix_socket(void **state)
{
    static const mode_t masks[] = { 0, 022, 0777 };
    struct place p;
    struct world w;
    struct stat st;
    struct result r;
    size_t i;

    (void)state;
    place_init(&p);
    world_init(&w);
    w.options.socket_path = p.path;
    for (i = 0; i < COUNT(masks); i++) {
        umask(masks[i]);
        world_serve(&w);
        assert_private(p.path);
        assert_int_equal(http_server_port(w.server), 0);
        get(&w, "/local", &r);
        assert_int_equal(r.status, 200);
        assert_string_equal(r.body, "yes");
        world_close_server(&w);
        assert_int_not_equal(stat(p.path, &st), 0);
    }
    world_end(&w);
    place_clear(&p);
}

static void assert_not_opened(struct world *w, const char *path)
{
    struct http_server_options o = w->options;
    struct http_server *second = NULL;

    o.socket_path = path;
    assert_int_equal(
        http_server_open(&w->loop, &o, world_request, NULL, w, &second),
        ERR_IO);
    assert_null(second);
}

static void test_unix_socket_in_the_way(void **state)
{
    struct place p;
    struct world w;
    struct stat st;
    struct result r;
    char name[200];

    (void)state;
    place_init(&p);
    world_init(&w);
    w.options.socket_path = p.path;
    world_serve(&w);
    ROW("a living socket is not replaced");
    assert_not_opened(&w, p.path);
    get(&w, "/local", &r);
    assert_int_equal(r.status, 200);
    ROW("a stale socket is replaced");
    assert_int_equal(link(p.path, p.file), 0); /* the close leaves it */
    world_close_server(&w);
    assert_int_equal(rename(p.file, p.path), 0);
    world_serve(&w);
    assert_private(p.path);
    get(&w, "/local", &r);
    assert_string_equal(r.body, "yes");
    ROW("a file that is no socket is not touched");
    fclose(fopen(p.file, "w"));
    assert_not_opened(&w, p.file);
    assert_int_equal(stat(p.file, &st), 0);
    ROW("a name too long for a socket");
    memset(name, 'n', sizeof(name));
    memcpy(name, "/tmp/", 5);
    name[sizeof(name) - 1] = '\0';
    assert_not_opened(&w, name);
    ROW("what another has put in its place is left");
    assert_int_equal(rename(p.file, p.path), 0);
    world_close_server(&w);
    assert_int_equal(stat(p.path, &st), 0);
    unlink(p.path);
    world_end(&w);
    place_clear(&p);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pending_at_close),
        cmocka_unit_test(test_close_from_handler),
        cmocka_unit_test(test_quiesce),
        cmocka_unit_test(test_peer_gone_before_reply),
        cmocka_unit_test(test_unsendable_reply),
        cmocka_unit_test(test_close_while_sending),
        cmocka_unit_test(test_unix_socket),
        cmocka_unit_test(test_unix_socket_in_the_way),
    };

    /* A proxy of the machine must not stand between the two. */
    setenv("no_proxy", "*", 1);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
