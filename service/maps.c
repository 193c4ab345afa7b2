#include "service/maps.h"

#include "adapters/fhir_time.h"
#include "adapters/zone.h"
#include "service/file.h"

#include <string.h>

enum { MAP_MAX = 4 * 1024 * 1024, WHY_MAX = 1024 };

/* ---- files ---------------------------------------------------------------- */

static bool ends_with(const char *path, const char *end)
{
    size_t len = strlen(path), end_len = strlen(end);

    return len >= end_len && strcmp(path + len - end_len, end) == 0;
}

/* By its name, else by its first character that is not a blank. */
static bool is_csv(const char *path, const struct buf *text)
{
    const char *at = text->data;

    if (ends_with(path, ".csv") || ends_with(path, ".CSV"))
        return true;
    if (ends_with(path, ".json") || ends_with(path, ".JSON"))
        return false;
    return at[strspn(at, " \t\r\n")] != '{';
}

static enum err add(struct codes *codes, const char *path, struct buf *why)
{
    struct buf text, wrong;
    enum err e;

    buf_init(&text, MAP_MAX);
    buf_init(&wrong, WHY_MAX);
    e = file_read(path, &text, why);
    if (e == ERR_OK) {
        e = is_csv(path, &text)
                ? codes_add_csv(codes, text.data, text.len, &wrong)
                : codes_add_concept_map(codes, text.data, text.len, &wrong);
        if (e != ERR_OK)
            buf_printf(why, "%s: %s", path,
                       wrong.len > 0 ? wrong.data : err_word(e));
    }
    buf_clear(&wrong);
    buf_clear(&text);
    return e;
}

enum err maps_load(const struct config *config, struct codes **codes,
                   struct buf *why)
{
    struct zone *zone = NULL;
    enum err e;

    *codes = NULL;
    e = codes_new(config->fhir_base, codes);
    if (e != ERR_OK)
        return e;
    e = zone_load(config->zone, &zone);
    if (e != ERR_OK) {
        buf_printf(why, "[site] zone: %s is not a zone of this system",
                   config->zone);
        return e;
    }
    codes_set_zone(*codes, zone);
    for (int i = 0; e == ERR_OK && i < config->map_count; i++)
        e = add(*codes, config->maps[i], why);
    codes_set_zone(*codes, NULL);
    zone_free(zone);
    return e;
}

/* ---- the store ------------------------------------------------------------- */

static enum err learn(struct codes *codes, const struct codes_line *line,
                      int64_t at_ms, struct buf *why)
{
    char at[FHIR_TIME_SIZE];
    struct buf wrong;
    enum err e;

    buf_init(&wrong, WHY_MAX);
    e = codes_learn(codes, line, &wrong);
    if (e != ERR_OK && e != ERR_MEMORY) {
        fhir_time_write(at_ms / 1000, at);
        buf_printf(why,
                   "mapping %lld of the store (code '%s' of %s, added %s): %s. "
                   "Make the file say the same, or take the row out of it",
                   (long long)line->id, line->code, line->system, at,
                   wrong.data);
    }
    buf_clear(&wrong);
    return e;
}

enum err maps_learn_stored(struct db *db, struct codes *codes, struct buf *why)
{
    const enum query q = Q_MAPPING_LIST;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        int64_t from_s = db_int(db, q, 7);
        struct codes_line line = { .system = db_text(db, q, 2),
                                   .code = db_text(db, q, 3),
                                   .target = db_text(db, q, 4),
                                   .unit = db_text(db, q, 5),
                                   .arm = db_text(db, q, 6),
                                   .from_s = from_s != 0 ? from_s : INT64_MIN,
                                   .id = db_int(db, q, 0) };

        e = learn(codes, &line, db_int(db, q, 1), why);
    }
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err maps_store(struct db *db, const struct codes_line *line,
                    const char *who, const char *note, int64_t now_ms,
                    int64_t *id)
{
    enum err e = db_new_id(db, id);

    if (e != ERR_OK)
        return e;
    return db_run(db, Q_MAPPING_ADD, "iisssssiss", *id, now_ms, line->system,
                  line->code, line->target, line->unit, line->arm,
                  line->from_s != INT64_MIN ? line->from_s : INT64(0), who,
                  note);
}
