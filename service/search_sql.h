/*
 * search_sql - the SQL of a search; private to search.c and what it is made
 * of
 *
 *     SELECT ... FROM (resource r, or search_term d with it) WHERE conditions
 *
 * Where one code alone is asked for (status=requested), the search walks its
 * entries in the index, d, in the order of the answer: a page then costs its
 * own length, however many Tasks there are.
 */
#ifndef HEADGATE_SERVICE_SEARCH_SQL_H
#define HEADGATE_SERVICE_SEARCH_SQL_H

#include "adapters/buf.h"
#include "service/db.h"
#include "service/search_query.h"

enum {
    SQL_VALUES_MAX = 4 * SEARCH_VALUES_MAX,
    SQL_TEXT_MAX = 512 * 1024,
    SQL_ALIASES_MAX = 64 /* names of one person */
};

struct search_sql {
    struct db *db;
    const struct search_query *query;
    const struct search_condition *driver; /* walked; NULL: none */
    struct buf text;
    struct db_value values[SQL_VALUES_MAX];
    size_t count;
    struct buf *names[SEARCH_VALUES_MAX]; /* of people; see sql_person() */
    size_t name_count;
    size_t person_count; /* names of the one that is being written */
    enum err err;
};

void sql_open(struct search_sql *s, struct db *db,
              const struct search_query *q);
void sql_close(struct search_sql *s);

/* Words of ours; and a "?" with what is bound to it. */
void sql_put(struct search_sql *s, const char *words);
void sql_number(struct search_sql *s, int64_t number);
void sql_text(struct search_sql *s, const char *text);

/* " FROM ... WHERE ...", without the page. */
void sql_conditions(struct search_sql *s);

/* The condition that s, an entry of the index, has this number of a parameter
 * and this term; NULL: any system, or any value. */
void sql_token(struct search_sql *s, int number, const char *system,
               const char *value);

/* The expression of when a resource was changed, and of its number. */
const char *sql_updated(const struct search_sql *s);
const char *sql_resource(const struct search_sql *s);

/*
 * The terms of a person: sql_token() with an OR between, for every name by
 * which the one that v means is known.
 */
void sql_person(struct search_sql *s, const struct search_condition *c,
                const struct search_value *v);

#endif
