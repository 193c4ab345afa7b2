#include "adapters/fhir_json.h"

#include <string.h>

static bool starts(const char *text, const char *with)
{
    return strncmp(text, with, strlen(with)) == 0;
}

static bool is_letters(const char *text, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        bool small = text[i] >= 'a' && text[i] <= 'z';
        bool large = text[i] >= 'A' && text[i] <= 'Z';

        if (!large && !(small && i > 0))
            return false;
    }
    return len > 0;
}

/* An id of len bytes. */
static bool is_id(const char *text, size_t len)
{
    char id[65];

    if (len >= sizeof(id))
        return false;
    memcpy(id, text, len);
    id[len] = '\0';
    return fhir_is_id(id);
}

/* "Patient/p-1", perhaps with "/_history/3". */
static bool is_relative(const char *text)
{
    static const char history[] = "/_history/";
    const char *slash = strchr(text, '/');
    const char *id, *version;

    if (slash == NULL || !is_letters(text, (size_t)(slash - text)))
        return false;
    id = slash + 1;
    version = strstr(id, history);
    if (version == NULL)
        return is_id(id, strlen(id));
    return is_id(id, (size_t)(version - id)) &&
           fhir_is_id(version + sizeof(history) - 1);
}

static bool is_literal(const char *text)
{
    static const char *const absolute[] = { "http://", "https://",
                                            "urn:uuid:", "urn:oid:" };

    if (strpbrk(text, " \t\r\n") != NULL)
        return false;
    for (size_t i = 0; i < COUNT(absolute); i++) {
        if (starts(text, absolute[i]))
            return text[strlen(absolute[i])] != '\0';
    }
    return is_relative(text);
}

const char *fhir_ref_type(const char *literal, size_t *len)
{
    const char *end = strstr(literal, "/_history/");
    const char *start;

    *len = 0;
    if (starts(literal, "urn:"))
        return literal;
    if (end == NULL)
        end = literal + strlen(literal);
    while (end > literal && end[-1] != '/')
        end--; /* back over the id */
    if (end == literal)
        return literal;
    end--;
    start = end;
    while (start > literal && start[-1] != '/')
        start--;
    if (is_letters(start, (size_t)(end - start)))
        *len = (size_t)(end - start);
    return start;
}

/* The contained resource that "#id" means; NULL if there is none. */
static json_t *find_contained(struct fhir_ctx *c, const char *id)
{
    json_t *list = json_object_get(c->resource, "contained");
    json_t *value;
    size_t i;

    json_array_foreach(list, i, value)
    {
        if (fhir_is(value, "id", id))
            return value;
    }
    return NULL;
}

static void read_identifier(json_t *identifier, struct fhir_ref *ref)
{
    ref->value = fhir_string(identifier, "value");
    if (ref->value != NULL)
        ref->system = fhir_string(identifier, "system");
}

static void read_contained(struct fhir_ctx *c, const char *literal,
                           struct fhir_ref *ref, bool *contained)
{
    json_t *target = find_contained(c, literal + 1);
    json_t *identifier;
    size_t i;

    if (target == NULL) {
        fhir_say_at(c, "reference", SEV_ERROR, "bad-reference",
                    "No contained resource has this id");
        return;
    }
    *contained = true;
    ref->type = fhir_string(target, "resourceType");
    json_array_foreach(json_object_get(target, "identifier"), i, identifier)
    {
        if (ref->value == NULL)
            read_identifier(identifier, ref);
    }
}

const char *fhir_ref_plain(struct fhir_ctx *c, const char *literal)
{
    const char *self = c->reader->self;
    size_t len = self != NULL ? strlen(self) : 0;
    const char *version;
    char *kept;

    if (literal == NULL)
        return NULL;
    if (len > 0 && strncmp(literal, self, len) == 0 && literal[len] == '/')
        literal += len + 1;
    version = strstr(literal, "/_history/");
    if (version == NULL)
        return literal;
    kept = fhir_keep(c, (size_t)(version - literal) + 1);
    if (kept != NULL) /* zeroed */
        memcpy(kept, literal, (size_t)(version - literal));
    return kept;
}

void fhir_ref_read(struct fhir_ctx *c, json_t *reference, struct fhir_ref *ref,
                   bool *contained)
{
    const char *literal = fhir_string(reference, "reference");

    *ref = (struct fhir_ref){
        .type = fhir_string(reference, "type"),
        .display = fhir_string(reference, "display"),
    };
    *contained = false;
    if (literal != NULL && literal[0] == '#') {
        read_contained(c, literal, ref, contained);
        return;
    }
    read_identifier(json_object_get(reference, "identifier"), ref);
    if (literal == NULL)
        return;
    if (is_literal(literal))
        ref->literal = fhir_ref_plain(c, literal);
    else if (strchr(literal, '?') != NULL)
        fhir_say_at(c, "reference", SEV_ERROR, "not-supported",
                    "Conditional references are not supported");
    else
        fhir_say_at(c, "reference", SEV_ERROR, "bad-reference",
                    "Neither Type/id nor an absolute URL");
}

