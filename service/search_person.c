/*
 * Who is meant: a person is known by references and numbers, and a search by
 * one of them finds what was sent under the others.
 */
#include "service/search_sql.h"

#include "service/patients.h"

#include <stdlib.h>
#include <string.h>

/* The number of Patient.identifier in the index. */
static int64_t number_of_identifiers(void)
{
    const struct search_param *p =
        search_param_named(FHIR_PATIENT, "identifier", strlen("identifier"));

    return p != NULL ? p->number : 0;
}

static const char *keep_name(struct search_sql *s, const char *text)
{
    struct buf *b;

    if (s->name_count == SEARCH_VALUES_MAX) {
        s->err = ERR_LIMIT;
        return "";
    }
    b = calloc(1, sizeof(*b));
    if (b == NULL) {
        s->err = ERR_MEMORY;
        return "";
    }
    buf_init(b, ALIAS_SIZE);
    buf_puts(b, text);
    if (buf_ok(b) != ERR_OK)
        s->err = buf_ok(b);
    s->names[s->name_count++] = b;
    return b->data;
}

static void put_token(struct search_sql *s, const struct search_condition *c,
                      const char *system, const char *value)
{
    sql_put(s, s->person_count++ > 0 ? " OR " : "");
    sql_token(s, c->param->number + (system != NULL ? SEARCH_OF_IDENTIFIER : 0),
              system, value);
}

/* "r:Patient/p1" or "i:system|value" */
static void put_alias(struct search_sql *s, const struct search_condition *c,
                      const char *alias)
{
    const char *kept = keep_name(s, alias);
    char *bar;

    if (s->err != ERR_OK)
        return;
    if (kept[0] == 'r') {
        put_token(s, c, NULL, kept + 2);
        return;
    }
    /* ours to cut: the buffer is kept for this */
    bar = strchr(s->names[s->name_count - 1]->data, '|');
    if (bar == NULL)
        return;
    *bar = '\0';
    put_token(s, c, kept + 2, bar + 1);
}

static void put_names(struct search_sql *s, const struct search_condition *c,
                      enum query q, enum err e)
{
    while (e == ERR_OK && (e = db_next(s->db, q)) == ERR_OK)
        put_alias(s, c, db_text(s->db, q, 0));
    db_done(s->db, q);
    if (e != ERR_OK && e != ERR_ABSENT)
        s->err = e;
}

void sql_person(struct search_sql *s, const struct search_condition *c,
                const struct search_value *v)
{
    char alias[ALIAS_SIZE];
    bool by_number = c->modifier == SEARCH_BY_NUMBER || v->system != NULL;
    bool known = by_number ? alias_of_identifier(v->system, v->value, alias)
                           : alias_of_literal(v->value, alias);

    s->person_count = 0;
    sql_put(s, "(");
    if (!by_number)
        put_token(s, c, NULL, v->value);
    if (by_number && v->system == NULL)
        put_names(s, c, Q_SOUGHT_ALIASES_OF_NUMBER,
                  db_query(s->db, Q_SOUGHT_ALIASES_OF_NUMBER, "isi",
                           number_of_identifiers(), v->value,
                           INT64(SQL_ALIASES_MAX)));
    else if (known)
        put_names(s, c, Q_SOUGHT_ALIASES,
                  db_query(s->db, Q_SOUGHT_ALIASES, "si", alias,
                           INT64(SQL_ALIASES_MAX)));
    /* beside a name this would keep the index of names from being used */
    sql_put(s, s->person_count == 0 ? "1 = 0)" : ")");
}
