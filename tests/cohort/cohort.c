#include "tests/cohort/keep.h"

#include "adapters/civil.h"

#include <stdlib.h>

/* A place in the order of arrival; a person's two resources come first. */
struct place {
    int64_t arrives_s;
    size_t index;
};

static enum err make_person(struct cohort *c, size_t i)
{
    struct maker m = {
        .cohort = c, .person = &c->people[i], .index = i, .err = ERR_OK
    };
    int number = (int)i + 1;

    rng_init(&m.rng, c->o.seed, (uint64_t)number);
    person_draw(&m.rng, &c->o, number, &c->people[i]);
    m.unit = demo_unit(c->people[i].unit);
    checks_make(&m);
    sessions_make(&m);
    return m.err;
}

static bool is_in_range(const struct cohort_options *o)
{
    return o->patients >= 1 && o->patients <= COHORT_PATIENTS_MAX &&
           o->days >= COHORT_DAYS_MIN && o->days <= COHORT_DAYS_MAX &&
           o->end_day >= COHORT_DAYS_MAX + 2500 && o->end_day <= 84005;
}

enum err cohort_new(const struct cohort_options *options,
                    struct cohort **cohort)
{
    struct cohort *c;
    enum err e = ERR_OK;

    if (!is_in_range(options))
        return ERR_RANGE;
    c = calloc(1, sizeof(*c));
    if (c == NULL)
        return ERR_MEMORY;
    c->o = *options;
    c->people = calloc((size_t)c->o.patients, sizeof(*c->people));
    if (c->people == NULL)
        e = ERR_MEMORY;
    for (size_t i = 0; i < (size_t)c->o.patients && e == ERR_OK; i++)
        e = make_person(c, i);
    if (e != ERR_OK) {
        cohort_free(c);
        return e;
    }
    *cohort = c;
    return ERR_OK;
}

void cohort_free(struct cohort *cohort)
{
    if (cohort == NULL)
        return;
    free(cohort->people);
    free(cohort->notes);
    free(cohort->takings);
    free(cohort);
}

enum err line_out(struct buf *work, FILE *out)
{
    enum err e;

    buf_puts(work, "\n");
    e = buf_ok(work);
    if (e == ERR_OK && fwrite(work->data, 1, work->len, out) != work->len)
        e = ERR_IO;
    buf_empty(work);
    return e;
}

static int by_arrival(const void *a, const void *b)
{
    const struct place *x = a, *y = b;

    if (x->arrives_s != y->arrives_s)
        return x->arrives_s < y->arrives_s ? -1 : 1;
    return x->index < y->index ? -1 : x->index > y->index;
}

/* Accesses of which nothing could be known on the first day come with their
 * time; a reader that sorts by meta.lastUpdated needs no order here. */
static enum err people_out(const struct cohort *c, struct buf *work, FILE *out)
{
    enum err e = ERR_OK;

    for (size_t i = 0; i < (size_t)c->o.patients && e == ERR_OK; i++) {
        write_person(c, i, work);
        e = line_out(work, out);
        if (e != ERR_OK)
            return e;
        write_shunt(c, i, work);
        e = line_out(work, out);
    }
    return e;
}

enum err cohort_feed(const struct cohort *c, struct buf *work, FILE *out)
{
    int64_t end_s = c->o.end_day * DAY_S;
    struct place *places = calloc(c->note_count + 1, sizeof(*places));
    size_t count = 0;
    enum err e;

    if (places == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < c->note_count; i++)
        if (c->notes[i].arrives_s < end_s)
            places[count++] = (struct place){ c->notes[i].arrives_s, i };
    qsort(places, count, sizeof(*places), by_arrival);
    e = people_out(c, work, out);
    for (size_t i = 0; i < count && e == ERR_OK; i++) {
        write_note(c, &c->notes[places[i].index], work);
        e = line_out(work, out);
    }
    free(places);
    return e;
}
