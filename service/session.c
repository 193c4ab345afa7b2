#include "service/command.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_answer.h"
#include "adapters/tls_stream.h"
#include "service/log.h"
#include "service/store_files.h"

#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

enum { CALL_TIMEOUT_MS = 120000, ANSWER_MAX = 256 * 1024 * 1024 };

/* Does somebody answer on this socket? */
static bool is_served(const char *path)
{
    struct sockaddr_un address = { .sun_family = AF_UNIX };
    int fd;
    bool served;

    if (strlen(path) >= sizeof(address.sun_path))
        return false;
    memcpy(address.sun_path, path, strlen(path) + 1);
    fd = socket(AF_UNIX, SOCK_STREAM, 0);
    if (fd < 0)
        return false;
    served =
        connect(fd, (const struct sockaddr *)&address, sizeof(address)) == 0;
    close(fd);
    return served;
}

static bool read_token(struct session *s, const char *path)
{
    FILE *f = fopen(path, "r");
    char line[900] = "";

    if (f == NULL || fgets(line, sizeof(line), f) == NULL) {
        fprintf(stderr, "headgate: %s: no token can be read\n", path);
        if (f != NULL)
            fclose(f);
        return false;
    }
    fclose(f);
    line[strcspn(line, "\r\n")] = '\0';
    snprintf(s->authorization, sizeof(s->authorization),
             "Authorization: Bearer %s", line);
    return true;
}

