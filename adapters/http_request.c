/* Requests: as they come in, and what the client sent. */
#include "adapters/http_server_work.h"

#include "adapters/http_head.h"

#include <asm/socket.h> /* SO_PEERCRED, which POSIX does not name */
#include <stdlib.h>
#include <strings.h>
#include <sys/socket.h>

/* ---- Coming in ---- */

void http_count_body(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    s->bodies -= r->counted;
    r->counted =
        r->body.len > HTTP_SMALL_BODY ? r->body.len - HTTP_SMALL_BODY : 0;
    s->bodies += r->counted;
}

void http_forget_body(struct http_request *r)
{
    buf_clear(&r->body);
    http_count_body(r);
}

static enum MHD_Result visit_header(void *arg, enum MHD_ValueKind kind,
                                    const char *name, const char *value)
{
    (void)kind;
    http_head_note(arg, name, value);
    return MHD_YES;
}

/* 0 if the request can be served, else the status that refuses it. */
static int check_head(const struct http_request *r, const char *version)
{
    const union MHD_ConnectionInfo *info;
    struct http_head h = { 0 };

    info = MHD_get_connection_info(r->mhd,
                                   MHD_CONNECTION_INFO_REQUEST_HEADER_SIZE);
    MHD_get_connection_values(r->mhd, MHD_HEADER_KIND, visit_header, &h);
    if (r->target_err == ERR_FORM)
        h.malformed = true;
    return http_head_refusal(&h, r->method, version,
                             info != NULL ? info->header_size : 0,
                             r->connection->server->body_max);
}

/* By its head, what its body is going to be. */
static bool may_be_large(const struct http_request *r)
{
    const char *length = http_header(r, "Content-Length");

    return http_header(r, "Transfer-Encoding") != NULL ||
           http_header(r, "Expect") != NULL ||
           (length != NULL && strtoull(length, NULL, 10) > HTTP_SMALL_BODY);
}

/* There is no room for what it says that it sends. */
static bool is_overfull(const struct http_request *r)
{
    struct http_server *s = r->connection->server;
    const char *length = http_header(r, "Content-Length");
    unsigned long long bytes = length != NULL ? strtoull(length, NULL, 10) : 0;

    if (s->bodies_max == 0 || bytes <= HTTP_SMALL_BODY ||
        s->bodies + (bytes - HTTP_SMALL_BODY) <= s->bodies_max)
        return false;
    s->overfull++;
    return true;
}

/* Before much is taken: may it come in at all? */
static enum MHD_Result show_head(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    s->pending++; /* until it is answered, or left */
    if (s->on_head != NULL)
        s->on_head(s->arg, r);
    if (r->stage == HTTP_ANSWERED) {
        r->connection->refused = true;
        return r->failed ? MHD_NO : MHD_YES;
    }
    s->pending--;
    r->seen = s->on_head != NULL;
    if (is_overfull(r))
        return http_refuse_early(r, 503);
    r->stage = HTTP_BODY;
    return MHD_YES;
}

static enum MHD_Result take_head(struct http_request *r, const char *method,
                                 const char *version)
{
    int status;

    if (r->target_err == ERR_MEMORY)
        return MHD_NO;
    r->method = method;
    status = check_head(r, version);
    if (status != 0)
        return http_refuse_early(r, status);
    if (may_be_large(r))
        return show_head(r);
    r->stage = HTTP_BODY;
    return MHD_YES;
}

static enum MHD_Result take_piece(struct http_request *r, const char *data,
                                  size_t *len)
{
    struct http_server *s = r->connection->server;

    buf_add(&r->body, data, *len);
    *len = 0;
    http_count_body(r);
    if (buf_ok(&r->body) == ERR_LIMIT)
        return http_refuse_midway(r, 413);
    if (s->bodies_max > 0 && r->counted > 0 && s->bodies > s->bodies_max) {
        s->overfull++;
        return http_refuse_midway(r, 503);
    }
    return buf_ok(&r->body) == ERR_OK ? MHD_YES : MHD_NO;
}

static enum MHD_Result take_end(struct http_request *r)
{
    struct http_server *s = r->connection->server;

    r->stage = HTTP_WAITING;
    s->pending++;
    http_enter(r->connection, HTTP_ASKED);
    s->on_request(s->arg, r);
    if (r->stage == HTTP_WAITING) {
        r->suspended = true;
        MHD_suspend_connection(r->mhd);
    }
    return r->failed ? MHD_NO : MHD_YES;
}

/* Called by the library: once with the head, for each piece of the body, and
 * at the end; and once more if no answer could be queued. */
