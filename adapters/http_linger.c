#include "adapters/http_linger.h"

#include <errno.h>
#include <stdbool.h>
#include <stdlib.h>
#include <sys/socket.h>
#include <unistd.h>

struct http_linger {
    struct http_linger_set *set;
    struct http_linger *next;
    uv_poll_t poll;
    uint64_t until_ms;
    int fd;
};

static void on_closed(uv_handle_t *handle)
{
    struct http_linger *l = handle->data;
    struct http_linger_set *set = l->set;
    struct http_linger **at = &set->head;

    while (*at != l)
        at = &(*at)->next;
    *at = l->next;
    set->count--;
    close(l->fd);
    free(l);
    set->on_end(set->arg);
}

static void end(struct http_linger *l)
{
    if (!uv_is_closing((uv_handle_t *)&l->poll))
        uv_close((uv_handle_t *)&l->poll, on_closed);
}

static void on_readable(uv_poll_t *poll, int status, int events)
{
    struct http_linger *l = poll->data;
    char waste[16384];
    ssize_t got;

    (void)events;
    /* One read for each turn of the loop: a fast peer does not hold it up. */
    got = recv(l->fd, waste, sizeof(waste), MSG_DONTWAIT);
    if (status == 0 &&
        (got > 0 || (got < 0 && (errno == EAGAIN || errno == EINTR))))
        return;
    end(l);
}

void http_linger_add(struct http_linger_set *set, int fd, uint64_t until_ms)
{
    struct http_linger *l = NULL;

    if (set->count < set->most)
        l = calloc(1, sizeof(*l));
    if (l == NULL || uv_poll_init(set->loop, &l->poll, fd) != 0) {
        free(l);
        close(fd);
        return;
    }
    shutdown(fd, SHUT_WR);
    l->set = set;
    l->fd = fd;
    l->until_ms = until_ms;
    l->poll.data = l;
    l->next = set->head;
    set->head = l;
    set->count++;
    if (uv_poll_start(&l->poll, UV_READABLE, on_readable) != 0)
        end(l);
}

void http_linger_expire(struct http_linger_set *set, uint64_t now_ms)
{
    struct http_linger *l;

    for (l = set->head; l != NULL; l = l->next)
        if (now_ms >= l->until_ms)
            end(l);
}
