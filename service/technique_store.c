#include "service/technique_store.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* The numbers stand in stores: new ones come last. */
enum switched { ACT_DROPPED = 0, ACT_USED = 1 };

enum { NUMBERS = 13, NUMBERS_TEXT_SIZE = NUMBERS * 32 };

/* ---- a prior as text ---------------------------------------------------------- */

static void place_numbers(struct prior *p, double *places[NUMBERS])
{
    struct prior_normal *normals[] = { &p->offset_mm, &p->contraction,
                                       &p->stretch_mm };
    size_t n = 0;

    for (size_t i = 0; i < COUNT(normals); i++) {
        places[n++] = &normals[i]->mean;
        places[n++] = &normals[i]->sd;
        places[n++] = &normals[i]->least;
        places[n++] = &normals[i]->most;
    }
    places[n] = &p->knot_sd_mm;
}

/* With all their digits: what is read back is what was written. */
static void write_prior(const struct prior *prior, char text[NUMBERS_TEXT_SIZE])
{
    struct prior p = *prior;
    double *places[NUMBERS];
    size_t used = 0;

    place_numbers(&p, places);
    for (size_t i = 0; i < NUMBERS; i++)
        used += (size_t)snprintf(text + used, NUMBERS_TEXT_SIZE - used,
                                 "%s%.17g", i > 0 ? " " : "", *places[i]);
}

static enum err read_prior(const char *text, struct prior *out)
{
    struct prior p = { .name = "site" };
    double *places[NUMBERS];

    place_numbers(&p, places);
    for (size_t i = 0; i < NUMBERS; i++) {
        char *end = NULL;

        *places[i] = strtod(text != NULL ? text : "", &end);
        if (end == text || text == NULL)
            return ERR_STORE;
        text = end;
    }
    if (*text != '\0' || prior_check(&p) != ERR_OK)
        return ERR_STORE;
    *out = p;
    return ERR_OK;
}

/* ---- what is in use ----------------------------------------------------------- */

static void copy(char *to, size_t size, const char *from)
{
    snprintf(to, size, "%s", from != NULL ? from : "");
}

enum err technique_switch_get(struct db *db, struct technique_switch *out)
{
    const enum query q = Q_TECHNIQUE_LAST;
    enum err e = db_first(db, q, "");
    struct technique_switch s;

    memset(&s, 0, sizeof(s));
    if (e != ERR_OK && e != ERR_ABSENT)
        return e;
    if (e == ERR_OK) {
        s.at_ms = db_int(db, q, 0);
        s.on = db_int(db, q, 1) == ACT_USED;
        copy(s.who, sizeof(s.who), db_text(db, q, 2));
        copy(s.model, sizeof(s.model), db_text(db, q, 3));
        s.cases = db_int(db, q, 4);
        s.ties = db_int(db, q, 5);
        s.stretches = db_int(db, q, 6);
        if (s.on)
            e = read_prior(db_text(db, q, 7), &s.prior);
        db_done(db, q);
        if (e != ERR_OK)
            return e;
    }
    *out = s;
    return ERR_OK;
}

enum err technique_prior(struct db *db, struct prior *out, bool *on)
{
    struct technique_switch s;
    enum err e = technique_switch_get(db, &s);

    if (e != ERR_OK)
        return e;
    *on = s.on;
    if (s.on)
        *out = s.prior;
    return ERR_OK;
}

const struct prior technique_site = { .name = "site" };

enum err technique_plan_prior(struct db *db, const struct prior *asked,
                              bool graft, struct prior *site,
                              const struct prior **out)
{
    bool on = false;
    enum err e = ERR_OK;

    if (asked == NULL || asked == &technique_site)
        e = technique_prior(db, site, &on);
    if (e != ERR_OK)
        return e;
    if (asked == &technique_site && !on)
        return ERR_ABSENT;
    if (on && (asked != NULL || !graft))
        *out = site;
    else
        *out = asked != NULL ? asked : &prior_default;
    return ERR_OK;
}

/* ---- switching ----------------------------------------------------------------- */

/* One row, and the plans that follow it. */
static enum err add_row(struct db *db, int64_t now_ms, enum switched act,
                        const char *who, const struct technique *t,
                        const char *prior, const char *evidence)
{
    int64_t id = 0;
    enum err e = db_new_id(db, &id);

    if (e == ERR_OK)
        e = db_run(db, Q_TECHNIQUE_ADD, "iiissiiiss", id, now_ms, INT64(act),
                   who, PLAN_MODEL_VERSION,
                   t != NULL ? INT64(t->case_count) : 0,
                   t != NULL ? INT64(t->tie_count) : 0,
                   t != NULL ? INT64(t->stretch_count) : 0, prior, evidence);
    return e == ERR_OK ? db_run(db, Q_NEWS_OF_POLICY, "i", now_ms) : e;
}

static bool is_name(const char *who)
{
    return who[strspn(who, " \t")] != '\0' && strlen(who) < TECHNIQUE_WHO_SIZE;
}

enum err technique_adopt(struct db *db, const struct technique *t,
                         const char *who, const char *evidence, int64_t now_ms)
{
    char prior[NUMBERS_TEXT_SIZE];

    if (!is_name(who))
        return ERR_FORM;
    if (!t->proposed)
        return ERR_CONFLICT;
    write_prior(&t->prior, prior);
    return add_row(db, now_ms, ACT_USED, who, t, prior, evidence);
}

enum err technique_drop(struct db *db, const char *who, int64_t now_ms)
{
    struct technique_switch s;
    enum err e = is_name(who) ? technique_switch_get(db, &s) : ERR_FORM;

    if (e != ERR_OK)
        return e;
    return s.on ? add_row(db, now_ms, ACT_DROPPED, who, NULL, NULL, "")
                : ERR_ABSENT;
}