enum MHD_Result http_on_access(void *arg, struct MHD_Connection *mhd,
                               const char *url, const char *method,
                               const char *version, const char *data,
                               size_t *len, void **context)
{
    const struct http_server *s = arg;
    struct http_request *r = *context;

    (void)mhd;
    (void)url;
    if (r == NULL || s->closing)
        return MHD_NO; /* no memory; or the owner is not called any more */
    switch (r->stage) {
    case HTTP_HEAD:
        return take_head(r, method, version);
    case HTTP_BODY:
        return *len > 0 ? take_piece(r, data, len) : take_end(r);
    case HTTP_WAITING:
    case HTTP_ANSWERED:
        break;
    }
    return MHD_NO;
}

/* The first line has come.  Its target is read here, before the library
 * decodes it in its own way; what is returned becomes the context. */
void *http_on_target(void *arg, const char *raw, struct MHD_Connection *mhd)
{
    struct http_server *s = arg;
    const union MHD_ConnectionInfo *info;
    struct http_request *r = calloc(1, sizeof(*r));

    info = MHD_get_connection_info(mhd, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
    if (r == NULL || info == NULL || info->socket_context == NULL) {
        free(r);
        return NULL;
    }
    r->mhd = mhd;
    r->connection = info->socket_context;
    r->target_err = http_target_read(raw != NULL ? raw : "", &r->target);
    buf_init(&r->body, s->body_max);
    r->connection->request = r;
    if (r->connection->peer.phase == HTTP_IDLE)
        http_enter(r->connection, HTTP_RECEIVING);
    return r;
}

void http_on_completed(void *arg, struct MHD_Connection *mhd, void **context,
                       enum MHD_RequestTerminationCode why)
{
    struct http_request *r = *context;
    struct http_connection *c;

    (void)arg;
    (void)mhd;
    (void)why;
    if (r == NULL)
        return;
    *context = NULL;
    c = r->connection;
    c->request = NULL;
    if (c->peer.phase != HTTP_CUT)
        http_enter(c, HTTP_IDLE);
    http_target_clear(&r->target);
    http_forget_body(r);
    free(r);
}

/* ---- What the client sent ---- */

const char *http_method(const struct http_request *r)
{
    return r->method;
}

const char *http_path(const struct http_request *r)
{
    return r->target.path;
}

const char *http_header(const struct http_request *r, const char *name)
{
    return MHD_lookup_connection_value(r->mhd, MHD_HEADER_KIND, name);
}

struct lines {
    const char *name;
    struct buf *out;
    bool found;
};

static enum MHD_Result add_value(void *arg, enum MHD_ValueKind kind,
                                 const char *name, const char *value)
{
    struct lines *l = arg;

    (void)kind;
    if (strcasecmp(name, l->name) == 0) {
        buf_printf(l->out, "%s%s", l->found ? ", " : "",
                   value != NULL ? value : "");
        l->found = true;
    }
    return MHD_YES;
}

bool http_header_all(const struct http_request *r, const char *name,
                     struct buf *out)
{
    struct lines l = { .name = name, .out = out };

    MHD_get_connection_values(r->mhd, MHD_HEADER_KIND, add_value, &l);
    return l.found;
}

bool http_head_was_seen(const struct http_request *r)
{
    return r->seen;
}

const char *http_query(const struct http_request *r, const char *name)
{
    return http_target_query(&r->target, name);
}

void http_query_each(const struct http_request *r,
                     void (*visit)(void *arg, const char *name,
                                   const char *value),
                     void *arg)
{
    http_target_each(&r->target, visit, arg);
}

const char *http_body(const struct http_request *r, size_t *len)
{
    *len = r->body.len;
    return r->body.data;
}

const struct http_address *http_peer_of(const struct http_request *r)
{
    return &r->connection->address;
}

bool http_is_tls(const struct http_request *r)
{
    return r->connection->server->behind_tls;
}

bool http_is_local(const struct http_request *r)
{
    return r->connection->server->limits.local;
}

long http_peer_uid(const struct http_request *r)
{
    const union MHD_ConnectionInfo *info =
        MHD_get_connection_info(r->mhd, MHD_CONNECTION_INFO_CONNECTION_FD);
    /* struct ucred of the kernel, whose name the C library hides */
    struct {
        pid_t pid;
        uid_t uid;
        gid_t gid;
    } peer;
    socklen_t len = sizeof(peer);

    if (info == NULL ||
        getsockopt(info->connect_fd, SOL_SOCKET, SO_PEERCRED, &peer, &len) != 0)
        return -1;
    return (long)peer.uid;
}
