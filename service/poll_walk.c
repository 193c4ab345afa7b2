#include "service/poll_walk.h"

#include "service/log.h"
#include "service/retry.h"

#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { URL_MAX = 16384 };

struct walk {
    struct walk_options options;
    uv_timer_t timer;         /* WAITING, or the start of a walk */
    struct record_call *call; /* ASKING */
    struct store_job job;     /* TAKING */
    bool taking, closing;
    struct buf target; /* of the page that is asked for */
    bool strict;
    int tries;
    struct walk_page page;
    char *body;     /* owned copy of the page's */
    uint64_t *seen; /* a digest of each address */
    unsigned pages;
    enum walk_end ended; /* told by the timer, never from inside */
    long status;
    bool ending;
    void (*on_closed)(void *arg);
    void *closed_arg;
};

static const struct {
    const char *word, *text;
} ends[WALK_END_COUNT] = {
    [WALK_DONE] = { "none", "" },
    [WALK_LATER] = { "no-answer", "the record does not answer, or asks to "
                                  "come later" },
    [WALK_STRICT] = { "parameters", "the record does not understand the "
                                    "search" },
    [WALK_REFUSED] = { "refused", "the record refuses the search" },
    [WALK_EXPIRED] = { "expired", "the record forgets its pages faster than "
                                  "they can be read" },
    [WALK_LARGE] = { "too-large", "one resource of the record is larger than "
                                  "is taken here" },
    [WALK_AGAIN] = { "again", "the reading is begun anew again and again" },
    [WALK_FOREIGN] = { "foreign-link", "the record's next page is on another "
                                       "host; it was not followed" },
    [WALK_LOOP] = { "loop", "the record's pages lead in a circle" },
    [WALK_ENDLESS] = { "endless", "the record's pages do not end" },
    [WALK_NO_PAGE] = { "no-page", "what the record sends is no page of a "
                                  "search" },
    [WALK_LENIENT] = { "lenient", "the record ignores _lastUpdated and sends "
                                  "everything; it cannot be polled" },
    [WALK_STORE] = { "store", "our own store failed" },
};

const char *walk_word(enum walk_end end)
{
    return (unsigned)end < WALK_END_COUNT ? ends[end].word : "unknown";
}

const char *walk_text(enum walk_end end)
{
    return (unsigned)end < WALK_END_COUNT ? ends[end].text : "";
}

unsigned walk_pages(const struct walk *w)
{
    return w->pages;
}

void walk_resolve(const char *base, const char *link, struct buf *out)
{
    const char *host = strstr(base, "://");
    size_t root = host != NULL ? (size_t)(host + 3 - base) : 0;

    if (strstr(link, "://") != NULL &&
        strcspn(link, ":") < strcspn(link, "/?#")) {
        buf_puts(out, link);
        return;
    }
    if (link[0] == '/') {
        root += strcspn(base + root, "/");
        buf_add(out, base, root);
    } else {
        /* always a slash between: nothing may become part of the host */
        buf_puts(out, base);
        buf_puts(out, "/");
    }
    buf_puts(out, link);
}

/* ---- ending -------------------------------------------------------------- */

static void forget_page(struct walk *w)
{
    free(w->body);
    free(w->page.next);
    w->body = NULL;
    w->page = (struct walk_page){ .body = NULL };
}

static void on_timer(uv_timer_t *timer);

/* Never from inside a call of the owner: by the timer. */
static void end(struct walk *w, enum walk_end how)
{
    forget_page(w);
    w->ended = how;
    w->ending = true;
    uv_timer_start(&w->timer, on_timer, 0, 0);
}

/* ---- TAKING -------------------------------------------------------------- */

/* FNV-1a, 64 bits: to know an address again. */
static uint64_t digest(const char *text)
{
    uint64_t h = 14695981039346656037u;

    for (; *text != '\0'; text++)
        h = (h ^ (unsigned char)*text) * 1099511628211u;
    return h;
}

/* false: it has been there. */
static bool note_address(struct walk *w, const char *address)
{
    uint64_t d = digest(address);

    for (unsigned i = 0; i < w->pages; i++) {
        if (w->seen[i] == d)
            return false;
    }
    w->seen[w->pages] = d;
    return true;
}

static void ask(struct walk *w);

static void go_on(struct walk *w)
{
    char *next = w->page.next;

    w->pages++;
    if (next == NULL) {
        end(w, WALK_DONE);
        return;
    }
    if (w->pages >= WALK_PAGES_MAX) {
        end(w, WALK_ENDLESS);
        return;
    }
    buf_empty(&w->target);
    walk_resolve(record_url(w->options.record), next, &w->target);
    forget_page(w);
    if (buf_ok(&w->target) != ERR_OK)
        end(w, WALK_NO_PAGE);
    else if (!record_is_same_origin(w->options.record, w->target.data))
        end(w, WALK_FOREIGN);
    else if (!note_address(w, w->target.data))
        end(w, WALK_LOOP);
    else
        ask(w);
}

static void on_taken(void *arg, enum err e)
{
    struct walk *w = arg;

    w->taking = false;
    if (w->closing)
        return; /* the timer sees it */
    if (e == ERR_OK && w->options.on_page != NULL)
        w->options.on_page(w->options.arg);
    if (e != ERR_OK)
        end(w, WALK_STORE);
    else if (w->page.verdict != WALK_DONE)
        end(w, w->page.verdict);
    else
        go_on(w);
}

static enum err run_take(struct db *db, void *arg)
{
    struct walk *w = arg;

    return w->options.take(db, w->options.arg, &w->page);
}

