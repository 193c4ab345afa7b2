#include "service/store_faults.h"

#include "adapters/catalogue.h"
#include "service/audit.h"
#include "service/audit_words.h"
#include "service/db_shape.h"

enum { WORDS_MAX = 1024 };

static void say(const struct db_difference *d, struct buf *out)
{
    switch (d->kind) {
    case DB_MISSING:
        buf_printf(
            out,
            /* TRANSLATORS: a word of SQL (trigger, index, table), its name */
            _("%s %s, which every store of this version has, is missing\n"),
            d->type, d->name);
        break;
    case DB_CHANGED:
        buf_printf(
            out,
            /* TRANSLATORS: a word of SQL (trigger, index, table), its name */
            _("%s %s is another one than headgate makes\n"), d->type, d->name);
        break;
    case DB_FOREIGN:
        buf_printf(
            out,
            /* TRANSLATORS: a word of SQL (trigger, index, table), its name */
            _("%s %s was not made by headgate\n"), d->type, d->name);
        break;
    }
}

/* What a person does about it. */
static void say_remedies(const struct db_shape *shape, struct buf *out)
{
    bool has[DB_FOREIGN + 1] = { false };

    for (size_t i = 0; i < db_shape_listed(shape); i++)
        has[shape->list[i].kind] = true;
    if (has[DB_MISSING] || has[DB_CHANGED])
        buf_puts(out,
                 _("to do: the next start of the service makes triggers, and "
                   "indices that are missing, again; if a table is another "
                   "one, restore a backup\n"));
    if (has[DB_FOREIGN])
        buf_puts(out,
                 _("to do: what was not made by headgate stays until a person "
                   "removes it, and may change or swallow what is written. "
                   "Keep a copy of the file, find out who made it, stop the "
                   "service and drop it (sqlite3 FILE \"DROP TRIGGER "
                   "NAME\"); then run headgate audit verify\n"));
}

enum err store_faults_shape(struct db *db, struct buf *out)
{
    struct db_shape shape;
    enum err e = db_shape_compare(db, &shape);

    if (e != ERR_OK)
        return e;
    for (size_t i = 0; i < db_shape_listed(&shape); i++)
        say(&shape.list[i], out);
    if (shape.count > DB_DIFFERENCES_MAX)
        buf_printf(out, _("... and more: %zu differences in all\n"),
                   shape.count);
    say_remedies(&shape, out);
    return ERR_OK;
}

enum err store_faults_chain(struct db *db, struct buf *out)
{
    struct audit_walk walk = { .more = true };
    struct buf words;
    enum err e = ERR_OK;

    while (e == ERR_OK && walk.more)
        e = audit_walk_step(db, &walk);
    if (e != ERR_OK || walk.broken == 0)
        return e;
    buf_init(&words, WORDS_MAX);
    audit_say_broken(walk.broken, walk.why, &words);
    /* TRANSLATORS: a sentence that says what is wrong with it */
    buf_printf(out, _("audit trail: %s\n"),
               words.data != NULL ? words.data : "");
    e = buf_ok(&words);
    buf_clear(&words);
    return e;
}
