#include "service/db_shape.h"

#include "service/db_schema.h"
#include "service/db_work.h"

#include <stdio.h>
#include <string.h>

/* What the engine itself makes (sqlite_...) is no part of the shape. */
static const char shape_sql[] =
    "SELECT m.type, m.name, CASE m.type WHEN 'table' THEN (SELECT"
    " group_concat(w, ',') FROM (SELECT p.name || ' ' || p.type || ' ' ||"
    " p.\"notnull\" || ' ' || p.pk AS w FROM pragma_table_info(m.name) p"
    " ORDER BY p.name)) ELSE m.sql END FROM sqlite_master m"
    " WHERE substr(m.name, 1, 7) <> 'sqlite_' ORDER BY m.type, m.name";

static const char again_sql[] =
    "SELECT 'DROP ' || type || ' IF EXISTS ' || name || ';' || sql"
    " FROM sqlite_master WHERE type = ?1 AND name = ?2";

static enum err open_model(struct db **model)
{
    return db_open_uri("file::memory:", true, schema_create, model);
}

/* ---- comparing ------------------------------------------------------------ */

/* A row of shape_sql, borrowed until the next one. */
struct part {
    bool there;
    const char *type, *name, *text;
};

static const char *text_of(struct db *db, int column)
{
    const char *text = db_text(db, Q_ASKED, column);

    return text != NULL ? text : "";
}

static enum err next(struct db *db, struct part *part)
{
    enum err e = db_next(db, Q_ASKED);

    part->there = e == ERR_OK;
    if (part->there) {
        part->type = text_of(db, 0);
        part->name = text_of(db, 1);
        part->text = text_of(db, 2);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

/* Which of the two comes first; what is not there comes last. */
static int order(const struct part *a, const struct part *b)
{
    int by_type;

    if (!a->there || !b->there)
        return a->there ? -1 : 1;
    by_type = strcmp(a->type, b->type);
    return by_type != 0 ? by_type : strcmp(a->name, b->name);
}

static void copy(const char *from, char to[DB_NAME_SIZE])
{
    snprintf(to, DB_NAME_SIZE, "%s", from);
    for (char *at = to; *at != '\0'; at++) {
        if ((unsigned char)*at < ' ' || *at == 0x7f)
            *at = '?';
    }
}

static void add(struct db_shape *shape, enum db_difference_kind kind,
                const struct part *part)
{
    struct db_difference *d;

    if (shape->count < DB_DIFFERENCES_MAX) {
        d = &shape->list[shape->count];
        d->kind = kind;
        d->mended = false;
        copy(part->type, d->type);
        copy(part->name, d->name);
    }
    shape->count++;
}

static enum err walk(struct db *db, struct db *model, struct db_shape *shape)
{
    struct part is = { .there = false }, wanted = { .there = false };
    enum err e = next(db, &is);

    if (e == ERR_OK)
        e = next(model, &wanted);
    while (e == ERR_OK && (is.there || wanted.there)) {
        int way = order(&is, &wanted);

        if (way < 0)
            add(shape, DB_FOREIGN, &is);
        else if (way > 0)
            add(shape, DB_MISSING, &wanted);
        else if (strcmp(is.text, wanted.text) != 0)
            add(shape, DB_CHANGED, &wanted);
        if (way <= 0)
            e = next(db, &is);
        if (e == ERR_OK && way >= 0)
            e = next(model, &wanted);
    }
    return e;
}

enum err db_shape_compare(struct db *db, struct db_shape *shape)
{
    struct db *model = NULL;
    enum err e = open_model(&model);

    shape->count = 0;
    if (e != ERR_OK)
        return e;
    e = db_ask(db, shape_sql, NULL, 0);
    if (e == ERR_OK)
        e = db_ask(model, shape_sql, NULL, 0);
    if (e == ERR_OK)
        e = walk(db, model, shape);
    db_done(db, Q_ASKED);
    db_close(model);
    return e;
}

size_t db_shape_listed(const struct db_shape *shape)
{
    return shape->count < DB_DIFFERENCES_MAX ? shape->count
                                             : DB_DIFFERENCES_MAX;
}

/* ---- mending -------------------------------------------------------------- */

/* Triggers and views hold nothing that could be lost. */
static bool can_be_made(const struct db_difference *d)
{
    return ((strcmp(d->type, "trigger") == 0 || strcmp(d->type, "view") == 0) &&
            d->kind != DB_FOREIGN) ||
           (strcmp(d->type, "index") == 0 && d->kind == DB_MISSING);
}

/* That it does not fit what is there is no fault of the store. */
static enum err make_again(struct db *db, struct db *model,
                           struct db_difference *d)
{
    const struct db_value of[] = { { .text = d->type }, { .text = d->name } };
    enum err e = db_ask(model, again_sql, of, COUNT(of));

    if (e == ERR_OK)
        e = db_next(model, Q_ASKED);
    if (e == ERR_OK)
        e = db_exec(db, text_of(model, 0));
    db_done(model, Q_ASKED);
    d->mended = e == ERR_OK;
    return e == ERR_STORE ? ERR_OK : e;
}

enum err db_shape_mend(struct db *db, struct db_shape *shape)
{
    struct db *model = NULL;
    enum err e = open_model(&model);

    for (size_t i = 0; e == ERR_OK && i < db_shape_listed(shape); i++) {
        if (can_be_made(&shape->list[i]))
            e = make_again(db, model, &shape->list[i]);
    }
    db_close(model);
    return e;
}
