#include "adapters/fhir_shape.h"

#include <string.h>

/*
 * Walks an object by the table.  Beyond the table, everywhere: no null, no
 * empty text, list or object; each extension is either a value or extensions
 * (ext-1); no modifier extension, since to ignore one may turn the meaning
 * round.  The depth of the tree was limited before it was parsed.
 */

static void bad(struct fhir_ctx *c, const char *text)
{
    fhir_say(c, SEV_ERROR, "bad-element", "%s", text);
}

/* R4: code is words with one blank between; uri has no blank at all. */
static bool blanks_are_right(const char *text, enum fhir_kind kind)
{
    size_t len = strlen(text);

    for (size_t i = strcspn(text, " \t\r\n"); i < len; i++) {
        if (strchr(" \t\r\n", text[i]) == NULL)
            continue;
        if (kind == URI || i == 0 || i + 1 == len ||
            strchr(" \t\r\n", text[i + 1]) != NULL)
            return false;
    }
    return true;
}

static void check_time(struct fhir_ctx *c, const char *text,
                       enum fhir_kind kind)
{
    struct fhir_time t;
    size_t len = strlen(text);
    enum err e = kind == INSTANT
                     ? fhir_instant_read(text, len, &t)
                     : fhir_time_read(text, len, c->reader->zone, &t);

    /* A year out of range matters only where the time is used. */
    if (e == ERR_FORM)
        fhir_say(c, SEV_ERROR, "bad-datetime",
                 kind == INSTANT ? "An instant needs a date that exists, a "
                                   "time to the second and a zone"
                                 : "A date that does not exist, or a time "
                                   "without a zone, or another form");
}

static void check_text(struct fhir_ctx *c, json_t *value, enum fhir_kind kind)
{
    const char *text = json_string_value(value);

    if (text == NULL)
        bad(c, "A JSON string is needed here");
    else if (text[0] == '\0')
        bad(c, "An empty text is not allowed");
    else if ((kind == CODE || kind == URI) && !blanks_are_right(text, kind))
        fhir_say(c, SEV_ERROR, "bad-value", "Blanks are not allowed here");
    else if (kind == ID && !fhir_is_id(text))
        fhir_say(c, SEV_ERROR, "bad-value",
                 "An id is 1 to 64 of A-Z a-z 0-9 - .");
    else if (kind == DATETIME || kind == INSTANT)
        check_time(c, text, kind);
}

static void check_object(struct fhir_ctx *c, json_t *value,
                         enum fhir_shape shape)
{
    if (json_is_object(value))
        fhir_shape_check(c, value, shape);
    else
        bad(c, json_is_null(value) ? "null is not allowed"
                                   : "A JSON object is needed here");
}

/* Whether the parallel list of a list of primitives fills a null in it. */
static bool filled_beside(json_t *object, const char *key, size_t i)
{
    char other[64] = "_";
    size_t len = strlen(key);

    if (key[0] == '_') {
        key++;
        other[0] = '\0';
        len--;
    }
    if (len + 2 > sizeof(other))
        return false;
    memcpy(other + strlen(other), key, len + 1);
    return !json_is_null(json_array_get(json_object_get(object, other), i)) &&
           json_array_get(json_object_get(object, other), i) != NULL;
}

static void check_any(struct fhir_ctx *c, json_t *value)
{
    if (json_is_object(value))
        fhir_shape_check(c, value, SHAPE_ANY);
    else if (json_is_null(value))
        bad(c, "null is not allowed");
    else if (json_is_array(value))
        bad(c, "A list in a list is not allowed");
    else if (json_is_string(value))
        check_text(c, value, STRING);
}

static void check_contained(struct fhir_ctx *c, json_t *value)
{
    if (!json_is_object(value)) {
        bad(c, "A resource is needed here");
        return;
    }
    if (fhir_string(value, "resourceType") == NULL)
        fhir_say_at(c, "resourceType", SEV_ERROR, "missing-element",
                    "A resource needs a resourceType");
    if (json_object_get(value, "contained") != NULL)
        fhir_say(c, SEV_ERROR, "invariant",
                 "dom-2: a contained resource contains no other");
    fhir_shape_check(c, value,
                     fhir_is(value, "resourceType", "BodyStructure")
                         ? SHAPE_BODY_STRUCTURE
                         : SHAPE_OTHER_RESOURCE);
}

