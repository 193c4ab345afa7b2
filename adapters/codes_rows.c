#include "adapters/codes_rows.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *url_of(const char *base, const char *name)
{
    size_t base_len = strlen(base);
    size_t size;
    char *url;

    while (base_len > 0 && base[base_len - 1] == '/')
        base_len--;
    size = base_len + strlen(name) + sizeof("/CodeSystem/");
    url = malloc(size);
    if (url == NULL)
        return NULL;
    memcpy(url, base, base_len);
    snprintf(url + base_len, size - base_len, "/CodeSystem/%s", name);
    return url;
}

enum err codes_new(const char *base, struct codes **codes)
{
    struct codes *c = calloc(1, sizeof(*c));
    struct codes_fault fault;
    enum err e;

    if (c == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < CODES_BUCKETS; i++)
        atomic_init(&c->buckets[i], NULL);
    c->observation = url_of(base, "av-observation");
    c->method = url_of(base, "av-method");
    c->type = url_of(base, "av-access-type");
    c->site = url_of(base, "av-site");
    if (c->observation == NULL || c->method == NULL || c->type == NULL ||
        c->site == NULL)
        e = ERR_MEMORY;
    else
        e = codes_add_rows(c, codes_shipped, codes_shipped_count, CODES_SHIPPED,
                           &fault);
    if (e != ERR_OK) {
        codes_free(c);
        return e;
    }
    *codes = c;
    return ERR_OK;
}

void codes_free(struct codes *codes)
{
    if (codes == NULL)
        return;
    for (size_t i = 0; i < CODES_BUCKETS; i++) {
        struct codes_kept *kept = atomic_load(&codes->buckets[i]);

        while (kept != NULL) {
            struct codes_kept *next = kept->next;

            free(kept);
            kept = next;
        }
    }
    free(codes->observation);
    free(codes->method);
    free(codes->type);
    free(codes->site);
    free(codes);
}

void codes_set_zone(struct codes *codes, const struct zone *zone)
{
    codes->zone = zone;
}

void codes_to_lower(char *text)
{
    for (; *text != '\0'; text++) {
        if (*text >= 'A' && *text <= 'Z')
            *text = (char)(*text - 'A' + 'a');
    }
}

enum err codes_target_of(const struct codes *codes, const char *system,
                         enum codes_target *kind)
{
    if (strcmp(system, codes->observation) == 0)
        *kind = TARGET_OBSERVATION;
    else if (strcmp(system, codes->method) == 0)
        *kind = TARGET_METHOD;
    else if (strcmp(system, codes->site) == 0)
        *kind = TARGET_SITE;
    else if (strcmp(system, CODES_UCUM) == 0)
        *kind = TARGET_UNIT;
    else
        return ERR_UNKNOWN;
    return ERR_OK;
}

/* ---- looking up --------------------------------------------------------- */

