#include "service/maps.h"

#include "service/file.h"

enum { MAP_MAX = 4 * 1024 * 1024, WHY_MAX = 1024 };

static enum err add(struct codes *codes, const char *path, struct buf *why)
{
    struct buf json, wrong;
    enum err e;

    buf_init(&json, MAP_MAX);
    buf_init(&wrong, WHY_MAX);
    e = file_read(path, &json, why);
    if (e == ERR_OK) {
        e = codes_add_concept_map(codes, json.data, json.len, &wrong);
        if (e != ERR_OK)
            buf_printf(why, "%s: %s", path, wrong.data);
    }
    buf_clear(&wrong);
    buf_clear(&json);
    return e;
}

enum err maps_load(const struct config *config, struct codes **codes,
                   struct buf *why)
{
    enum err e;

    *codes = NULL;
    e = codes_new(config->fhir_base, codes);
    for (int i = 0; e == ERR_OK && i < config->map_count; i++)
        e = add(*codes, config->maps[i], why);
    return e;
}