/* A list; row is NULL where anything may stand in it. */
static void check_list(struct fhir_ctx *c, json_t *object, const char *key,
                       json_t *list, const struct fhir_element *row)
{
    json_t *value;
    size_t i;

    if (!json_is_array(list)) {
        bad(c, "A JSON array is needed here");
        return;
    }
    if (json_array_size(list) == 0)
        bad(c, "An empty list is not allowed");
    json_array_foreach(list, i, value)
    {
        size_t back = fhir_place_index(&c->place, i);
        bool primitives = row == NULL || row->kind == STRINGS;

        if (primitives && json_is_null(value) && filled_beside(object, key, i))
            ;
        else if (row == NULL)
            check_any(c, value);
        else if (row->kind == STRINGS)
            check_text(c, value, STRING);
        else if (row->kind == RESOURCES)
            check_contained(c, value);
        else
            check_object(c, value, row->shape);
        fhir_place_pop(&c->place, back);
    }
}

static void check_number(struct fhir_ctx *c, json_t *value, enum fhir_kind kind)
{
    json_int_t number = json_integer_value(value);

    if (kind == DECIMAL && !json_is_number(value))
        bad(c, "A JSON number is needed here");
    if (kind == INTEGER && !json_is_integer(value))
        bad(c, "A whole number is needed here");
    if (kind == INTEGER && (number < INT32_MIN || number > INT32_MAX))
        fhir_say(c, SEV_ERROR, "bad-value", "The number is too large");
}

static void check_kind(struct fhir_ctx *c, json_t *object, const char *key,
                       json_t *value, const struct fhir_element *row)
{
    switch (row->kind) {
    case STRING:
    case CODE:
    case URI:
    case ID:
    case DATETIME:
    case INSTANT:
        check_text(c, value, row->kind);
        break;
    case BOOLEAN:
        if (!json_is_boolean(value))
            bad(c, "true or false is needed here");
        break;
    case INTEGER:
    case DECIMAL:
        check_number(c, value, row->kind);
        break;
    case OBJECT:
        check_object(c, value, row->shape);
        break;
    case LIST:
    case STRINGS:
    case RESOURCES:
        check_list(c, object, key, value, row);
        break;
    case MODIFIER:
        fhir_say(c, SEV_ERROR, "modifier",
                 "Not understood, and it may change the meaning");
        break;
    case CHOICE: /* the table gives the row of the type instead */
    case SKIP:
        break;
    }
}

/* An Element of R4 alone: an id and extensions, and nothing else. */
static void check_element(struct fhir_ctx *c, json_t *element)
{
    const char *key;
    json_t *value;

    json_object_foreach(element, key, value)
    {
        size_t back = fhir_place_push(&c->place, key);

        if (strcmp(key, "id") != 0 && strcmp(key, "extension") != 0)
            bad(c, "Not an element of R4 here");
        fhir_place_pop(&c->place, back);
    }
}

static void check_elements(struct fhir_ctx *c, json_t *list)
{
    json_t *element;
    size_t i;

    json_array_foreach(list, i, element)
    {
        size_t back = fhir_place_index(&c->place, i);

        check_element(c, element);
        fhir_place_pop(&c->place, back);
    }
}

/* "_birthDate": id and extensions of the primitive element beside it. */
static void check_beside(struct fhir_ctx *c, json_t *object,
                         enum fhir_shape shape, const char *key, json_t *value)
{
    size_t stem;
    const struct fhir_element *row = fhir_shape_find(shape, key + 1, &stem);
    bool primitive = row != NULL && row->kind <= INSTANT;
    bool list = row != NULL && row->kind == STRINGS;

    if (row == NULL && fhir_shape_is_open(shape))
        primitive = list = true;
    if (list && json_is_array(value)) {
        check_list(c, object, key, value, NULL);
        check_elements(c, value);
    } else if (primitive) {
        check_object(c, value, SHAPE_ANY);
        check_element(c, value);
    } else {
        bad(c, "Not an element of R4 here");
    }
}