static int64_t server_clock(const struct http_answer *a)
{
    const char *date = http_answer_header(a, "Date");
    int64_t at_s;

    return date != NULL && http_date_s(date, &at_s) == ERR_OK ? at_s * 1000
                                                              : INT64_MIN;
}

static void take(struct walk *w, const struct http_answer *a)
{
    w->body = malloc(a->body_len + 1);
    if (w->body == NULL) {
        end(w, WALK_STORE);
        return;
    }
    memcpy(w->body, a->body, a->body_len);
    w->body[a->body_len] = '\0';
    w->page = (struct walk_page){ .body = w->body,
                                  .len = a->body_len,
                                  .number = w->pages,
                                  .server_ms = server_clock(a) };
    w->taking = true;
    w->job = (struct store_job){
        .run = run_take, .done = on_taken, .arg = w, .large = true
    };
    store_submit(w->options.store, &w->job);
}

/* ---- ASKING, WAITING ----------------------------------------------------- */

/* What an answer that is no page means. */
static enum walk_end meaning(const struct walk *w, const struct http_answer *a)
{
    if (a->err == ERR_LIMIT)
        return WALK_LARGE;
    if (a->err != ERR_OK)
        return WALK_LATER;
    if (w->pages > 0 && (a->status == 404 || a->status == 410))
        return WALK_EXPIRED;
    switch (retry_class(a)) {
    case RETRY_LATER:
    case RETRY_UNCLEAR:
        return WALK_LATER;
    case RETRY_NEVER:
        return w->pages > 0 ? WALK_EXPIRED : WALK_STRICT;
    case RETRY_PAUSED:
        break;
    }
    return WALK_REFUSED;
}

static void wait(struct walk *w, const struct http_answer *a)
{
    int64_t ms, pause_ms = 0;

    if (a->retry_after == NULL ||
        retry_after_ms(a->retry_after, 1000 * (int64_t)time(NULL), &ms) !=
            ERR_OK)
        ms = retry_wait_ms(w->tries, w->options.retry_first_ms,
                           w->options.retry_last_ms);
    if (w->tries++ == WALK_TRIES_MAX || a->err == ERR_DENIED) {
        end(w, WALK_LATER);
        return;
    }
    if (!record_may_ask(w->options.record, &pause_ms) && pause_ms > ms)
        ms = pause_ms;
    uv_timer_start(&w->timer, on_timer, (uint64_t)ms + 1, 0);
}

static void on_answer(void *arg, const struct http_answer *a)
{
    struct walk *w = arg;
    enum walk_end how;

    w->call = NULL;
    w->status = a->status;
    if (a->err == ERR_OK && a->status == 200) {
        w->tries = 0;
        take(w, a);
        return;
    }
    how = meaning(w, a);
    if (how == WALK_LATER)
        wait(w, a);
    else
        end(w, how);
}

static void ask(struct walk *w)
{
    const char *const headers[] = { "Prefer: handling=strict", NULL };
    struct record_request request = { .method = "GET",
                                      .target = w->target.data,
                                      .headers = w->strict && w->pages == 0
                                                     ? headers
                                                     : NULL,
                                      .answer_max = WALK_PAGE_MAX };
    enum err e =
        record_call_start(w->options.record, &request, on_answer, w, &w->call);

    if (e == ERR_OK)
        return;
    w->call = NULL;
    end(w, e == ERR_DENIED ? WALK_FOREIGN : WALK_LATER);
}

static void on_timer(uv_timer_t *timer)
{
    struct walk *w = timer->data;

    if (!w->ending) {
        ask(w);
        return;
    }
    w->ending = false;
    w->options.on_end(w->options.arg, w->ended, w->status);
}

void walk_begin(struct walk *w, const char *target, bool strict)
{
    buf_empty(&w->target);
    buf_puts(&w->target, target);
    w->strict = strict;
    w->tries = 0;
    w->pages = 0;
    w->status = 0;
    if (buf_ok(&w->target) == ERR_OK)
        ask(w);
    else
        end(w, WALK_REFUSED);
}

/* ---- opening and closing ------------------------------------------------- */

enum err walk_open(const struct walk_options *options, struct walk **walk)
{
    struct walk *w = calloc(1, sizeof(*w));

    if (w == NULL)
        return ERR_MEMORY;
    w->seen = calloc(WALK_PAGES_MAX + 1, sizeof(*w->seen));
    if (w->seen == NULL) {
        free(w);
        return ERR_MEMORY;
    }
    w->options = *options;
    buf_init(&w->target, URL_MAX);
    uv_timer_init(options->loop, &w->timer);
    w->timer.data = w;
    *walk = w;
    return ERR_OK;
}

static void on_closed(uv_handle_t *handle)
{
    struct walk *w = handle->data;
    void (*closed)(void *) = w->on_closed;
    void *arg = w->closed_arg;

    forget_page(w);
    buf_clear(&w->target);
    free(w->seen);
    free(w);
    closed(arg);
}

/* The store still has the page: it finishes what was submitted, and then the
 * loop calls on_taken. */
static void on_wait_taken(uv_timer_t *timer)
{
    struct walk *w = timer->data;

    if (w->taking)
        return;
    uv_timer_stop(timer);
    uv_close((uv_handle_t *)timer, on_closed);
}

void walk_close(struct walk *w, void (*closed)(void *arg), void *arg)
{
    enum { LOOK_MS = 5 };

    w->closing = true;
    w->on_closed = closed;
    w->closed_arg = arg;
    if (w->call != NULL)
        record_call_cancel(w->call);
    w->call = NULL;
    uv_timer_start(&w->timer, on_wait_taken, 0, LOOK_MS);
}
