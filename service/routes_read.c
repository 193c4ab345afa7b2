#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/resources.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Older versions than fit are read one by one. */
enum { HISTORY_MAX = 200, HISTORY_BYTES_MAX = ANSWER_SIZE_MAX / 2 };

/* ---- read and vread ----------------------------------------------------- */

struct reading_one {
    struct exchange x; /* first */
    enum fhir_type type;
    char id[FID_SIZE];
    int version; /* 0: the newest */
    struct resource row;
    int64_t updated_ms; /* of the version read */
};

static enum err read_one(struct db *db, void *arg)
{
    struct reading_one *r = arg;
    enum err e = resource_shown(db, r->type, r->id, &r->row);

    if (e == ERR_OK)
        e = resource_served(db, r->x.service->config.fhir_base, &r->row,
                            r->version, &r->x.body, &r->updated_ms);
    return e;
}

static void not_found(struct exchange *x, enum fhir_type type)
{
    outcome_add(&x->outcome, SEV_ERROR, "not-found", "",
                "This %s, or this version of it, is not known here",
                type_word(type));
    exchange_refuse(x);
}

static bool has_it_already(const struct exchange *x, const char *etag)
{
    const char *known = http_header(x->request, "If-None-Match");

    return known != NULL && strstr(known, etag) != NULL;
}

static void on_read(void *arg, enum err e)
{
    struct reading_one *r = arg;
    int version = r->version > 0 ? r->version : r->row.version;
    char etag[32], modified[64];
    struct http_header_line lines[2];

    if (e == ERR_ABSENT) {
        not_found(&r->x, r->type);
        return;
    }
    if (e != ERR_OK) {
        exchange_failed(&r->x, e);
        return;
    }
    snprintf(etag, sizeof(etag), "W/\"%d\"", version);
    http_date_write(r->updated_ms / 1000, modified, sizeof(modified));
    lines[0] = (struct http_header_line){ "ETag", etag };
    lines[1] = (struct http_header_line){ "Last-Modified", modified };
    if (has_it_already(&r->x, etag)) {
        buf_empty(&r->x.body);
        exchange_answer(&r->x, 304, lines, COUNT(lines));
        return;
    }
    exchange_answer(&r->x, 200, lines, COUNT(lines));
}

void route_read(struct service *s, struct http_request *request,
                enum fhir_type type, const char *id, const char *version)
{
    struct reading_one *r =
        (struct reading_one *)exchange_new(s, request, sizeof(*r));
    char *end = NULL;
    long number = version != NULL ? strtol(version, &end, 10) : 0;

    if (r == NULL)
        return;
    if (!fhir_is_id(id) ||
        (version != NULL && (*end != '\0' || number < 1 || number > 1000000))) {
        not_found(&r->x, type);
        return;
    }
    r->type = type;
    r->version = (int)number;
    snprintf(r->id, sizeof(r->id), "%s", id);
    r->x.job = (struct store_job){ .run = read_one, .done = on_read, .arg = r };
    store_submit(s->store, &r->x.job);
}

/* ---- history of one ----------------------------------------------------- */

static enum err write_versions(struct db *db, struct reading_one *r,
                               const char *url)
{
    struct buf json;
    bool first = true;
    enum err e = ERR_OK;
    int oldest =
        r->row.version > HISTORY_MAX ? r->row.version - HISTORY_MAX : 0;

    buf_init(&json, BODY_MAX);
    for (int v = r->row.version;
         e == ERR_OK && v > oldest && r->x.body.len < HISTORY_BYTES_MAX; v--) {
        buf_empty(&json);
        e = resource_served(db, r->x.service->config.fhir_base, &r->row, v,
                            &json, &r->updated_ms);
        if (e == ERR_OK)
            fhir_write_searchset_entry(url, json.data, json.len, NULL, first,
                                       &r->x.body);
        first = false;
    }
    buf_clear(&json);
    return e;
}

static enum err read_history(struct db *db, void *arg)
{
    struct reading_one *r = arg;
    struct buf url, self;
    enum err e = resource_shown(db, r->type, r->id, &r->row);

    if (e != ERR_OK)
        return e;
    buf_init(&url, 1024);
    buf_init(&self, 1024);
    exchange_base(&r->x, &url);
    buf_printf(&url, "/%s/%s", type_word(r->type), r->id);
    buf_printf(&self, "%s/_history", url.data);
    fhir_write_searchset_begin("history", r->row.version, self.data, NULL,
                               &r->x.body);
    e = write_versions(db, r, url.data);
    fhir_write_searchset_end(&r->x.body);
    buf_clear(&url);
    buf_clear(&self);
    return e;
}

static void on_history(void *arg, enum err e)
{
    struct reading_one *r = arg;

    if (e == ERR_ABSENT)
        not_found(&r->x, r->type);
    else if (e != ERR_OK)
        exchange_failed(&r->x, e);
    else
        exchange_answer(&r->x, 200, NULL, 0);
}

void route_history(struct service *s, struct http_request *request,
                   enum fhir_type type, const char *id)
{
    struct reading_one *r =
        (struct reading_one *)exchange_new(s, request, sizeof(*r));

    if (r == NULL)
        return;
    if (!fhir_is_id(id)) {
        not_found(&r->x, type);
        return;
    }
    r->type = type;
    snprintf(r->id, sizeof(r->id), "%s", id);
    r->x.job =
        (struct store_job){ .run = read_history, .done = on_history, .arg = r };
    store_submit(s->store, &r->x.job);
}
