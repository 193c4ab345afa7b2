/* The store as a file: a backup while the service goes on. */
#include "adapters/fhir_out.h"
#include "service/report.h"
#include "service/store_backup.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const state_words[] = { [BACKUP_COPYING] = "copying",
                                           [BACKUP_CHECKING] = "checking",
                                           [BACKUP_DONE] = "done",
                                           [BACKUP_FAILED] = "failed" };

static void put_number(struct buf *b, const char *name, int64_t value)
{
    char text[24];

    snprintf(text, sizeof(text), "%lld", (long long)value);
    fhir_out_text(b, name, text);
}

/* How far the last backup is, as a flat object of texts. */
static void answer(struct exchange *x, int status)
{
    struct store_backup_view view;
    struct buf *b = &x->body;

    store_backup_look(x->service->backup, &view);
    fhir_out_open(b, NULL, '{');
    put_number(b, "number", view.number);
    fhir_out_text(b, "state", view.number > 0 ? state_words[view.state] : "");
    put_number(b, "pages", view.pages);
    put_number(b, "left", view.left);
    fhir_out_text(b, "text", view.text);
    fhir_out_close(b, '}');
    exchange_reply(x, status, NULL, 0, "application/json", b->data, b->len);
    exchange_free(x);
}

bool route_here_only(struct exchange *x)
{
    if (http_is_local(x->request))
        return true;
    snprintf(x->allow, sizeof(x->allow), "GET, HEAD");
    outcome_add(&x->outcome, SEV_ERROR, "method", "",
                "This is decided on the machine of the service");
    exchange_refuse(x);
    return false;
}

/* Says why as text, which the command prints. */
void route_refuse_text(struct exchange *x, int status, const char *text)
{
    buf_empty(&x->body);
    buf_printf(&x->body, "%s\n", text);
    exchange_reply(x, status, NULL, 0, TEXT_TYPE, x->body.data, x->body.len);
    exchange_free(x);
}

void route_store(struct service *s, struct http_request *r)
{
    struct exchange *x = exchange_new(s, r, sizeof(*x));

    if (x != NULL && route_here_only(x))
        answer(x, 200);
}

static int status_of(enum err e)
{
    if (e == ERR_DENIED || e == ERR_CONFLICT)
        return 409;
    return e == ERR_FORM || e == ERR_LIMIT ? 400 : 409;
}

static void begin(struct exchange *x, const char *file)
{
    struct buf why;
    enum err e;

    buf_init(&why, (size_t)2 * STORE_PATH_SIZE);
    e = store_backup_begin(x->service->backup, file, &why);
    if (e == ERR_OK)
        answer(x, 200);
    else
        route_refuse_text(x, status_of(e),
                          why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
}

/* Who asked for it is on record before it begins. */
struct backup_request {
    struct exchange x; /* first */
    char file[STORE_PATH_SIZE];
};

static enum err run_backup(struct db *db, void *arg)
{
    (void)db;
    (void)arg;
    return ERR_OK;
}

static void on_backup(void *arg, enum err e)
{
    struct backup_request *b = arg;

    if (e == ERR_OK)
        begin(&b->x, b->file);
    else
        exchange_failed(&b->x, e);
}

void route_store_act(struct service *s, struct http_request *r)
{
    struct backup_request *b =
        (struct backup_request *)exchange_new(s, r, sizeof(*b));
    const char *act = http_query(r, "act"), *file = http_query(r, "file");

    if (b == NULL || !route_here_only(&b->x))
        return;
    if (act != NULL && strcmp(act, "prune") == 0) {
        route_prune(&b->x);
        return;
    }
    if (act == NULL || strcmp(act, "backup") != 0 || file == NULL ||
        strlen(file) >= sizeof(b->file)) {
        outcome_add(&b->x.outcome, SEV_ERROR, "bad-parameter", "",
                    "act is backup, with file, or prune");
        exchange_refuse(&b->x);
        return;
    }
    snprintf(b->file, sizeof(b->file), "%s", file);
    audit_request_act(&b->x.audit, "store", "backup");
    b->x.job =
        (struct store_job){ .run = run_backup, .done = on_backup, .arg = b };
    exchange_submit(&b->x);
}