static bool is_one_of(const char *text, size_t len, const char *const *words)
{
    for (; *words != NULL; words++) {
        if (strlen(*words) == len && memcmp(*words, text, len) == 0)
            return true;
    }
    return false;
}

static void check_patient(struct fhir_ctx *c, const struct fhir_ref *ref)
{
    static const char *const patient[] = { "Patient", NULL };
    static const char *const other[] = { "Group", "Device", "Location", NULL };
    const char *type = ref->type;
    size_t len = 0;

    if (ref->literal != NULL)
        type = fhir_ref_type(ref->literal, &len);
    if (len == 0 && ref->type != NULL) {
        type = ref->type;
        len = strlen(type);
    }
    if (len > 0 && !is_one_of(type, len, patient) &&
        !is_one_of(type, len, other))
        fhir_say(c, SEV_ERROR, "bad-reference",
                 "A reference to a Patient is needed");
    else if ((len > 0 && !is_one_of(type, len, patient)) ||
             (ref->literal == NULL && ref->value == NULL))
        fhir_say(c, SEV_ERROR, "no-subject",
                 "A Patient is needed, by reference or by identifier");
}

void fhir_ref_patient(struct fhir_ctx *c, json_t *object, const char *key,
                      struct fhir_ref *ref)
{
    size_t back = fhir_place_push(&c->place, key);
    size_t hard = c->hard;
    bool contained;

    fhir_ref_read(c, json_object_get(object, key), ref, &contained);
    if (c->hard == hard)
        check_patient(c, ref);
    fhir_place_pop(&c->place, back);
}

void fhir_read_identifiers(struct fhir_ctx *c)
{
    struct fhir_item *item = c->item;
    json_t *identifier;
    size_t i;

    json_array_foreach(json_object_get(c->resource, "identifier"), i,
                       identifier)
    {
        const char *value = fhir_string(identifier, "value");

        if (value == NULL || item->identifier_count == FHIR_IDENTIFIERS_MAX)
            continue;
        item->identifiers[item->identifier_count++] = (struct fhir_identifier){
            .system = fhir_string(identifier, "system"), .value = value
        };
    }
}

static void merge_site(struct body_site more, struct body_site *site,
                       bool *clash)
{
    if (site->region[0] == '\0')
        site->region = more.region;
    if (more.side == SIDE_UNKNOWN)
        return;
    if (site->side != SIDE_UNKNOWN && site->side != more.side)
        *clash = true;
    site->side = more.side;
}

void fhir_read_site(struct fhir_ctx *c, json_t *concept, struct body_site *site,
                    bool *clash)
{
    const struct codes *codes = c->reader->codes;
    json_t *coding;
    bool before = *clash;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        const char *system = fhir_string(coding, "system");

        merge_site(codes_site(codes, system, fhir_string(coding, "code"),
                              fhir_lookup_s(c)),
                   site, clash);
    }
    merge_site(
        codes_site_text(codes, fhir_string(concept, "text"), fhir_lookup_s(c)),
        site, clash);
    if (!*clash)
        return;
    site->side = SIDE_UNKNOWN;
    if (!before)
        fhir_say(c, SEV_WARNING, "access-side",
                 "Left and right are both named, so neither is used");
}

bool fhir_site_unmapped(struct fhir_ctx *c, json_t *concept)
{
    const struct codes *codes = c->reader->codes;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        const char *system = fhir_string(coding, "system");
        const char *code = fhir_string(coding, "code");
        struct body_site site =
            codes_site(codes, system, code, fhir_lookup_s(c));

        if (code == NULL || site.side != SIDE_UNKNOWN ||
            site.region[0] != '\0' ||
            codes_listed(codes, system, code, fhir_lookup_s(c)))
            continue;
        fhir_say(c, SEV_INFORMATION, "code-unknown",
                 "This body site is not mapped: its code gives no side");
        return true;
    }
    return false;
}

enum method fhir_read_method(struct fhir_ctx *c, json_t *concept)
{
    const struct codes *codes = c->reader->codes;
    enum method method = METHOD_UNSTATED;
    json_t *coding;
    size_t i;

    json_array_foreach(json_object_get(concept, "coding"), i, coding)
    {
        if (method == METHOD_UNSTATED)
            method =
                codes_method(codes, fhir_string(coding, "system"),
                             fhir_string(coding, "code"), fhir_lookup_s(c));
    }
    if (method == METHOD_UNSTATED)
        method = codes_method_text(codes, fhir_string(concept, "text"),
                                   fhir_lookup_s(c));
    if (method == METHOD_UNSTATED && concept != NULL)
        fhir_say_at(c, "method", SEV_WARNING, "code-unknown",
                    "This method is not mapped: the reading counts as one "
                    "whose method is not stated");
    return method;
}
