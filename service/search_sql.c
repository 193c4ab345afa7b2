#include "service/search_sql.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- putting text together ---------------------------------------------- */

void sql_close(struct search_sql *s)
{
    db_done(s->db, Q_ASKED);
    buf_clear(&s->text);
    for (size_t i = 0; i < s->name_count; i++) {
        buf_clear(s->names[i]);
        free(s->names[i]);
    }
}

void sql_put(struct search_sql *s, const char *words)
{
    buf_puts(&s->text, words);
}

static void bind(struct search_sql *s, struct db_value value)
{
    if (s->count == SQL_VALUES_MAX) {
        s->err = ERR_LIMIT;
        return;
    }
    s->values[s->count++] = value;
    buf_printf(&s->text, "?%zu", s->count);
}

void sql_number(struct search_sql *s, int64_t number)
{
    bind(s, (struct db_value){ NULL, number });
}

void sql_text(struct search_sql *s, const char *text)
{
    bind(s, (struct db_value){ text, 0 });
}

const char *sql_updated(const struct search_sql *s)
{
    return s->driver != NULL ? "d.updated_ms" : "r.updated_ms";
}

const char *sql_resource(const struct search_sql *s)
{
    return s->driver != NULL ? "d.resource" : "r.id";
}

/* ---- what is walked ----------------------------------------------------- */

/* One code of an element that has one, of one system: each resource has one
 * entry, and all of them have one term. */
static bool may_drive(const struct search_query *q,
                      const struct search_condition *c)
{
    return q->type == FHIR_TASK && c->modifier == SEARCH_PLAIN &&
           c->param->what == WHAT_CODE && c->count == 1 &&
           q->values[c->first].value != NULL;
}

static const struct search_condition *find_driver(const struct search_query *q)
{
    const struct search_condition *found = NULL;
    bool in_order =
        q->sort_count == 0 ||
        (q->sort_count == 1 && q->sorts[0].param->form == SEARCH_UPDATED);

    for (size_t i = 0; i < q->condition_count; i++) {
        const struct search_condition *c = &q->conditions[i];

        /* the few that this names are looked up, and then sorted */
        if (c->param->narrows && c->modifier == SEARCH_PLAIN)
            return NULL;
        if (found == NULL && in_order && may_drive(q, c))
            found = c;
    }
    return found;
}

void sql_open(struct search_sql *s, struct db *db, const struct search_query *q)
{
    s->db = db;
    s->query = q;
    s->driver = find_driver(q);
    s->count = s->name_count = 0;
    s->err = ERR_OK;
    buf_init(&s->text, SQL_TEXT_MAX);
}

/* ---- times -------------------------------------------------------------- */

/* How wide "about" is: a tenth of the way from now (search.html, 3.1.1.4.6). */
static int64_t width_ms(const struct search_sql *s,
                        const struct search_value *v)
{
    int64_t away = s->query->now_ms - v->from_ms;

    return (away < 0 ? -away : away) / 10;
}

static void compare(struct search_sql *s, const char *what, const char *how,
                    int64_t ms)
{
    sql_put(s, what);
    sql_put(s, how);
    sql_number(s, ms);
}

/* Both hold, or with an OR either. */
static void compare_two(struct search_sql *s, const char *from,
                        const char *from_how, int64_t from_ms,
                        const char *joined, const char *to, const char *to_how,
                        int64_t to_ms)
{
    sql_put(s, "(");
    compare(s, from, from_how, from_ms);
    sql_put(s, joined);
    compare(s, to, to_how, to_ms);
    sql_put(s, ")");
}

/* A moment, to the millisecond. */
static void put_moment(struct search_sql *s, const char *at,
                       const struct search_value *v)
{
    int64_t width = width_ms(s, v);

    switch (v->prefix) {
    case SEARCH_EQ:
        compare_two(s, at, " >= ", v->from_ms, " AND ", at, " < ", v->to_ms);
        break;
    case SEARCH_NE:
        compare_two(s, at, " < ", v->from_ms, " OR ", at, " >= ", v->to_ms);
        break;
    case SEARCH_AP:
        compare_two(s, at, " >= ", v->from_ms - width, " AND ", at, " < ",
                    v->to_ms + width);
        break;
    case SEARCH_GT:
    case SEARCH_SA:
        compare(s, at, " >= ", v->to_ms);
        break;
    case SEARCH_LT:
    case SEARCH_EB:
        compare(s, at, " < ", v->from_ms);
        break;
    case SEARCH_GE:
        compare(s, at, " >= ", v->from_ms);
        break;
    case SEARCH_LE:
        compare(s, at, " < ", v->to_ms);
        break;
    }
}

