#include "service/app.h"

#include "adapters/fhir_write.h"
#include "service/resources.h"
#include "service/task_change.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

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

/*
 * Does the client have this version?  If-Modified-Since counts where there is
 * no If-None-Match alone (RFC 9110, 13.1.3), and is passed over if it is no
 * date; it knows of seconds only.
 */
static bool has_it_already(const struct exchange *x, int version,
                           int64_t updated_ms)
{
    const char *known = http_header(x->request, "If-None-Match");
    const char *since = http_header(x->request, "If-Modified-Since");
    int64_t at_s;

    if (known != NULL)
        return etag_matches(known, version);
    return since != NULL && http_date_read(since, &at_s) &&
           updated_ms / 1000 <= at_s;
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
    if (has_it_already(&r->x, version, r->updated_ms)) {
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
    exchange_submit(&r->x);
}
