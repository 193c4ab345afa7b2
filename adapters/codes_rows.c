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
    size_t at;
    enum err e;

    if (c == NULL)
        return ERR_MEMORY;
    c->observation = url_of(base, "av-observation");
    c->method = url_of(base, "av-method");
    c->type = url_of(base, "av-access-type");
    c->site = url_of(base, "av-site");
    if (c->observation == NULL || c->method == NULL || c->type == NULL ||
        c->site == NULL)
        e = ERR_MEMORY;
    else
        e = codes_add_rows(c, codes_shipped, codes_shipped_count, &at);
    if (e != ERR_OK) {
        codes_free(c);
        return e;
    }
    *codes = c;
    return ERR_OK;
}

static void free_rows(struct codes_kept *rows, size_t count)
{
    for (size_t i = 0; i < count; i++)
        free(rows[i].block);
    free(rows);
}

void codes_free(struct codes *codes)
{
    if (codes == NULL)
        return;
    free_rows(codes->rows, codes->count);
    free(codes->observation);
    free(codes->method);
    free(codes->type);
    free(codes->site);
    free(codes);
}

void codes_to_lower(char *text)
{
    for (; *text != '\0'; text++) {
        if (*text >= 'A' && *text <= 'Z')
            *text = (char)(*text - 'A' + 'a');
    }
}

static int compare(const void *a, const void *b)
{
    const struct codes_kept *x = a, *y = b;
    int order = strcmp(x->row.system, y->row.system);

    return order != 0 ? order : strcmp(x->row.code, y->row.code);
}

const struct codes_row *codes_row_find(const struct codes *codes,
                                       const char *system, const char *code)
{
    const struct codes_kept key = { .row = { .system = system, .code = code } };
    const struct codes_kept *kept;

    if (system == NULL || code == NULL || codes->count == 0)
        return NULL;
    kept = bsearch(&key, codes->rows, codes->count, sizeof(key), compare);
    return kept != NULL ? &kept->row : NULL;
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
    else
        return ERR_UNKNOWN;
    return ERR_OK;
}

static bool target_known(const struct codes_row *row)
{
    struct body_site site;
    enum method m;

    switch (row->kind) {
    case TARGET_OBSERVATION:
        return codes_observation_known(row->target);
    case TARGET_METHOD:
        return method_by_code(row->target, strlen(row->target), &m) == ERR_OK;
    case TARGET_SITE:
        return codes_parse_site(row->target, &site) == ERR_OK;
    }
    return false;
}

static enum err check(const struct codes *codes, const struct codes_row *row)
{
    enum codes_target own;

    if (row->target != NULL && !target_known(row))
        return ERR_UNKNOWN;
    if (codes_target_of(codes, row->system, &own) == ERR_OK ||
        strcmp(row->system, codes->type) == 0)
        return ERR_CONFLICT;
    return ERR_OK;
}

static enum err keep(const struct codes_row *row, struct codes_kept *kept)
{
    const char *target = row->target != NULL ? row->target : "";
    size_t system_size = strlen(row->system) + 1;
    size_t code_size = strlen(row->code) + 1;
    size_t target_size = strlen(target) + 1;
    char *block = malloc(system_size + code_size + target_size);

    if (block == NULL)
        return ERR_MEMORY;
    memcpy(block, row->system, system_size);
    memcpy(block + system_size, row->code, code_size);
    memcpy(block + system_size + code_size, target, target_size);
    if (strcmp(row->system, CODES_TEXT) == 0)
        codes_to_lower(block + system_size);
    kept->row = *row;
    kept->block = block;
    kept->row.system = block;
    kept->row.code = block + system_size;
    if (row->target != NULL)
        kept->row.target = block + system_size + code_size;
    return ERR_OK;
}

/* The old rows and the new ones in one sorted array without repeats. */
static enum err merge(struct codes *codes, const struct codes_kept *fresh,
                      size_t count, size_t *at)
{
    size_t total = codes->count + count;
    struct codes_kept *all = malloc((total + 1) * sizeof(*all));

    if (all == NULL)
        return ERR_MEMORY;
    if (codes->count > 0)
        memcpy(all, codes->rows, codes->count * sizeof(*all));
    memcpy(all + codes->count, fresh, count * sizeof(*all));
    qsort(all, total, sizeof(*all), compare);
    for (size_t i = 1; i < total; i++) {
        if (compare(&all[i - 1], &all[i]) != 0)
            continue;
        for (size_t k = 0; k < count; k++) {
            if (fresh[k].block == all[i].block ||
                fresh[k].block == all[i - 1].block)
                *at = k;
        }
        free(all);
        return ERR_CONFLICT;
    }
    free(codes->rows);
    codes->rows = all;
    codes->count = total;
    return ERR_OK;
}

enum err codes_add_rows(struct codes *codes, const struct codes_row *rows,
                        size_t count, size_t *at)
{
    struct codes_kept *fresh;
    enum err e = ERR_OK;

    if (count > CODES_ROWS_MAX || codes->count + count > CODES_ROWS_MAX)
        return ERR_LIMIT;
    fresh = calloc(count + 1, sizeof(*fresh));
    if (fresh == NULL)
        return ERR_MEMORY;
    for (size_t i = 0; i < count && e == ERR_OK; i++) {
        *at = i;
        e = check(codes, &rows[i]);
        if (e == ERR_OK)
            e = keep(&rows[i], &fresh[i]);
    }
    if (e == ERR_OK)
        e = merge(codes, fresh, count, at);
    if (e != ERR_OK)
        free_rows(fresh, count);
    else
        free(fresh); /* its blocks are in the map now */
    return e;
}
