/*
 * http_listen - listening sockets: TCP over IPv4 and IPv6, and Unix sockets
 */
#ifndef HEADGATE_ADAPTERS_HTTP_LISTEN_H
#define HEADGATE_ADAPTERS_HTTP_LISTEN_H

#include "planner/err.h"

#include <sys/types.h>

struct http_listener {
    int fd;
    int port;       /* 0 for a Unix socket */
    char *path;     /* NULL for TCP */
    dev_t path_dev; /* of the socket file made here */
    ino_t path_ino;
};

/*
 * http_listen_tcp - listen on a numeric address
 *
 * "::" takes IPv4 as well.  port 0 picks a free one.  The socket does not
 * block and is not inherited by programs started later.
 *
 * ERR_IO  not an address, or it cannot be bound; errno is the reason
 */
MUST_CHECK enum err http_listen_tcp(const char *address, int port,
                                    struct http_listener *l);

/*
 * http_listen_unix - listen on a Unix socket that only its owner may open
 *
 * The file has mode 0600 from its first moment.  A socket file left by a
 * dead process is replaced; one on which somebody answers, or a file that is
 * no socket, is not touched.
 *
 * ERR_IO      the path is in use, too long, or cannot be bound; errno is the
 *             reason
 * ERR_MEMORY
 */
MUST_CHECK enum err http_listen_unix(const char *path, struct http_listener *l);

/* Why that failed, for a person: "..." of "ADDRESS port PORT: ...".  Borrowed
 * until the next call of the thread. */
const char *http_listen_reason(int number);

/* Remove the socket file if it still is the one made here.  fd stays open. */
void http_listen_unlink(struct http_listener *l);

#endif
