/* Mappings that people made: the list, and taking one back. */
#include "service/quarantine_act.h"

#include "service/maps.h"
#include "service/quarantine_list.h"

#include <stdlib.h>

enum { SHOWN_MAX = 2000, DETAIL_MAX = 2047, WHY_MAX = 1000 };

/* ---- the list ------------------------------------------------------------- */

static const char *text_of(struct db *db, enum query q, int column)
{
    const char *text = db_text(db, q, column);

    return text != NULL ? text : "";
}

static struct codes_line line_of(struct db *db, enum query q, int first)
{
    int64_t from_s = db_int(db, q, first + 5);

    return (struct codes_line){ .system = text_of(db, q, first),
                                .code = text_of(db, q, first + 1),
                                .target = text_of(db, q, first + 2),
                                .unit = text_of(db, q, first + 3),
                                .arm = text_of(db, q, first + 4),
                                .from_s = from_s != 0 ? from_s : INT64_MIN };
}

static void write_one(struct db *db, bool json, const struct zone *zone,
                      struct buf *out)
{
    const enum query q = Q_MAPPING_SHOW;
    struct quarantine_mapping m = { .line = line_of(db, q, 2),
                                    .at_ms = db_int(db, q, 1),
                                    .who = text_of(db, q, 8),
                                    .why = text_of(db, q, 9),
                                    .at_work = db_int(db, q, 10) >= 0,
                                    .gone_ms = db_int(db, q, 11),
                                    .gone_who = text_of(db, q, 12),
                                    .gone_why = text_of(db, q, 13),
                                    .lost = db_int(db, q, 14) };

    m.line.id = db_int(db, q, 0);
    if (json)
        quarantine_write_mapping_json(&m, out);
    else
        quarantine_write_mapping(&m, zone, out);
}

enum err quarantine_maps(struct db *db, bool json, const struct zone *zone,
                         struct buf *out)
{
    const enum query q = Q_MAPPING_SHOW;
    enum err e = db_query(db, q, "i", INT64(SHOWN_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        write_one(db, json, zone, out);
    if (e != ERR_ABSENT)
        return e;
    if (!json && out->len == 0)
        buf_puts(out, "Nobody has mapped anything here; what files map is in "
                      "the files of [codes] map.\n");
    else if (!json)
        buf_puts(out, "\nWhat a code or a unit means is for the unit that "
                      "sends it, and for the clinician, by\nlocal policy.\n");
    return buf_ok(out);
}

/* ---- taking one back ------------------------------------------------------ */

static enum err find_mapping(struct db *db, struct quarantine_act *act,
                             struct buf *detail, int64_t *others)
{
    const enum query q = Q_MAPPING_GET;
    struct codes_line line;
    char *end = NULL;
    int64_t id = (int64_t)strtoll(act->item, &end, 10);
    bool gone;
    enum err e;

    if (end == act->item || *end != '\0' || id < 1)
        return quarantine_refuse(act, 400,
                                 "Name the mapping by its number, as headgate "
                                 "quarantine maps prints it");
    e = db_first(db, q, "i", id);
    if (e == ERR_ABSENT)
        return quarantine_refuse(act, 404,
                                 "No mapping has the number %lld; headgate "
                                 "quarantine maps lists them",
                                 (long long)id);
    if (e != ERR_OK)
        return e;
    line = line_of(db, q, 0);
    quarantine_write_mapped(&line, detail);
    gone = !db_is_null(db, q, 6);
    *others = db_int(db, q, 8);
    db_done(db, q);
    act->mapping = id;
    return gone
               ? quarantine_refuse(act, 409, "%lld has been taken back already",
                                   (long long)id)
               : ERR_OK;
}

/* Kept first: it is read by no more from the next step on, and a start knows
 * of it. */
enum err quarantine_unmap(struct db *db, struct quarantine_act *act)
{
    struct buf detail;
    int64_t others = 0;
    enum err e;

    buf_init(&detail, DETAIL_MAX);
    e = find_mapping(db, act, &detail, &others);
    if (e == ERR_OK)
        e = quarantine_keep(db, act, act->mapping, DEED_UNMAP, detail.data);
    if (e == ERR_OK)
        e = db_run(db, Q_MAPPING_LOOKED, "ii", act->mapping, INT64(0));
    if (e == ERR_OK)
        buf_printf(&act->text, "Taken back: %s.\n", detail.data);
    if (e == ERR_OK && others > 0)
        buf_printf(&act->text,
                   "%lld other mapping%s of it still count%s: headgate "
                   "quarantine maps.\n",
                   (long long)others, others == 1 ? "" : "s",
                   others == 1 ? "s" : "");
    buf_clear(&detail);
    act->more = e == ERR_OK;
    return e;
}

/* What another row says as well is learnt again from that one. */
static enum err forget(struct db *db, struct quarantine_act *act)
{
    struct buf why;
    enum err e = codes_unlearn(act->site.codes, act->mapping);

    if (e == ERR_ABSENT) /* of two that say the same only one was learnt */
        return ERR_OK;
    buf_init(&why, WHY_MAX);
    if (e == ERR_OK)
        e = maps_learn_stored(db, act->site.codes, &why);
    buf_clear(&why);
    return e;
}

static void say_what_came(struct quarantine_act *act)
{
    const struct again_count *n = &act->count;

    buf_printf(
        &act->text,
        "Read again: %u Observation%s that may have been read by it; of "
        "%u less is used now, and their accesses are reviewed.\n"
        "Tasks that no longer have a reason are withdrawn; what has been "
        "done because of them is for a clinician to look at.\n",
        n->looked, n->looked == 1 ? "" : "s", n->lost);
    if (n->unread > 0)
        buf_printf(&act->text,
                   "%u could not be read again and are used as before, such as "
                   "%lld: look at each (headgate quarantine show), and have "
                   "its sender correct it.\n",
                   n->unread, (long long)n->example);
}

enum err quarantine_unmap_more(struct db *db, struct quarantine_act *act)
{
    enum err e;

    if (!act->swept) { /* the first: what is on its way now was read before */
        act->swept = act->more = true;
        return forget(db, act);
    }
    e = again_mapping(db, &act->site.reader, act->mapping, &act->count,
                      &act->more);
    if (e == ERR_OK && !act->more)
        say_what_came(act);
    return e;
}