#define FROM "s.from_ms"
#define TO   "s.to_ms"

/* The span of the resource, [from, to), against that of the value. */
static void put_span(struct search_sql *s, const struct search_value *v)
{
    int64_t width = width_ms(s, v);

    switch (v->prefix) {
    case SEARCH_GE:
        sql_put(s, "(");
        compare(s, TO, " > ", v->to_ms);
        sql_put(s, " OR ");
        compare_two(s, FROM, " >= ", v->from_ms, " AND ", TO, " <= ", v->to_ms);
        sql_put(s, ")");
        break;
    case SEARCH_LE:
        sql_put(s, "(");
        compare(s, FROM, " < ", v->from_ms);
        sql_put(s, " OR ");
        compare_two(s, FROM, " >= ", v->from_ms, " AND ", TO, " <= ", v->to_ms);
        sql_put(s, ")");
        break;
    case SEARCH_EQ:
        compare_two(s, FROM, " >= ", v->from_ms, " AND ", TO, " <= ", v->to_ms);
        break;
    case SEARCH_NE:
        compare_two(s, FROM, " < ", v->from_ms, " OR ", TO, " > ", v->to_ms);
        break;
    case SEARCH_AP:
        compare_two(s, FROM, " < ", v->to_ms + width, " AND ", TO, " > ",
                    v->from_ms - width);
        break;
    case SEARCH_GT:
        compare(s, TO, " > ", v->to_ms);
        break;
    case SEARCH_LT:
        compare(s, FROM, " < ", v->from_ms);
        break;
    case SEARCH_SA:
        compare(s, FROM, " >= ", v->to_ms);
        break;
    case SEARCH_EB:
        compare(s, TO, " <= ", v->from_ms);
        break;
    }
}

/* ---- conditions --------------------------------------------------------- */

void sql_token(struct search_sql *s, int number, const char *system,
               const char *value)
{
    sql_put(s, "(s.name = ");
    sql_number(s, number);
    /* a value is few terms, which are looked up once; a system may be many */
    sql_put(s, value != NULL
                   ? " AND s.term IN (SELECT t.id FROM term t WHERE t.value = "
                   : " AND EXISTS (SELECT 1 FROM term t WHERE t.id = s.term");
    if (value != NULL)
        sql_text(s, value);
    if (system != NULL) {
        sql_put(s, " AND t.system = ");
        sql_text(s, system);
    }
    sql_put(s, "))");
}

static void put_token(struct search_sql *s, const struct search_condition *c,
                      const struct search_value *v)
{
    sql_token(s,
              c->param->number + (c->modifier == SEARCH_BY_IDENTIFIER
                                      ? SEARCH_OF_IDENTIFIER
                                      : 0),
              v->system, v->value);
}

static void put_value(struct search_sql *s, const struct search_condition *c,
                      const struct search_value *v)
{
    if (c->param->form == SEARCH_UPDATED)
        put_moment(s, sql_updated(s), v);
    else if (c->param->form == SEARCH_DATE)
        put_span(s, v);
    else if (c->param->of_patient && c->modifier != SEARCH_BY_IDENTIFIER)
        sql_person(s, c, v);
    else
        put_token(s, c, v);
}

static void put_values(struct search_sql *s, const struct search_condition *c)
{
    sql_put(s, "(");
    for (size_t i = 0; i < c->count; i++) {
        sql_put(s, i > 0 ? " OR " : "");
        put_value(s, c, &s->query->values[c->first + i]);
    }
    sql_put(s, ")");
}

static void put_ids(struct search_sql *s, const struct search_condition *c)
{
    sql_put(s, "r.fid IN (");
    for (size_t i = 0; i < c->count; i++) {
        sql_put(s, i > 0 ? ", " : "");
        sql_text(s, s->query->values[c->first + i].value);
    }
    sql_put(s, ")");
}

static const char *table_of(const struct search_condition *c)
{
    return c->param->form == SEARCH_DATE ? "search_span" : "search_term";
}