/* FNV-1a, 32 bits, over both with a NUL between them. */
static size_t bucket_of(const char *system, const char *code)
{
    uint32_t hash = 2166136261U;

    for (const char *p = system; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619U;
    hash *= 16777619U;
    for (const char *p = code; *p != '\0'; p++)
        hash = (hash ^ (unsigned char)*p) * 16777619U;
    return hash % CODES_BUCKETS;
}

static const struct codes_kept *first_of(const struct codes *codes,
                                         const char *system, const char *code)
{
    return atomic_load_explicit(&codes->buckets[bucket_of(system, code)],
                                memory_order_acquire);
}

static bool is_of(const struct codes_kept *kept, const char *system,
                  const char *code)
{
    return strcmp(kept->row.code, code) == 0 &&
           strcmp(kept->row.system, system) == 0 &&
           !atomic_load_explicit(&kept->gone, memory_order_acquire);
}

const struct codes_row *codes_row_find(const struct codes *codes,
                                       const char *system, const char *code,
                                       int64_t at_s)
{
    const struct codes_kept *best = NULL;

    if (system == NULL || code == NULL)
        return NULL;
    for (const struct codes_kept *k = first_of(codes, system, code); k != NULL;
         k = k->next) {
        if (k->row.from_s > at_s || !is_of(k, system, code))
            continue;
        if (best == NULL || k->row.from_s > best->row.from_s ||
            (k->row.from_s == best->row.from_s && k->origin > best->origin))
            best = k;
    }
    return best != NULL ? &best->row : NULL;
}

/* ---- adding ------------------------------------------------------------- */

static bool same_text(const char *a, const char *b)
{
    return a == b || (a != NULL && b != NULL && strcmp(a, b) == 0);
}

static bool same_meaning(const struct codes_row *a, const struct codes_row *b)
{
    return a->kind == b->kind && a->use == b->use &&
           same_text(a->target, b->target);
}

static bool same_row(const struct codes_row *a, const struct codes_row *b)
{
    return same_meaning(a, b) && a->side == b->side &&
           a->access_arm == b->access_arm && same_text(a->unit, b->unit) &&
           a->from_s == b->from_s;
}

/* A row of a site for a code that is mapped from the start: it says no other
 * meaning, and adds something. */
static bool refines(const struct codes_row *fresh, const struct codes_row *old)
{
    bool adds =
        fresh->unit != NULL || fresh->access_arm || fresh->side != SIDE_UNKNOWN;
    bool clash = old->side != SIDE_UNKNOWN &&
                 (fresh->access_arm ||
                  (fresh->side != SIDE_UNKNOWN && fresh->side != old->side));

    return fresh->use == USE_EQUAL && same_meaning(fresh, old) && adds &&
           !clash;
}

static void say_mapped(const struct codes_kept *old, struct codes_fault *fault)
{
    static const char *const by[] = { [CODES_SHIPPED] = "from the start",
                                      [CODES_OF_FILE] = "by a file",
                                      [CODES_LEARNT] = "by a person" };
    const char *to = old->row.use == USE_IGNORE ? "ignore"
                     : old->row.target != NULL  ? old->row.target
                                                : "store";

    fault->column = "source_code";
    snprintf(fault->text, sizeof(fault->text),
             "this code is mapped already, %s, to '%s'", by[old->origin], to);
}

/*
 * Does the map let the row in?  *there: it says nothing new.  What fresh
 * leaves to a row that it refines is taken over.
 */
static enum err meet(const struct codes *codes, struct codes_kept *fresh,
                     bool *there, struct codes_fault *fault)
{
    struct codes_row *row = &fresh->row;
    const struct codes_kept *k = first_of(codes, row->system, row->code);

    *there = false;
    for (; k != NULL; k = k->next) {
        if (!is_of(k, row->system, row->code))
            continue;
        if (k->origin == CODES_SHIPPED && refines(row, &k->row)) {
            row->needs_hand = k->row.needs_hand;
            if (row->side == SIDE_UNKNOWN)
                row->side = k->row.side;
            continue;
        }
        if (fresh->origin == CODES_LEARNT && same_row(row, &k->row)) {
            *there = true;
            return ERR_OK;
        }
        if (k->origin == CODES_SHIPPED || k->row.from_s == row->from_s ||
            (fresh->origin == CODES_LEARNT && k->origin == CODES_OF_FILE)) {
            say_mapped(k, fault);
            return ERR_CONFLICT;
        }
    }
    return ERR_OK;
}

/* Copies text to *at and moves it on; NULL stays NULL. */
static const char *copy(char **at, const char *text)
{
    char *start = *at;
    size_t size;

    if (text == NULL)
        return NULL;
    size = strlen(text) + 1;
    memcpy(start, text, size);
    *at += size;
    return start;
}

static size_t size_of(const char *text)
{
    return text != NULL ? strlen(text) + 1 : 0;
}

static struct codes_kept *keep(const struct codes_row *row,
                               enum codes_origin origin)
{
    size_t size = size_of(row->system) + size_of(row->code) +
                  size_of(row->target) + size_of(row->unit);
    struct codes_kept *kept = malloc(sizeof(*kept) + size);
    char *at;

    if (kept == NULL)
        return NULL;
    kept->row = *row;
    kept->origin = origin;
    atomic_init(&kept->gone, false);
    kept->next = NULL;
    at = kept->strings;
    kept->row.system = copy(&at, row->system);
    if (strcmp(row->system, CODES_TEXT) == 0) {
        char *code = at;

        kept->row.code = copy(&at, row->code);
        codes_to_lower(code);
    } else {
        kept->row.code = copy(&at, row->code);
    }
    kept->row.target = copy(&at, row->target);
    kept->row.unit = copy(&at, row->unit);
    return kept;
}

/* Rows on their way into the map. */
struct fresh {
    struct codes_kept *kept; /* NULL: it is in the map already */
    size_t row;              /* of those that were given */
};

static int compare(const void *a, const void *b)
{
    const struct fresh *x = a, *y = b;
    int order;

    if (x->kept == NULL || y->kept == NULL)
        return (x->kept == NULL) - (y->kept == NULL);
    order = strcmp(x->kept->row.system, y->kept->row.system);
    if (order == 0)
        order = strcmp(x->kept->row.code, y->kept->row.code);
    if (order != 0)
        return order;
    if (x->kept->row.from_s != y->kept->row.from_s)
        return x->kept->row.from_s < y->kept->row.from_s ? -1 : 1;
    return x->row < y->row ? -1 : x->row > y->row;
}

/* Among themselves: the same code twice from the same date. */
static enum err check_twice(struct fresh *list, size_t count,
                            struct codes_fault *fault)
{
    qsort(list, count, sizeof(*list), compare);
    for (size_t i = 1; i < count && list[i].kept != NULL; i++) {
        const struct codes_row *a = &list[i - 1].kept->row;
        const struct codes_row *b = &list[i].kept->row;

        if (strcmp(a->system, b->system) != 0 ||
            strcmp(a->code, b->code) != 0 || a->from_s != b->from_s)
            continue;
        fault->row = list[i].row;
        fault->column = "source_code";
        snprintf(fault->text, sizeof(fault->text),
                 "this code is mapped already, in the same file");
        return ERR_CONFLICT;
    }
    return ERR_OK;
}

static enum err make(const struct codes *codes, const struct codes_row *row,
                     enum codes_origin origin, struct fresh *fresh,
                     struct codes_fault *fault)
{
    bool there;
    enum err e = codes_row_check(codes, row, fault);

    if (e != ERR_OK)
        return e;
    fresh->kept = keep(row, origin);
    if (fresh->kept == NULL)
        return ERR_MEMORY;
    e = meet(codes, fresh->kept, &there, fault);
    if (e == ERR_OK && there) {
        free(fresh->kept);
        fresh->kept = NULL;
    }
    return e;
}

enum err codes_try_row(const struct codes *codes, const struct codes_row *row,
                       enum codes_origin origin, bool *there,
                       struct codes_fault *fault)
{
    struct fresh fresh = { .row = 0 };
    enum err e;

    *fault = (struct codes_fault){ .column = "" };
    e = make(codes, row, origin, &fresh, fault);
    *there = e == ERR_OK && fresh.kept == NULL;
    free(fresh.kept);
    return e;
}

/* From here on it is seen by everybody. */
static void publish(struct codes *codes, struct codes_kept *kept)
{
    _Atomic(struct codes_kept *) *bucket =
        &codes->buckets[bucket_of(kept->row.system, kept->row.code)];

    kept->next = atomic_load_explicit(bucket, memory_order_relaxed);
    atomic_store_explicit(bucket, kept, memory_order_release);
    codes->count++;
}

enum err codes_add_rows(struct codes *codes, const struct codes_row *rows,
                        size_t count, enum codes_origin origin,
                        struct codes_fault *fault)
{
    struct fresh *list;
    enum err e = ERR_OK;

    *fault = (struct codes_fault){ .row = count, .column = "" };
    if (count > CODES_ROWS_MAX || codes->count + count > CODES_ROWS_MAX) {
        snprintf(fault->text, sizeof(fault->text),
                 "too many rows: a map holds %d", CODES_ROWS_MAX);
        return ERR_LIMIT;
    }
    list = calloc(count + 1, sizeof(*list));
    if (list == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < count && e == ERR_OK; i++) {
        list[i].row = fault->row = i;
        e = make(codes, &rows[i], origin, &list[i], fault);
    }
    if (e == ERR_OK)
        e = check_twice(list, count, fault);
    for (size_t i = 0; i < count; i++) {
        if (e == ERR_OK && list[i].kept != NULL)
            publish(codes, list[i].kept);
        else
            free(list[i].kept);
    }
    free(list);
    return e;
}
