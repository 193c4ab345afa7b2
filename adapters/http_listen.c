#include "adapters/http_listen.h"

#include "adapters/catalogue.h"

#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

enum { BACKLOG = 511 };

static int new_socket(int family)
{
    return socket(family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
}

static bool bind_tcp(int fd, const struct addrinfo *a)
{
    int on = 1, off = 0;

    /* Without it a restart fails while old connections are in TIME_WAIT. */
    if (setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on)) != 0)
        return false;
    if (a->ai_family == AF_INET6 &&
        setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &off, sizeof(off)) != 0)
        return false;
    return bind(fd, a->ai_addr, a->ai_addrlen) == 0 && listen(fd, BACKLOG) == 0;
}

/* The port that the system gave; -1 if it does not say. */
static int bound_port(int fd)
{
    struct sockaddr_storage a;
    socklen_t len = sizeof(a);
    char port[8];

    if (getsockname(fd, (struct sockaddr *)&a, &len) != 0 ||
        getnameinfo((struct sockaddr *)&a, len, NULL, 0, port, sizeof(port),
                    NI_NUMERICSERV) != 0)
        return -1;
    return (int)strtol(port, NULL, 10);
}

enum err http_listen_tcp(const char *address, int port, struct http_listener *l)
{
    struct addrinfo hints = { .ai_family = AF_UNSPEC,
                              .ai_socktype = SOCK_STREAM,
                              .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV |
                                          AI_PASSIVE };
    struct addrinfo *found;
    char service[16];
    int fd, got = -1, reason;

    errno = EINVAL; /* until something else is the reason */
    if (port < 0 || port > 65535)
        return ERR_IO;
    snprintf(service, sizeof(service), "%d", port);
    if (getaddrinfo(address, service, &hints, &found) != 0) {
        errno = EINVAL;
        return ERR_IO;
    }
    fd = new_socket(found->ai_family);
    if (fd >= 0 && bind_tcp(fd, found))
        got = bound_port(fd);
    reason = errno;
    freeaddrinfo(found);
    if (got < 0) {
        if (fd >= 0)
            close(fd);
        errno = reason;
        return ERR_IO;
    }
    *l = (struct http_listener){ .fd = fd, .port = got };
    return ERR_OK;
}

/* True if nobody accepts on the socket file any more. */
static bool is_dead(const struct sockaddr_un *a)
{
    int fd = new_socket(AF_UNIX);
    bool dead;

    if (fd < 0)
        return false;
    /* EAGAIN means a full backlog: somebody lives there, only busy. */
    dead = connect(fd, (const struct sockaddr *)a, sizeof(*a)) != 0 &&
           errno == ECONNREFUSED;
    close(fd);
    return dead;
}

/* Make room for a new socket file; false if the place is taken. */
static bool clear_stale(const struct sockaddr_un *a)
{
    struct stat st;

    if (lstat(a->sun_path, &st) != 0)
        return errno == ENOENT;
    if (S_ISSOCK(st.st_mode) && is_dead(a))
        return unlink(a->sun_path) == 0;
    errno = EADDRINUSE;
    return false;
}

static bool bind_unix(int fd, const struct sockaddr_un *a)
{
    /* On Linux the file takes its mode from the socket, less the umask.  So
     * there is no moment at which others may open it, and the umask of the
     * process, which other threads share, need not be touched. */
    return fchmod(fd, S_IRUSR | S_IWUSR) == 0 &&
           bind(fd, (const struct sockaddr *)a, sizeof(*a)) == 0;
}

/* After the bind: the mode whatever the umask took away, and who we are. */
static bool own_unix(const char *path, struct http_listener *l)
{
    struct stat st;
    int reason;

    if (chmod(path, S_IRUSR | S_IWUSR) != 0 || lstat(path, &st) != 0 ||
        !S_ISSOCK(st.st_mode) || listen(l->fd, BACKLOG) != 0) {
        reason = errno;
        unlink(path);
        errno = reason;
        return false;
    }
    l->path_dev = st.st_dev;
    l->path_ino = st.st_ino;
    return true;
}

enum err http_listen_unix(const char *path, struct http_listener *l)
{
    struct http_listener made = { .fd = -1 };
    struct sockaddr_un a = { .sun_family = AF_UNIX };
    size_t len = strlen(path);
    int reason;

    errno = ENAMETOOLONG;
    if (len == 0 || len >= sizeof(a.sun_path))
        return ERR_IO;
    memcpy(a.sun_path, path, len + 1);
    made.path = strdup(path);
    if (made.path == NULL)
        return ERR_MEMORY;
    if (!clear_stale(&a))
        goto free_path;
    made.fd = new_socket(AF_UNIX);
    if (made.fd < 0)
        goto free_path;
    if (!bind_unix(made.fd, &a) || !own_unix(path, &made))
        goto close_fd;
    *l = made;
    return ERR_OK;
close_fd:
    reason = errno;
    close(made.fd);
    errno = reason;
free_path:
    reason = errno;
    free(made.path);
    errno = reason;
    return ERR_IO;
}

const char *http_listen_reason(int number)
{
    switch (number) {
    case EADDRINUSE:
        return _("it is in use by another program, or by another headgate");
    case EACCES:
    case EPERM:
        return _("this account may not use it (ports below 1024 and sockets in "
                 "folders of others need a right)");
    case EADDRNOTAVAIL:
        return _("no network interface of this machine has this address");
    case EINVAL:
        return _("this is not a numeric address and a port");
    case ENAMETOOLONG:
        return _("the path is too long for a socket (107 bytes)");
    default:
        return strerror(number);
    }
}

void http_listen_unlink(struct http_listener *l)
{
    struct stat st;

    if (l->path == NULL)
        return;
    if (lstat(l->path, &st) == 0 && st.st_dev == l->path_dev &&
        st.st_ino == l->path_ino)
        unlink(l->path);
    free(l->path);
    l->path = NULL;
}