/* Is there anything at all?  A reference may have an identifier alone. */
static void put_missing(struct search_sql *s, const struct search_condition *c)
{
    buf_printf(&s->text,
               "%s EXISTS (SELECT 1 FROM %s s WHERE s.resource = %s AND "
               "s.name IN (%d, %d))",
               c->missing ? "NOT" : "", table_of(c), sql_resource(s),
               c->param->number, c->param->number + SEARCH_OF_IDENTIFIER);
}

/* Some of the values name a system alone: many resources may have one. */
static bool names_systems(const struct search_sql *s,
                          const struct search_condition *c)
{
    for (size_t i = 0; i < c->count; i++) {
        if (c->param->form != SEARCH_DATE &&
            s->query->values[c->first + i].value == NULL)
            return true;
    }
    return false;
}

static bool is_looked_up(const struct search_sql *s,
                         const struct search_condition *c)
{
    return c->param->narrows && c->modifier != SEARCH_NOT &&
           c->modifier != SEARCH_MISSING && !names_systems(s, c);
}

/* A resource is looked up in the index, or the index for each resource. */
static void put_indexed(struct search_sql *s, const struct search_condition *c)
{
    const char *table = table_of(c);

    if (is_looked_up(s, c)) {
        buf_printf(&s->text, "r.id IN (SELECT s.resource FROM %s s WHERE ",
                   table);
    } else {
        buf_printf(&s->text,
                   "%s EXISTS (SELECT 1 FROM %s s WHERE s.resource = %s AND ",
                   c->modifier == SEARCH_NOT ? "NOT" : "", table,
                   sql_resource(s));
        if (c->param->form == SEARCH_DATE)
            buf_printf(&s->text, "s.name = %d AND ", c->param->number);
    }
    put_values(s, c);
    sql_put(s, ")");
}

static void put_condition(struct search_sql *s,
                          const struct search_condition *c)
{
    sql_put(s, " AND ");
    if (c->modifier == SEARCH_MISSING)
        put_missing(s, c);
    else if (c->param->form == SEARCH_ID)
        put_ids(s, c);
    else if (c->param->form == SEARCH_UPDATED)
        put_values(s, c);
    else
        put_indexed(s, c);
}

/* Does the answer go by when the resources were changed? */
static bool goes_by_change(const struct search_query *q)
{
    bool goes = q->sort_count > 0;

    for (size_t i = 0; i < q->condition_count; i++)
        goes = goes || q->conditions[i].param->form == SEARCH_UPDATED;
    return goes;
}

/* The entries of one code, and the resources they are of.  There is an index
 * of them by number, and one by the time of change, which leaves out entries
 * without that time; to use it this must be said. */
static void put_driver(struct search_sql *s)
{
    const struct search_value *v = &s->query->values[s->driver->first];

    const char *system = s->driver->param->system;

    sql_put(s, " FROM search_term d CROSS JOIN resource r WHERE r.id = "
               "d.resource AND d.name = ");
    sql_number(s, s->driver->param->number);
    sql_put(s, " AND d.term = (SELECT t.id FROM term t WHERE t.value = ");
    sql_text(s, v->value);
    sql_put(s, " AND t.system = ");
    sql_text(s, system);
    sql_put(s, ")");
    if (v->system != NULL && strcmp(v->system, system) != 0)
        sql_put(s, " AND 1 = 0");
    if (goes_by_change(s->query))
        sql_put(s, " AND d.updated_ms IS NOT NULL");
}

/* Is a condition there that few resources meet?  Then these are looked up; a
 * sum in front of the type keeps the engine from going through all of it. */
static bool looks_up(const struct search_sql *s)
{
    for (size_t i = 0; i < s->query->condition_count; i++) {
        const struct search_condition *c = &s->query->conditions[i];

        if (is_looked_up(s, c) && c->param->form != SEARCH_ID)
            return true;
    }
    return false;
}

void sql_conditions(struct search_sql *s)
{
    const struct search_query *q = s->query;

    if (s->driver != NULL)
        put_driver(s);
    else
        buf_printf(&s->text, " FROM resource r WHERE %sr.kind = %d",
                   looks_up(s) ? "+" : "", (int)q->type);
    if (q->type == FHIR_TASK)
        buf_printf(&s->text,
                   " AND NOT EXISTS (SELECT 1 FROM task t WHERE t.resource = "
                   "%s AND t.silent = 1)",
                   sql_resource(s));
    for (size_t i = 0; i < q->condition_count; i++) {
        if (&q->conditions[i] != s->driver)
            put_condition(s, &q->conditions[i]);
    }
}