/* The files of TLS, before anything is asked by them. */
static int open_client(struct session *s, const struct args *args)
{
    const struct http_trust trust = { .ca = args->ca };
    struct buf why;
    enum err e;

    buf_init(&why, 1024);
    e = tls_trust_try(args->ca, NULL, NULL, &why);
    if (e == ERR_OK)
        e = http_client_open(&s->loop, &s->client);
    if (e == ERR_OK)
        e = http_client_trust(s->client, &trust);
    if (why.len > 0)
        fprintf(stderr, "headgate: --ca %s\n", why.data);
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

static bool open_elsewhere(struct session *s, const struct args *args)
{
    size_t len = strlen(args->to);

    while (len > 0 && args->to[len - 1] == '/')
        len--;
    if (len > 5 && strncmp(args->to + len - 5, "/fhir", 5) == 0)
        len -= 5;
    if (len >= sizeof(s->url)) {
        fputs("headgate: the URL of --to is too long\n", stderr);
        return false;
    }
    memcpy(s->url, args->to, len);
    s->url[len] = '\0';
    return args->token == NULL || read_token(s, args->token);
}

/* The first store of a service that does not run as root: it has to open it. */
static enum err give_away(const char *store, struct buf *why)
{
    bool given = false;
    enum err e = store_own_new(store, &given, why);

    if (given) {
        fprintf(stderr,
                _("headgate: %s: made, and given to the account that its "
                  "folder is of"),
                store);
        fputs("\n", stderr);
    } else if (e == ERR_OK && geteuid() == 0) {
        fprintf(stderr,
                _("headgate: %s: made by root, in a folder of root's: a "
                  "service of another account cannot open it"),
                store);
        fputs("\n", stderr);
    }
    return e;
}

/* It goes on in a service of its own: what that does is not told line by line,
 * only what is wrong. */
static enum err open_store(struct session *s, const struct config *config,
                           struct buf *why)
{
    bool made = access(config->store_path, F_OK) != 0;
    enum log_level level;
    enum err e;

    if (log_level_by_word(config->log_level, &level) != ERR_OK ||
        level < LOG_WARN)
        level = LOG_WARN;
    log_set_level(level);
    e = service_open(&s->loop, config, false, &s->own, why);
    return e == ERR_OK && made ? give_away(config->store_path, why) : e;
}

static int open_here(struct session *s, const struct args *args,
                     const struct config *config, bool may_create)
{
    struct buf why;
    enum err e = ERR_OK;

    service_socket_path(config->store_path, s->socket_path,
                        sizeof(s->socket_path));
    snprintf(s->url, sizeof(s->url), "http://localhost");
    if (is_served(s->socket_path))
        return 0;
    if (!args_listener(args, config))
        return 2;
    if (!may_create && access(config->store_path, F_OK) != 0) {
        fprintf(stderr, "headgate: %s: there is no store, and no service\n",
                config->store_path);
        return 1;
    }
    buf_init(&why, 4096);
    e = open_store(s, config, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK ? 0 : 1;
}

int session_open(struct session *s, const struct args *args,
                 const struct config *config, bool may_create)
{
    int status;

    memset(s, 0, sizeof(*s));
    signal(SIGPIPE, SIG_IGN);
    if (uv_loop_init(&s->loop) != 0)
        return 1;
    if (args->to != NULL)
        status = open_elsewhere(s, args) ? 0 : 1;
    else
        status = open_here(s, args, config, may_create);
    if (status == 0)
        status = open_client(s, args);
    if (status != 0)
        session_close(s);
    return status;
}

int session_open_client(struct session *s, const struct args *args,
                        const struct config *config)
{
    int status = 0;

    memset(s, 0, sizeof(*s));
    signal(SIGPIPE, SIG_IGN);
    if (uv_loop_init(&s->loop) != 0)
        return 1;
    if (args->to != NULL) {
        status = open_elsewhere(s, args) ? 0 : 1;
    } else {
        service_socket_path(config->store_path, s->socket_path,
                            sizeof(s->socket_path));
        snprintf(s->url, sizeof(s->url), "http://localhost");
    }
    if (status == 0)
        status = open_client(s, args);
    if (status != 0)
        session_close(s);
    return status;
}

void session_complain(const struct session *s, long status, enum err e)
{
    if (status == 0)
        fprintf(stderr, "headgate: %s cannot be reached (%s%s%s)\n",
                s->socket_path[0] != '\0' ? s->socket_path : s->url,
                err_word(e), s->reason != NULL ? ": " : "",
                s->reason != NULL ? s->reason : "");
    else if (status == 401)
        fprintf(stderr,
                "headgate: %s wants a token that it knows: --token-file\n",
                s->url);
    else if (e != ERR_OK)
        fprintf(stderr, "headgate: the service answered %ld (%s)\n", status,
                err_word(e));
    else
        fprintf(stderr, "headgate: %s answered %ld%s\n",
                s->socket_path[0] != '\0' ? "the service" : s->url, status,
                status == 404 ? ": is headgate there, and not older than this "
                                "program?"
                              : "");
}

/* As routes.c puts it; what an older service says of a path that is new. */
static const char no_such_path[] = "There is nothing under this path";

/* What a page of a proxy says is of no use here. */
static bool is_text(const struct buf *answer)
{
    return answer->len > 0 && answer->data[0] != '{' &&
           answer->data[0] != '[' && answer->data[0] != '<';
}

/* What was wrong with it, of an OperationOutcome; false: it is none. */
static bool say_outcome(const struct buf *out, long status)
{
    struct fhir_answer answer;
    size_t count;
    bool lone = false;

    if (out->len == 0 ||
        fhir_answer_read(out->data, out->len, (int)status, &answer, 1, &count,
                         &lone) != ERR_OK ||
        !lone || answer.text[0] == '\0' ||
        strcmp(answer.text, no_such_path) == 0)
        return false;
    fprintf(stderr, "headgate: the service answered %ld: %s\n", status,
            answer.text);
    return true;
}

void session_complain_of(const struct session *s, long status, enum err e,
                         const struct buf *answer)
{
    bool speaks = e == ERR_OK && status != 0 && status != 401;

    if (speaks && is_text(answer))
        fprintf(stderr, "headgate: %s%s", answer->data, /* says why */
                answer->data[answer->len - 1] == '\n' ? "" : "\n");
    else if (!speaks || !say_outcome(answer, status))
        session_complain(s, status, e);
}

static void client_closed(void *arg)
{
    (void)arg;
}

static void own_stopped(void *arg, bool failed)
{
    (void)arg;
    (void)failed;
}

void session_close(struct session *s)
{
    if (s->client != NULL)
        http_client_close(s->client, client_closed, NULL);
    if (s->own != NULL)
        service_stop(s->own, own_stopped, NULL);
    uv_run(&s->loop, UV_RUN_DEFAULT);
    uv_loop_close(&s->loop);
}

struct waiting {
    uv_loop_t *loop;
    bool done;
    long status;
    enum err err;
    struct buf *out;
    const char *reason;           /* static */
    char etag[SESSION_ETAG_SIZE]; /* of the answer; "" none, or too long */
};

static void on_answer(void *arg, const struct http_answer *answer)
{
    struct waiting *w = arg;

    w->done = true;
    w->err = answer->err;
    w->reason = answer->reason;
    w->status = answer->status;
    if (answer->etag != NULL && strlen(answer->etag) < sizeof(w->etag))
        snprintf(w->etag, sizeof(w->etag), "%s", answer->etag);
    if (answer->err == ERR_OK)
        buf_add(w->out, answer->body, answer->body_len);
    uv_stop(w->loop);
}

/* One call, waited for. */
static enum err wait_for(struct session *s, struct http_call_options *options,
                         const char *path, struct waiting *w, long *status)
{
    struct http_call *call;
    struct buf url;
    enum err e;

    options->socket_path = s->socket_path[0] != '\0' ? s->socket_path : NULL;
    options->answer_max = ANSWER_MAX;
    buf_init(&url, 4096);
    buf_printf(&url, "%s%s", s->url, path);
    options->url = url.data;
    *status = 0;
    e = buf_ok(&url);
    if (e == ERR_OK)
        e = http_call_start(s->client, options, on_answer, w, &call);
    while (e == ERR_OK && !w->done)
        uv_run(&s->loop, UV_RUN_DEFAULT);
    buf_clear(&url);
    if (e != ERR_OK)
        return e;
    *status = w->status;
    s->reason = w->reason;
    return w->err == ERR_OK ? buf_ok(w->out) : w->err;
}

enum err session_get_if(struct session *s, const char *path,
                        char etag[SESSION_ETAG_SIZE], long *status,
                        struct buf *out)
{
    enum { GET_TIMEOUT_MS = 10000 };
    struct waiting w = { .loop = &s->loop, .out = out };
    char known[SESSION_ETAG_SIZE + 32];
    const char *headers[3] = { NULL };
    size_t lines = 0;
    struct http_call_options options = { .method = "GET",
                                         .headers = headers,
                                         .timeout_ms = GET_TIMEOUT_MS };
    enum err e;

    snprintf(known, sizeof(known), "If-None-Match: %s", etag);
    if (etag[0] != '\0')
        headers[lines++] = known;
    if (s->authorization[0] != '\0')
        headers[lines] = s->authorization;
    e = wait_for(s, &options, path, &w, status);
    if (e == ERR_OK)
        memcpy(etag, w.etag, SESSION_ETAG_SIZE);
    return e;
}

enum err session_call(struct session *s, const char *method, const char *path,
                      const char *body, size_t len, long *status,
                      struct buf *out)
{
    return session_call_as(s, method, path, "application/fhir+json", NULL, body,
                           len, status, out);
}

enum err session_call_as(struct session *s, const char *method,
                         const char *path, const char *content_type,
                         const char *accept, const char *body, size_t len,
                         long *status, struct buf *out)
{
    struct waiting w = { .loop = &s->loop, .out = out };
    char type[96], taken[96];
    const char *headers[5] = { type };
    size_t lines = 1;
    struct http_call_options options = { .method = method,
                                         .headers = headers,
                                         .body = body,
                                         .body_len = len,
                                         .timeout_ms = CALL_TIMEOUT_MS };

    snprintf(type, sizeof(type), "Content-Type: %s", content_type);
    snprintf(taken, sizeof(taken), "Accept: %s", accept != NULL ? accept : "");
    if (accept != NULL)
        headers[lines++] = taken;
    if (s->history) /* nothing of it is doubted for being old */
        headers[lines++] = "X-Headgate-History: load";
    if (s->authorization[0] != '\0')
        headers[lines] = s->authorization;
    return wait_for(s, &options, path, &w, status);
}
