/* What is not of one patient, but names the one who is removed. */
#include "service/pack.h"
#include "service/patient_erase.h"
#include "service/resources.h"

#include <stdlib.h>
#include <string.h>

/* ---- lists of the units -------------------------------------------------------------- */

/* A version of a list that names the patient: all of them but the newest, which
 * the caller has made after the rows were gone. */
struct old_version {
    int64_t resource, version;
};
enum { OLD_VERSIONS_MAX = 4096 };

static enum err look_at_list(const struct seeking *s, struct found *found)
{
    const enum query q = Q_SIFT_LISTS;
    size_t len;
    const void *packed = db_blob(s->db, q, 3, &len);
    struct buf body;
    enum err e;

    buf_init(&body, BODY_MAX);
    e = unpack(packed, len, (size_t)db_int(s->db, q, 2), &body);
    if (e == ERR_OK)
        e = patient_sought(s, NULL, body.data, body.len, found);
    buf_clear(&body);
    return e;
}

/* Perhaps is enough: an old list is no reading, and is made of what is there. */
static enum err find_lists(const struct seeking *s, struct old_version *old,
                           size_t *count)
{
    const enum query q = Q_SIFT_LISTS;
    enum err e = db_query(s->db, q, "");

    *count = 0;
    while (e == ERR_OK && (e = db_next(s->db, q)) == ERR_OK) {
        struct found found;

        e = look_at_list(s, &found);
        if (e != ERR_OK || found.how == SOUGHT_NOT)
            continue;
        if (*count == OLD_VERSIONS_MAX)
            e = ERR_LIMIT;
        else
            old[(*count)++] = (struct old_version){ db_int(s->db, q, 0),
                                                    db_int(s->db, q, 1) };
    }
    db_done(s->db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* What was said of lines of a file that is being taken. */
static enum err erase_lines(const struct seeking *s)
{
    const enum query q = Q_SIFT_LINES;
    int64_t at[3] = { 0, 0, INT64_MIN };
    enum err e = ERR_OK;

    while (e == ERR_OK &&
           (e = db_first(s->db, q, "iii", at[0], at[1], at[2])) == ERR_OK) {
        const char *text = db_text(s->db, q, 3);
        struct found found = { .how = SOUGHT_NOT };

        for (int i = 0; i < 3; i++)
            at[i] = db_int(s->db, q, i);
        if (text != NULL)
            e = patient_sought(s, NULL, text, strlen(text), &found);
        db_done(s->db, q);
        if (e == ERR_OK && found.how == SOUGHT_SURE)
            e = db_run(s->db, Q_ERASE_LINE, "iii", at[0], at[1], at[2]);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Some at a time. */
enum err patient_erase_lists(const struct seeking *s)
{
    struct old_version *old = calloc(OLD_VERSIONS_MAX, sizeof(*old));
    size_t count = OLD_VERSIONS_MAX;
    bool full = true;
    enum err e = old != NULL ? erase_lines(s) : ERR_MEMORY;

    while (e == ERR_OK && full) {
        e = find_lists(s, old, &count);
        full = e == ERR_LIMIT;
        if (full)
            e = ERR_OK;
        for (size_t i = 0; e == ERR_OK && i < count; i++)
            e = db_run(s->db, Q_ERASE_VERSION, "ii", old[i].resource,
                       old[i].version);
    }
    free(old);
    return e;
}
