/* Which Task is meant, by its id or by the name of its access. */
#include "service/deeds.h"

#include "adapters/catalogue.h"
#include "adapters/queue_text.h"
#include "planner/triage.h"
#include "service/names.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

enum { LISTED_MAX = 20 };

enum err deed_refuse(int *status, struct buf *text, int code,
                     const char *format, ...)
{
    char line[4096];
    va_list args;

    va_start(args, format);
    vsnprintf(line, sizeof(line), format, args);
    va_end(args);
    *status = code;
    buf_printf(text, "%s\n", line);
    return ERR_CONFLICT;
}

/* ---- by the name of its access -------------------------------------------- */

static enum err find_access(struct db *db, struct task_deed *d, int64_t *access)
{
    const enum query q = Q_ACCESS_WITH_NAME;
    size_t count = 0;
    enum err e = db_query(db, q, "s", d->task);

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (count++ == 0)
            *access = db_int(db, q, 0);
    }
    if (e != ERR_ABSENT)
        return e;
    if (count == 0)
        return deed_refuse(&d->status, &d->text, 404,
                           _("No Task that was put to people has this id, and "
                             "no access has this name: %s"),
                           d->task);
    if (count > 1)
        return deed_refuse(&d->status, &d->text, 409,
                           _("More than one access has the name %s; name the "
                             "Task by its id, as headgate queue --json shows "
                             "it."),
                           d->task);
    return ERR_OK;
}

/* What is open there; the first of it is `fid`.  *just_one: no other can be
 * meant. */
static enum err list_open(struct db *db, int64_t access, char fid[FID_SIZE],
                          bool *just_one, size_t *count, struct buf *lines)
{
    const enum query q = Q_TASKS_OF_ACCESS;
    size_t suggestions = 0;
    enum err e = db_query(db, q, "ii", access, INT64(LISTED_MAX));

    *count = 0;
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        const char *headline = db_text(db, q, 1);

        if ((*count)++ == 0)
            snprintf(fid, FID_SIZE, "%s", db_text(db, q, 0));
        suggestions += db_int(db, q, 2) == 0;
        buf_printf(lines, "\n  %s  %s", db_text(db, q, 0),
                   headline != NULL ? headline : "");
    }
    *just_one = suggestions == 1 || (suggestions == 0 && *count == 1);
    return e == ERR_ABSENT ? buf_ok(lines) : e;
}

static enum err find_by_access(struct db *db, struct task_deed *d)
{
    int64_t access = 0;
    struct buf lines;
    size_t count = 0;
    bool just_one = false;
    enum err e = find_access(db, d, &access);

    if (e != ERR_OK)
        return e;
    buf_init(&lines, (size_t)64 * 1024);
    e = list_open(db, access, d->fid, &just_one, &count, &lines);
    if (e == ERR_OK && count == 0)
        e = deed_refuse(&d->status, &d->text, 409,
                        _("Nothing is open for this access."));
    else if (e == ERR_OK && !just_one)
        e = deed_refuse(&d->status, &d->text, 409,
                        _("More than one is open for this access; name one by "
                          "its id:%s"),
                        lines.data);
    buf_clear(&lines);
    return e;
}

/* ---- by its id -------------------------------------------------------------- */

static enum err find_by_id(struct db *db, struct task_deed *d,
                           struct deed_task *t)
{
    struct resource r;
    const char *id = d->task;
    enum err e;

    if (strncmp(id, "Task/", 5) == 0)
        id += 5;
    e = resource_shown(db, FHIR_TASK, id, &t->row);
    if (e == ERR_OK)
        snprintf(d->fid, sizeof(d->fid), "%s", t->row.fid);
    if (e != ERR_ABSENT)
        return e;
    e = resource_by_fid(db, FHIR_TASK, id, &r);
    if (e == ERR_OK)
        return deed_refuse(&d->status, &d->text, 409,
                           _("This was found in silent mode and never put to "
                             "people: there is nothing to act on.  Once silent "
                             "mode ends, what still holds is suggested anew."));
    if (e == ERR_ABSENT)
        e = find_by_access(db, d);
    return e == ERR_OK ? resource_shown(db, FHIR_TASK, d->fid, &t->row) : e;
}

/* ---- what is said of it ------------------------------------------------------ */

static enum err load_task(struct db *db, struct deed_task *t)
{
    const enum query q = Q_EPISODE_OF_TASK;
    bool is_stat;
    enum err e = db_first(db, Q_TASK_GET, "i", t->row.id);

    if (e != ERR_OK)
        return e;
    t->access = db_int(db, Q_TASK_GET, 1);
    snprintf(t->status, sizeof(t->status), "%s", db_text(db, Q_TASK_GET, 2));
    is_stat = strcmp(db_text(db, Q_TASK_GET, 3), "stat") == 0;
    db_done(db, Q_TASK_GET);
    e = db_first(db, q, "i", t->row.id);
    t->reminder = e == ERR_ABSENT;
    if (e == ERR_OK) {
        t->urgency = (enum urgency)db_int(db, q, 1);
        t->handed = db_int(db, q, 3) != 0;
    }
    t->at_once = is_stat || t->urgency == URGENCY_IMMEDIATE;
    db_done(db, q);
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Never half a character. */
static void copy_whole(char *to, size_t size, const char *text, size_t len)
{
    if (len >= size) {
        len = size - 1;
        while (len > 0 && ((unsigned char)text[len] & 0xc0) == 0x80)
            len--;
    }
    memcpy(to, text, len);
    to[len] = '\0';
}

static void add_words(struct buf *b, const char *before, const char *text,
                      const char *unknown)
{
    size_t len;

    buf_puts(b, before);
    len = b->len;
    queue_text_clean(b, text != NULL ? text : "");
    if (b->len == len)
        buf_puts(b, unknown);
}

enum err deed_about(struct db *db, int64_t access, char about[DEED_ABOUT_SIZE])
{
    const enum query q = Q_ACCESS_ABOUT;
    struct buf b;
    enum err e = db_first(db, q, "i", access);

    if (e != ERR_OK)
        return e;
    buf_init(&b, (size_t)5 * 4 * QUEUE_TEXT_MAX);
    add_words(&b, "", db_text(db, q, 2), _("Name not known"));
    add_words(&b, " (", short_anchor(db_text(db, q, 3)), _("number not known"));
    add_words(&b, "); ", access_words(db_text(db, q, 0), db_text(db, q, 1)),
              _("access not named"));
    add_words(&b, "; ", db_text(db, q, 4), _("unit not known"));
    db_done(db, q);
    e = buf_ok(&b);
    if (e == ERR_OK)
        copy_whole(about, DEED_ABOUT_SIZE, b.data, b.len);
    buf_clear(&b);
    return e;
}

enum err deed_find_task(struct db *db, struct task_deed *d, struct deed_task *t)
{
    struct buf body;
    int64_t updated_ms;
    enum err e;

    *t = (struct deed_task){ .owner = "" };
    d->about[0] = '\0';
    e = find_by_id(db, d, t);
    if (e == ERR_OK)
        e = load_task(db, t);
    if (e != ERR_OK)
        return e;
    buf_init(&body, TASK_MAX);
    e = resource_body(db, &t->row, 0, &body, &updated_ms);
    if (e == ERR_OK)
        fhir_task_owner(body.data, body.len, t->owner);
    buf_clear(&body);
    return e == ERR_OK ? deed_about(db, t->access, d->about) : e;
}
