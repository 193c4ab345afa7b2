#include "adapters/fhir_subscription.h"

#include "adapters/fhir_json.h"
#include "adapters/fhir_page.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void add_text(struct buf *out, const char *text)
{
    json_t *value = json_string(text);
    char *written = value != NULL ? json_dumps(value, JSON_ENCODE_ANY) : NULL;

    if (written != NULL)
        buf_puts(out, written);
    else
        out->err = ERR_MEMORY;
    free(written);
    json_decref(value);
}

static void add_member(struct buf *out, const char *name, const char *value)
{
    buf_printf(out, ",\"%s\":", name);
    add_text(out, value);
}

void fhir_subscription_write(const struct fhir_subscription_wish *w,
                             struct buf *out)
{
    char end[FHIR_TIME_SIZE];
    struct buf header;

    fhir_time_write(w->end_s, end);
    buf_puts(out, "{\"resourceType\":\"Subscription\"");
    if (w->id != NULL)
        add_member(out, "id", w->id);
    buf_puts(out, ",\"status\":\"requested\"");
    add_member(out, "end", end);
    add_member(out, "reason",
               "Surveillance of dialysis accesses: readings and Tasks");
    add_member(out, "criteria", w->criteria);
    buf_puts(out, ",\"channel\":{\"type\":\"rest-hook\"");
    add_member(out, "endpoint", w->endpoint);
    if (w->payload)
        add_member(out, "payload", "application/fhir+json");
    if (w->token != NULL) {
        buf_init(&header, 32768);
        buf_printf(&header, "Authorization: Bearer %s", w->token);
        buf_puts(out, ",\"header\":[");
        if (buf_ok(&header) == ERR_OK)
            add_text(out, header.data);
        else
            out->err = buf_ok(&header);
        buf_puts(out, "]");
        buf_clear(&header);
    }
    buf_puts(out, "}}");
}

/* Is it the one that is meant? */
static bool is_ours(json_t *resource, const char *criteria,
                    const char *endpoint)
{
    return fhir_is(resource, "resourceType", "Subscription") &&
           fhir_is(resource, "criteria", criteria) &&
           fhir_is(json_object_get(resource, "channel"), "endpoint",
                   endpoint) &&
           fhir_string(resource, "id") != NULL &&
           fhir_is_id(fhir_string(resource, "id"));
}

static void take(json_t *resource, struct fhir_subscription *out)
{
    const char *status = fhir_string(resource, "status");
    int64_t end_ms = fhir_instant_ms(fhir_string(resource, "end"));

    snprintf(out->id, sizeof(out->id), "%s", fhir_string(resource, "id"));
    snprintf(out->status, sizeof(out->status), "%s",
             status != NULL ? status : "");
    out->end_s = end_ms == INT64_MIN ? INT64_MIN : end_ms / 1000;
}

enum err fhir_subscription_find(const char *json, size_t len,
                                const char *criteria, const char *endpoint,
                                struct fhir_subscription *out)
{
    struct outcome outcome;
    json_t *root, *entry;
    bool found = false;
    enum err e;
    size_t i;

    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &root);
    if (e != ERR_OK)
        return e == ERR_MEMORY ? e : ERR_FORM;
    if (is_ours(root, criteria, endpoint)) {
        take(root, out);
        found = true;
    }
    json_array_foreach(json_object_get(root, "entry"), i, entry)
    {
        json_t *resource = json_object_get(entry, "resource");

        if (!is_ours(resource, criteria, endpoint) ||
            (found && (strcmp(out->status, "off") != 0 ||
                       fhir_is(resource, "status", "off"))))
            continue;
        take(resource, out);
        found = true;
    }
    json_decref(root);
    return found ? ERR_OK : ERR_ABSENT;
}