static void check_member(struct fhir_ctx *c, json_t *object,
                         enum fhir_shape shape, const char *key, json_t *value)
{
    size_t back = fhir_place_push(&c->place, key);
    size_t stem;
    const struct fhir_element *row = fhir_shape_find(shape, key, &stem);

    if (json_is_null(value))
        bad(c, "null is not allowed");
    else if (key[0] == '_')
        check_beside(c, object, shape, key, value);
    else if (row != NULL)
        check_kind(c, object, key, value, row);
    else if (!fhir_shape_is_open(shape))
        bad(c, "Not an element of R4 here");
    else if (json_is_array(value))
        check_list(c, object, key, value, NULL);
    else
        check_any(c, value);
    fhir_place_pop(&c->place, back);
}

/* How many keys are of a choice; says which of one stem come second. */
static size_t check_choices(struct fhir_ctx *c, json_t *object,
                            enum fhir_shape shape)
{
    struct {
        const char *key;
        size_t stem;
    } seen[8] = { { NULL, 0 } };
    size_t count = 0, stem;
    const char *key;
    json_t *value;

    json_object_foreach(object, key, value)
    {
        /* The library finds the next member by the address of the key. */
        const char *plain = key + (key[0] == '_' ? 1 : 0);

        if (fhir_shape_find(shape, plain, &stem) == NULL || stem == 0)
            continue;
        for (size_t i = 0; i < count; i++) {
            if (seen[i].stem == stem && strcmp(seen[i].key, plain) != 0 &&
                strncmp(seen[i].key, plain, stem) == 0)
                fhir_say_at(c, plain, SEV_ERROR, "bad-element",
                            "Only one type of a choice may be given");
        }
        if (count < COUNT(seen)) {
            seen[count].key = plain;
            seen[count++].stem = stem;
        }
    }
    return count;
}

static void check_extension(struct fhir_ctx *c, json_t *object, size_t values)
{
    if (json_object_get(object, "url") == NULL)
        fhir_say_at(c, "url", SEV_ERROR, "missing-element",
                    "An extension needs a url");
    if ((values > 0) == (json_object_get(object, "extension") != NULL))
        fhir_say(c, SEV_ERROR, "invariant",
                 "ext-1: an extension has either a value or extensions");
}

static void check_quantity(struct fhir_ctx *c, json_t *object)
{
    const char *comparator = fhir_string(object, "comparator");

    if (json_object_get(object, "code") != NULL &&
        json_object_get(object, "system") == NULL)
        fhir_say_at(c, "code", SEV_ERROR, "invariant",
                    "qty-3: a unit code needs a system");
    if (comparator != NULL && strcmp(comparator, "<") != 0 &&
        strcmp(comparator, "<=") != 0 && strcmp(comparator, ">=") != 0 &&
        strcmp(comparator, ">") != 0)
        fhir_say_at(c, "comparator", SEV_ERROR, "bad-value",
                    "A comparator is <, <=, >= or >");
}

static void check_range(struct fhir_ctx *c, json_t *object)
{
    if (json_object_get(object, "low") == NULL &&
        json_object_get(object, "high") == NULL &&
        json_object_get(object, "text") == NULL)
        fhir_say(c, SEV_ERROR, "invariant",
                 "obs-3: a reference range has low, high or text");
}

void fhir_shape_check(struct fhir_ctx *c, json_t *object, enum fhir_shape shape)
{
    const char *key;
    json_t *value;
    size_t values;

    if (json_object_size(object) == 0) {
        bad(c, "An empty object is not allowed");
        return;
    }
    json_object_foreach(object, key, value)
    {
        check_member(c, object, shape, key, value);
    }
    values = check_choices(c, object, shape);
    if (shape == SHAPE_EXTENSION)
        check_extension(c, object, values);
    if (shape == SHAPE_QUANTITY)
        check_quantity(c, object);
    if (shape == SHAPE_REFERENCE_RANGE)
        check_range(c, object);
    if (shape == SHAPE_ANNOTATION && json_object_get(object, "text") == NULL &&
        json_object_get(object, "_text") == NULL)
        fhir_say_at(c, "text", SEV_ERROR, "missing-element",
                    "A note needs a text");
}
