/* http_raw - a socket to the server under test, for bytes of any kind */
#ifndef HEADGATE_TESTS_HTTP_RAW_H
#define HEADGATE_TESTS_HTTP_RAW_H

#include "tests/http_world.h"

#include <errno.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#define HOST "Host: h.example\r\n"

struct raw {
    struct world *world;
    uv_poll_t poll;
    int fd;
    char got[8192]; /* what the server sent, NUL-terminated */
    size_t got_len;
    bool ended; /* the server has closed */
    bool closed;
};

static inline void raw_readable(uv_poll_t *poll, int status, int events)
{
    struct raw *raw = poll->data;
    ssize_t n;

    (void)events;
    n = recv(raw->fd, raw->got + raw->got_len,
             sizeof(raw->got) - 1 - raw->got_len, MSG_DONTWAIT);
    if (n > 0) {
        raw->got_len += (size_t)n;
        raw->got[raw->got_len] = '\0';
    } else if (status < 0 || n == 0 || errno != EAGAIN) {
        raw->ended = true;
        uv_poll_stop(poll);
    }
}

static inline void raw_open(struct raw *raw, struct world *w)
{
    struct sockaddr_in in = { .sin_family = AF_INET,
                              .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
    struct sockaddr_un un = { .sun_family = AF_UNIX };
    const char *path = w->options.socket_path;
    int failed;

    memset(raw, 0, sizeof(*raw));
    raw->world = w;
    raw->fd = socket(path != NULL ? AF_UNIX : AF_INET, SOCK_STREAM, 0);
    assert_true(raw->fd >= 0);
    in.sin_port = htons((uint16_t)http_server_port(w->server));
    if (path != NULL)
        snprintf(un.sun_path, sizeof(un.sun_path), "%s", path);
    failed = path != NULL
                 ? connect(raw->fd, (struct sockaddr *)&un, sizeof(un))
                 : connect(raw->fd, (struct sockaddr *)&in, sizeof(in));
    assert_int_equal(failed, 0);
    uv_poll_init(&w->loop, &raw->poll, raw->fd);
    raw->poll.data = raw;
    uv_poll_start(&raw->poll, UV_READABLE, raw_readable);
}

/* Send as much as the socket takes; false if the server has gone. */
static inline bool raw_send(struct raw *raw, const char *text, size_t len)
{
    ssize_t n = send(raw->fd, text, len, MSG_DONTWAIT | MSG_NOSIGNAL);

    return n >= 0 || errno == EAGAIN;
}

static inline void raw_closed(uv_handle_t *handle)
{
    ((struct raw *)handle->data)->closed = true;
}

static inline void raw_close(struct raw *raw)
{
    uv_close((uv_handle_t *)&raw->poll, raw_closed);
    run_until(raw->world, &raw->closed);
    close(raw->fd);
}

static inline unsigned count_text(const char *text, const char *what)
{
    unsigned n = 0;

    for (text = strstr(text, what); text != NULL; text = strstr(text + 1, what))
        n++;
    return n;
}

static inline void raw_await(struct raw *raw, const char *what, unsigned times)
{
    while (count_text(raw->got, what) < times && !raw->ended &&
           !raw->world->late)
        uv_run(&raw->world->loop, UV_RUN_ONCE);
}

#endif
