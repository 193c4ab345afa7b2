#include "service/poll_settings.h"

#include "adapters/fhir_page.h"
#include "adapters/fhir_time.h"

#include <stdio.h>
#include <string.h>

static enum err refuse(struct buf *why, const char *key, const char *text)
{
    buf_printf(why, "[record] %s: %s", key, text);
    return ERR_CONFIG;
}

static enum err add_type(struct poll_settings *s, const char *word, size_t len,
                         struct buf *why)
{
    char name[24] = "";
    enum fhir_type type;

    if (len < sizeof(name))
        snprintf(name, sizeof(name), "%.*s", (int)len, word);
    type = fhir_type_named(name);
    if (type == FHIR_OTHER || type == FHIR_TASK)
        return refuse(why, "poll_types",
                      "name Patient, BodyStructure, Observation, with commas "
                      "between");
    for (size_t i = 0; i < s->type_count; i++) {
        if (s->types[i] == type)
            return refuse(why, "poll_types", "a type is named twice");
    }
    s->types[s->type_count++] = type; /* there are no more than three */
    return ERR_OK;
}

static enum err read_types(const char *list, struct poll_settings *s,
                           struct buf *why)
{
    enum err e = ERR_OK;

    for (const char *at = list; e == ERR_OK && *at != '\0';) {
        size_t len;

        at += strspn(at, " ,");
        len = strcspn(at, " ,");
        if (len > 0)
            e = add_type(s, at, len, why);
        at += len;
    }
    if (e == ERR_OK && s->type_count == 0)
        return refuse(why, "poll_types", "at least one is needed");
    return e;
}

static enum err read_from(const struct config *c, struct poll_settings *s,
                          struct buf *why)
{
    struct fhir_time time;
    struct zone *zone;
    enum err e;

    s->from_ms = INT64_MIN;
    if (c->record_poll_from[0] == '\0')
        return ERR_OK;
    e = zone_load(c->zone, &zone);
    if (e != ERR_OK)
        return e == ERR_MEMORY ? e : refuse(why, "poll_from", "no zone");
    e = fhir_time_read(c->record_poll_from, strlen(c->record_poll_from), zone,
                       &time);
    zone_free(zone);
    if (e != ERR_OK)
        return refuse(why, "poll_from",
                      "this is not a date: write it as 2026-03-31");
    s->from_ms = time.start_s * 1000;
    return ERR_OK;
}

enum err poll_settings_read(const struct config *c, struct poll_settings *s,
                            struct buf *why)
{
    enum err e;

    memset(s, 0, sizeof(*s));
    e = read_types(c->record_poll_types, s, why);
    if (e == ERR_OK)
        e = read_from(c, s, why);
    if (e != ERR_OK)
        return e;
    if (c->record_subscribe && c->record_hook_url[0] == '\0')
        return refuse(why, "subscribe",
                      "the record must be told where to call: set hook_url");
    if (c->record_bulk_group[0] != '\0' && !fhir_is_id(c->record_bulk_group))
        return refuse(why, "bulk_group", "this is not an id");
    return ERR_OK;
}
