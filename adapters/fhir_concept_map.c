#include "adapters/codes_rows.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

/* The equivalences of R4, and what each lets us do. */
static const struct {
    const char *word;
    enum codes_use use;
} equivalences[] = {
    { "equal", USE_EQUAL },      { "equivalent", USE_EQUAL },
    { "wider", USE_STORE },      { "subsumes", USE_STORE },
    { "narrower", USE_STORE },   { "specializes", USE_STORE },
    { "inexact", USE_STORE },    { "relatedto", USE_STORE },
    { "unmatched", USE_IGNORE }, { "disjoint", USE_IGNORE },
};

/* One file being read; the rows point into its JSON tree. */
struct map {
    const struct codes *codes;
    struct buf *why;
    struct codes_row *rows;
    struct where {
        size_t group, element;
    } * where; /* of each row, for the message */
    size_t count, size;
};

static const char *string_of(json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));

    return text != NULL && text[0] != '\0' ? text : NULL;
}

static enum err add(struct map *map, const struct codes_row *row,
                    struct where where)
{
    if (map->count == map->size) {
        size_t size = map->size > 0 ? map->size * 2 : 64;
        struct codes_row *rows = realloc(map->rows, size * sizeof(*rows));
        struct where *places;

        if (rows == NULL)
            return ERR_MEMORY;
        map->rows = rows;
        places = realloc(map->where, size * sizeof(*places));
        if (places == NULL)
            return ERR_MEMORY;
        map->where = places;
        map->size = size;
    }
    map->rows[map->count] = *row;
    map->where[map->count++] = where;
    return ERR_OK;
}

/* Say why, with the place; returns e so that a check is one statement. */
static enum err refuse(struct map *map, struct where where, enum err e,
                       const char *text)
{
    buf_printf(map->why, "ConceptMap.group[%zu].element[%zu]: %s", where.group,
               where.element, text);
    return e;
}

/* A modifierExtension may turn the meaning of its element round. */
static bool is_modified(json_t *object)
{
    return json_object_get(object, "modifierExtension") != NULL;
}

static enum err read_use(struct map *map, json_t *target, struct where where,
                         enum codes_use *use)
{
    const char *word = string_of(target, "equivalence");

    if (json_object_get(target, "dependsOn") != NULL ||
        json_object_get(target, "product") != NULL)
        return refuse(map, where, ERR_FORM,
                      "dependsOn and product are not supported");
    for (size_t i = 0; word != NULL && i < COUNT(equivalences); i++) {
        if (strcmp(equivalences[i].word, word) == 0) {
            *use = equivalences[i].use;
            return ERR_OK;
        }
    }
    return refuse(map, where, ERR_FORM, "equivalence is missing or unknown");
}

static enum err read_element(struct map *map, const char *source,
                             const enum codes_target *kind, json_t *element,
                             struct where where)
{
    json_t *targets = json_object_get(element, "target");
    json_t *target = json_array_get(targets, 0);
    struct codes_row row = { .system = source, .from_s = INT64_MIN };
    enum err e;

    if (is_modified(element) || is_modified(target))
        return refuse(map, where, ERR_FORM,
                      "a modifierExtension is not understood here");

    row.code = string_of(element, "code");
    if (row.code == NULL)
        return refuse(map, where, ERR_FORM, "code is missing");
    if (json_array_size(targets) == 0)
        return refuse(map, where, ERR_FORM,
                      "target is missing; say unmatched to ignore a code");
    if (json_array_size(targets) > 1)
        return refuse(map, where, ERR_CONFLICT, "more than one target");
    e = read_use(map, target, where, &row.use);
    if (e != ERR_OK)
        return e;
    row.target = string_of(target, "code");
    if (row.use == USE_IGNORE) {
        row.target = NULL;
        return add(map, &row, where);
    }
    if (row.target == NULL)
        return refuse(map, where, ERR_FORM, "target code is missing");
    if (kind == NULL)
        return refuse(map, where, ERR_UNKNOWN,
                      "the group's target is not a CodeSystem of ours");
    row.kind = *kind;
    return add(map, &row, where);
}

static enum err read_group(struct map *map, json_t *group, size_t index)
{
    const char *source = string_of(group, "source");
    const char *target = string_of(group, "target");
    json_t *elements = json_object_get(group, "element");
    enum codes_target kind;
    bool known =
        target != NULL && codes_target_of(map->codes, target, &kind) == ERR_OK;
    enum err e = ERR_OK;

    if (source == NULL || json_array_size(elements) == 0 ||
        json_object_get(group, "unmatched") != NULL || is_modified(group)) {
        buf_printf(map->why, "ConceptMap.group[%zu]: %s", index,
                   source == NULL                   ? "source is missing"
                   : json_array_size(elements) == 0 ? "element is missing"
                   : is_modified(group)
                       ? "a modifierExtension is not understood here"
                       : "unmatched is not supported: what is not mapped is "
                         "never guessed");
        return ERR_FORM;
    }
    for (size_t i = 0; e == ERR_OK && i < json_array_size(elements); i++)
        e = read_element(map, source, known ? &kind : NULL,
                         json_array_get(elements, i),
                         (struct where){ index, i });
    return e;
}

static enum err read_map(struct map *map, json_t *root)
{
    const char *type = string_of(root, "resourceType");
    const char *status = string_of(root, "status");
    json_t *groups = json_object_get(root, "group");
    enum err e = ERR_OK;

    if (type == NULL || strcmp(type, "ConceptMap") != 0) {
        buf_puts(map->why, "not a ConceptMap");
        return ERR_FORM;
    }
    if (is_modified(root) || json_object_get(root, "implicitRules") != NULL) {
        buf_puts(map->why, "ConceptMap: a modifierExtension or implicitRules "
                           "is not understood here");
        return ERR_FORM;
    }
    if (status != NULL && strcmp(status, "retired") == 0) {
        buf_puts(map->why, "ConceptMap.status: the map is retired");
        return ERR_FORM;
    }
    if (json_array_size(groups) == 0) {
        buf_puts(map->why, "ConceptMap.group is missing");
        return ERR_FORM;
    }
    for (size_t i = 0; e == ERR_OK && i < json_array_size(groups); i++)
        e = read_group(map, json_array_get(groups, i), i);
    return e;
}

static enum err add_all(struct codes *codes, struct map *map)
{
    struct codes_fault fault;
    enum err e =
        codes_add_rows(codes, map->rows, map->count, CODES_OF_FILE, &fault);

    if (e == ERR_OK || e == ERR_MEMORY)
        return e;
    if (fault.row < map->count)
        return refuse(map, map->where[fault.row], e, fault.text);
    buf_puts(map->why, fault.text);
    return e;
}

enum err codes_add_concept_map(struct codes *codes, const char *json,
                               size_t len, struct buf *why)
{
    struct map map = { .codes = codes, .why = why };
    json_error_t error;
    json_t *root = json_loadb(json, len, JSON_REJECT_DUPLICATES, &error);
    enum err e;

    if (root == NULL) {
        if (json_error_code(&error) == json_error_out_of_memory)
            return ERR_MEMORY;
        buf_printf(why, "not JSON: line %d column %d", error.line,
                   error.column);
        return ERR_FORM;
    }
    e = read_map(&map, root);
    if (e == ERR_OK)
        e = add_all(codes, &map);
    free(map.rows);
    free(map.where);
    json_decref(root);
    return e;
}
