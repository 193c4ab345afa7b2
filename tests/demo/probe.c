#include "tests/demo/probe.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum err probe_file(const char *dir, const char *name, struct buf *out)
{
    char path[1024], part[4096];
    size_t n;
    FILE *file;

    buf_init(out, PROBE_MAX);
    snprintf(path, sizeof(path), "%s/%s", dir, name);
    file = fopen(path, "rb");
    if (file == NULL)
        return ERR_IO;
    while ((n = fread(part, 1, sizeof(part), file)) > 0)
        buf_add(out, part, n);
    fclose(file);
    return buf_ok(out);
}

enum err probe_open(const char *dir, struct probe *probe, struct buf *why)
{
    struct buf map, sides;
    enum err e;

    *probe = (struct probe){ NULL, NULL };
    buf_init(&sides, PROBE_MAX);
    e = probe_file(dir, "site-c.json", &map);
    if (e == ERR_OK)
        e = probe_file(dir, "../maps/snomed-ct.csv", &sides);
    if (e == ERR_OK)
        e = zone_load("UTC", &probe->zone);
    if (e == ERR_OK)
        e = codes_new("https://headgate.example/fhir", &probe->codes);
    if (e == ERR_OK)
        e = codes_add_concept_map(probe->codes, map.data, map.len, why);
    if (e == ERR_OK)
        e = codes_add_csv(probe->codes, sides.data, sides.len, why);
    buf_clear(&map);
    buf_clear(&sides);
    return e;
}

void probe_close(struct probe *probe)
{
    codes_free(probe->codes);
    zone_free(probe->zone);
}

enum err probe_feed(int64_t end_day, uint64_t seed, size_t bundle,
                    struct buf *out)
{
    struct demo *demo;
    enum err e;

    buf_init(out, PROBE_MAX);
    e = demo_new(end_day, seed, &demo);
    if (e != ERR_OK)
        return e;
    demo_feed(demo, bundle, out);
    demo_free(demo);
    return buf_ok(out);
}

struct observed_feed *probe_observe(const struct probe *probe, int64_t end_day,
                                    uint64_t seed, struct buf *line)
{
    struct observer by = { probe->codes, probe->zone, end_day };
    struct observed_feed *seen = calloc(1, sizeof(*seen));
    struct buf feed;
    const char *at;
    enum err e = probe_feed(end_day, seed, 0, &feed);

    for (at = feed.data; e == ERR_OK && seen != NULL && *at != '\0';) {
        size_t len = strcspn(at, "\n");

        e = observe_line(&by, seen, at, len);
        if (e != ERR_OK)
            buf_add(line, at, len);
        at += len + 1;
    }
    buf_clear(&feed);
    if (e != ERR_OK) {
        free(seen);
        return NULL;
    }
    return seen;
}
