#include "adapters/fhir_shape.h"

#include <stdio.h>
#include <string.h>

/*
 * The form of what is read, as a table: which elements an object may have,
 * and of which JSON kind each is.  Beyond the table, everywhere: no null, no
 * empty text, list or object, each extension either a value or extensions
 * (ext-1), no modifier extension, since to ignore one may turn the meaning
 * round.
 *
 * Source: HL7 FHIR R4 (4.0.1), JSON format, data types and resources.
 */

/* The types of a choice, by the ending of the key. */
static const struct fhir_element types[] = {
    { "Quantity", OBJECT, SHAPE_QUANTITY, NULL },
    { "CodeableConcept", OBJECT, SHAPE_CONCEPT, NULL },
    { "String", STRING, SHAPE_ANY, NULL },
    { "Boolean", BOOLEAN, SHAPE_ANY, NULL },
    { "Integer", INTEGER, SHAPE_ANY, NULL },
    { "Range", OBJECT, SHAPE_RANGE, NULL },
    { "Ratio", OBJECT, SHAPE_RATIO, NULL },
    { "SampledData", OBJECT, SHAPE_ANY, NULL },
    { "Time", STRING, SHAPE_ANY, NULL },
    { "DateTime", DATETIME, SHAPE_ANY, NULL },
    { "Period", OBJECT, SHAPE_PERIOD, NULL },
    { "Timing", OBJECT, SHAPE_ANY, NULL },
    { "Instant", INSTANT, SHAPE_ANY, NULL },
    { "Reference", OBJECT, SHAPE_REFERENCE, NULL },
    { "Identifier", OBJECT, SHAPE_IDENTIFIER, NULL },
    { "Coding", OBJECT, SHAPE_CODING, NULL },
    { "Code", CODE, SHAPE_ANY, NULL },
    { "Id", ID, SHAPE_ANY, NULL },
    { "Date", DATETIME, SHAPE_ANY, NULL },
    { "Decimal", DECIMAL, SHAPE_ANY, NULL },
    { "PositiveInt", INTEGER, SHAPE_ANY, NULL },
    { "UnsignedInt", INTEGER, SHAPE_ANY, NULL },
    { "Uri", URI, SHAPE_ANY, NULL },
    { "Url", URI, SHAPE_ANY, NULL },
    { "Canonical", URI, SHAPE_ANY, NULL },
    { "Oid", URI, SHAPE_ANY, NULL },
    { "Uuid", URI, SHAPE_ANY, NULL },
    { "Markdown", STRING, SHAPE_ANY, NULL },
    { "Base64Binary", STRING, SHAPE_ANY, NULL },
    { "Address", OBJECT, SHAPE_ANY, NULL },
    { "Age", OBJECT, SHAPE_QUANTITY, NULL },
    { "Annotation", OBJECT, SHAPE_ANNOTATION, NULL },
    { "Attachment", OBJECT, SHAPE_ANY, NULL },
    { "ContactPoint", OBJECT, SHAPE_ANY, NULL },
    { "Count", OBJECT, SHAPE_QUANTITY, NULL },
    { "Distance", OBJECT, SHAPE_QUANTITY, NULL },
    { "Duration", OBJECT, SHAPE_QUANTITY, NULL },
    { "HumanName", OBJECT, SHAPE_NAME, NULL },
    { "Money", OBJECT, SHAPE_ANY, NULL },
    { "Signature", OBJECT, SHAPE_ANY, NULL },
    { "ContactDetail", OBJECT, SHAPE_ANY, NULL },
    { "Contributor", OBJECT, SHAPE_ANY, NULL },
    { "DataRequirement", OBJECT, SHAPE_ANY, NULL },
    { "Expression", OBJECT, SHAPE_ANY, NULL },
    { "ParameterDefinition", OBJECT, SHAPE_ANY, NULL },
    { "RelatedArtifact", OBJECT, SHAPE_ANY, NULL },
    { "TriggerDefinition", OBJECT, SHAPE_ANY, NULL },
    { "UsageContext", OBJECT, SHAPE_ANY, NULL },
    { "Dosage", OBJECT, SHAPE_ANY, NULL },
    { "Meta", OBJECT, SHAPE_META, NULL },
};

/* Elements that every object, and every resource, may have. */
static const struct fhir_element common[] = {
    { "id", STRING, SHAPE_ANY, NULL },
    { "extension", LIST, SHAPE_EXTENSION, NULL },
    { "modifierExtension", MODIFIER, SHAPE_ANY, NULL },
};
static const struct fhir_element resource[] = {
    { "resourceType", CODE, SHAPE_ANY, NULL },
    { "id", ID, SHAPE_ANY, NULL },
    { "meta", OBJECT, SHAPE_META, NULL },
    { "implicitRules", MODIFIER, SHAPE_ANY, NULL },
    { "language", CODE, SHAPE_ANY, NULL },
    { "text", OBJECT, SHAPE_ANY, NULL },
    { "contained", RESOURCES, SHAPE_ANY, NULL },
};

#define VALUE_TYPES                                                            \
    "Quantity CodeableConcept String Boolean Integer Range Ratio SampledData " \
    "Time DateTime Period"

static const struct fhir_element observation[] = {
    { "identifier", LIST, SHAPE_IDENTIFIER, NULL },
    { "basedOn", LIST, SHAPE_REFERENCE, NULL },
    { "partOf", LIST, SHAPE_REFERENCE, NULL },
    { "status", CODE, SHAPE_ANY, NULL },
    { "category", LIST, SHAPE_CONCEPT, NULL },
    { "code", OBJECT, SHAPE_CONCEPT, NULL },
    { "subject", OBJECT, SHAPE_REFERENCE, NULL },
    { "focus", LIST, SHAPE_REFERENCE, NULL },
    { "encounter", OBJECT, SHAPE_REFERENCE, NULL },
    { "effective", CHOICE, SHAPE_ANY, "DateTime Period Timing Instant" },
    { "issued", INSTANT, SHAPE_ANY, NULL },
    { "performer", LIST, SHAPE_REFERENCE, NULL },
    { "value", CHOICE, SHAPE_ANY, VALUE_TYPES },
    { "dataAbsentReason", OBJECT, SHAPE_CONCEPT, NULL },
    { "interpretation", LIST, SHAPE_CONCEPT, NULL },
    { "note", LIST, SHAPE_ANNOTATION, NULL },
    { "bodySite", OBJECT, SHAPE_CONCEPT, NULL },
    { "method", OBJECT, SHAPE_CONCEPT, NULL },
    { "specimen", OBJECT, SHAPE_REFERENCE, NULL },
    { "device", OBJECT, SHAPE_REFERENCE, NULL },
    { "referenceRange", LIST, SHAPE_REFERENCE_RANGE, NULL },
    { "hasMember", LIST, SHAPE_REFERENCE, NULL },
    { "derivedFrom", LIST, SHAPE_REFERENCE, NULL },
    { "component", LIST, SHAPE_COMPONENT, NULL },
};
static const struct fhir_element component[] = {
    { "code", OBJECT, SHAPE_CONCEPT, NULL },
    { "value", CHOICE, SHAPE_ANY, VALUE_TYPES },
    { "dataAbsentReason", OBJECT, SHAPE_CONCEPT, NULL },
    { "interpretation", LIST, SHAPE_CONCEPT, NULL },
    { "referenceRange", LIST, SHAPE_REFERENCE_RANGE, NULL },
};
static const struct fhir_element reference_range[] = {
    { "low", OBJECT, SHAPE_QUANTITY, NULL },
    { "high", OBJECT, SHAPE_QUANTITY, NULL },
    { "type", OBJECT, SHAPE_CONCEPT, NULL },
    { "appliesTo", LIST, SHAPE_CONCEPT, NULL },
    { "age", OBJECT, SHAPE_RANGE, NULL },
    { "text", STRING, SHAPE_ANY, NULL },
};
static const struct fhir_element body_structure[] = {
    { "identifier", LIST, SHAPE_IDENTIFIER, NULL },
    { "active", BOOLEAN, SHAPE_ANY, NULL },
    { "morphology", OBJECT, SHAPE_CONCEPT, NULL },
    { "location", OBJECT, SHAPE_CONCEPT, NULL },
    { "locationQualifier", LIST, SHAPE_CONCEPT, NULL },
    { "description", STRING, SHAPE_ANY, NULL },
    { "image", LIST, SHAPE_ANY, NULL },
    { "patient", OBJECT, SHAPE_REFERENCE, NULL },
};
static const struct fhir_element patient[] = {
    { "identifier", LIST, SHAPE_IDENTIFIER, NULL },
    { "active", BOOLEAN, SHAPE_ANY, NULL },
    { "name", LIST, SHAPE_NAME, NULL },
    { "telecom", LIST, SHAPE_ANY, NULL },
    { "gender", CODE, SHAPE_ANY, NULL },
    { "birthDate", DATETIME, SHAPE_ANY, NULL },
    { "deceased", CHOICE, SHAPE_ANY, "Boolean DateTime" },
    { "address", LIST, SHAPE_ANY, NULL },
    { "maritalStatus", OBJECT, SHAPE_CONCEPT, NULL },
    { "multipleBirth", CHOICE, SHAPE_ANY, "Boolean Integer" },
    { "photo", LIST, SHAPE_ANY, NULL },
    { "contact", LIST, SHAPE_ANY, NULL },
    { "communication", LIST, SHAPE_ANY, NULL },
    { "generalPractitioner", LIST, SHAPE_REFERENCE, NULL },
    { "managingOrganization", OBJECT, SHAPE_REFERENCE, NULL },
    { "link", LIST, SHAPE_ANY, NULL },
};
static const struct fhir_element task[] = {
    { "identifier", LIST, SHAPE_IDENTIFIER, NULL },
    { "instantiatesCanonical", URI, SHAPE_ANY, NULL },
    { "instantiatesUri", URI, SHAPE_ANY, NULL },
    { "basedOn", LIST, SHAPE_REFERENCE, NULL },
    { "groupIdentifier", OBJECT, SHAPE_IDENTIFIER, NULL },
    { "partOf", LIST, SHAPE_REFERENCE, NULL },
    { "status", CODE, SHAPE_ANY, NULL },
    { "statusReason", OBJECT, SHAPE_CONCEPT, NULL },
    { "businessStatus", OBJECT, SHAPE_CONCEPT, NULL },
    { "intent", CODE, SHAPE_ANY, NULL },
    { "priority", CODE, SHAPE_ANY, NULL },
    { "code", OBJECT, SHAPE_CONCEPT, NULL },
    { "description", STRING, SHAPE_ANY, NULL },
    { "focus", OBJECT, SHAPE_REFERENCE, NULL },
    { "for", OBJECT, SHAPE_REFERENCE, NULL },
    { "encounter", OBJECT, SHAPE_REFERENCE, NULL },
    { "executionPeriod", OBJECT, SHAPE_PERIOD, NULL },
    { "authoredOn", DATETIME, SHAPE_ANY, NULL },
    { "lastModified", DATETIME, SHAPE_ANY, NULL },
    { "requester", OBJECT, SHAPE_REFERENCE, NULL },
    { "performerType", LIST, SHAPE_CONCEPT, NULL },
    { "owner", OBJECT, SHAPE_REFERENCE, NULL },
    { "location", OBJECT, SHAPE_REFERENCE, NULL },
    { "reasonCode", OBJECT, SHAPE_CONCEPT, NULL },
    { "reasonReference", OBJECT, SHAPE_REFERENCE, NULL },
    { "insurance", LIST, SHAPE_REFERENCE, NULL },
    { "note", LIST, SHAPE_ANNOTATION, NULL },
    { "relevantHistory", LIST, SHAPE_REFERENCE, NULL },
    { "restriction", OBJECT, SHAPE_TASK_RESTRICTION, NULL },
    { "input", LIST, SHAPE_TASK_PARAMETER, NULL },
    { "output", LIST, SHAPE_TASK_PARAMETER, NULL },
};
static const struct fhir_element task_restriction[] = {
    { "repetitions", INTEGER, SHAPE_ANY, NULL },
    { "period", OBJECT, SHAPE_PERIOD, NULL },
    { "recipient", LIST, SHAPE_REFERENCE, NULL },
};
static const struct fhir_element task_parameter[] = {
    { "type", OBJECT, SHAPE_CONCEPT, NULL },
    { "value", CHOICE, SHAPE_ANY, NULL },
};
static const struct fhir_element bundle[] = {
    { "identifier", OBJECT, SHAPE_IDENTIFIER, NULL },
    { "type", CODE, SHAPE_ANY, NULL },
    { "timestamp", INSTANT, SHAPE_ANY, NULL },
    { "total", INTEGER, SHAPE_ANY, NULL },
    { "link", LIST, SHAPE_ANY, NULL },
    { "entry", SKIP, SHAPE_ANY, NULL },
    { "signature", OBJECT, SHAPE_ANY, NULL },
};
static const struct fhir_element entry[] = {
    { "link", LIST, SHAPE_ANY, NULL },
    { "fullUrl", URI, SHAPE_ANY, NULL },
    { "resource", SKIP, SHAPE_ANY, NULL },
    { "search", OBJECT, SHAPE_ANY, NULL },
    { "request", OBJECT, SHAPE_REQUEST, NULL },
    { "response", OBJECT, SHAPE_ANY, NULL },
};
static const struct fhir_element request[] = {
    { "method", CODE, SHAPE_ANY, NULL },
    { "url", URI, SHAPE_ANY, NULL },
    { "ifNoneMatch", STRING, SHAPE_ANY, NULL },
    { "ifModifiedSince", INSTANT, SHAPE_ANY, NULL },
    { "ifMatch", STRING, SHAPE_ANY, NULL },
    { "ifNoneExist", STRING, SHAPE_ANY, NULL },
};
static const struct fhir_element concept[] = {
    { "coding", LIST, SHAPE_CODING, NULL },
    { "text", STRING, SHAPE_ANY, NULL },
};
static const struct fhir_element coding[] = {
    { "system", URI, SHAPE_ANY, NULL },
    { "version", STRING, SHAPE_ANY, NULL },
    { "code", CODE, SHAPE_ANY, NULL },
    { "display", STRING, SHAPE_ANY, NULL },
    { "userSelected", BOOLEAN, SHAPE_ANY, NULL },
};
static const struct fhir_element quantity[] = {
    { "value", DECIMAL, SHAPE_ANY, NULL },
    { "comparator", CODE, SHAPE_ANY, NULL },
    { "unit", STRING, SHAPE_ANY, NULL },
    { "system", URI, SHAPE_ANY, NULL },
    { "code", CODE, SHAPE_ANY, NULL },
};
static const struct fhir_element reference[] = {
    { "reference", STRING, SHAPE_ANY, NULL },
    { "type", URI, SHAPE_ANY, NULL },
    { "identifier", OBJECT, SHAPE_IDENTIFIER, NULL },
    { "display", STRING, SHAPE_ANY, NULL },
};
static const struct fhir_element identifier[] = {
    { "use", CODE, SHAPE_ANY, NULL },
    { "type", OBJECT, SHAPE_CONCEPT, NULL },
    { "system", URI, SHAPE_ANY, NULL },
    { "value", STRING, SHAPE_ANY, NULL },
    { "period", OBJECT, SHAPE_PERIOD, NULL },
    { "assigner", OBJECT, SHAPE_REFERENCE, NULL },
};
static const struct fhir_element period[] = {
    { "start", DATETIME, SHAPE_ANY, NULL },
    { "end", DATETIME, SHAPE_ANY, NULL },
};
static const struct fhir_element range[] = {
    { "low", OBJECT, SHAPE_QUANTITY, NULL },
    { "high", OBJECT, SHAPE_QUANTITY, NULL },
};
static const struct fhir_element ratio[] = {
    { "numerator", OBJECT, SHAPE_QUANTITY, NULL },
    { "denominator", OBJECT, SHAPE_QUANTITY, NULL },
};
static const struct fhir_element name[] = {
    { "use", CODE, SHAPE_ANY, NULL },
    { "text", STRING, SHAPE_ANY, NULL },
    { "family", STRING, SHAPE_ANY, NULL },
    { "given", STRINGS, SHAPE_ANY, NULL },
    { "prefix", STRINGS, SHAPE_ANY, NULL },
    { "suffix", STRINGS, SHAPE_ANY, NULL },
    { "period", OBJECT, SHAPE_PERIOD, NULL },
};
static const struct fhir_element annotation[] = {
    { "author", CHOICE, SHAPE_ANY, "Reference String" },
    { "time", DATETIME, SHAPE_ANY, NULL },
    { "text", STRING, SHAPE_ANY, NULL },
};
static const struct fhir_element meta[] = {
    { "versionId", ID, SHAPE_ANY, NULL },
    { "lastUpdated", INSTANT, SHAPE_ANY, NULL },
    { "source", URI, SHAPE_ANY, NULL },
    { "profile", STRINGS, SHAPE_ANY, NULL },
    { "security", LIST, SHAPE_CODING, NULL },
    { "tag", LIST, SHAPE_CODING, NULL },
};
static const struct fhir_element extension[] = {
    { "url", URI, SHAPE_ANY, NULL },
    { "value", CHOICE, SHAPE_ANY, NULL },
};

#define SHAPE(rows, is_resource, is_open)                                      \
    {                                                                          \
        rows, COUNT(rows), is_resource, is_open                                \
    }

static const struct {
    const struct fhir_element *elements;
    size_t count;
    bool is_resource;
    bool is_open; /* may have elements beyond these */
} shapes[SHAPE_COUNT] = {
    [SHAPE_ANY] = { NULL, 0, false, true },
    [SHAPE_OBSERVATION] = SHAPE(observation, true, false),
    [SHAPE_COMPONENT] = SHAPE(component, false, false),
    [SHAPE_REFERENCE_RANGE] = SHAPE(reference_range, false, false),
    [SHAPE_BODY_STRUCTURE] = SHAPE(body_structure, true, false),
    [SHAPE_PATIENT] = SHAPE(patient, true, false),
    [SHAPE_TASK] = SHAPE(task, true, false),
    [SHAPE_TASK_RESTRICTION] = SHAPE(task_restriction, false, false),
    [SHAPE_TASK_PARAMETER] = SHAPE(task_parameter, false, false),
    [SHAPE_OTHER_RESOURCE] = { NULL, 0, true, true },
    [SHAPE_BUNDLE] = SHAPE(bundle, true, false),
    [SHAPE_ENTRY] = SHAPE(entry, false, false),
    [SHAPE_REQUEST] = SHAPE(request, false, false),
    [SHAPE_CONCEPT] = SHAPE(concept, false, false),
    [SHAPE_CODING] = SHAPE(coding, false, false),
    [SHAPE_QUANTITY] = SHAPE(quantity, false, false),
    [SHAPE_REFERENCE] = SHAPE(reference, false, false),
    [SHAPE_IDENTIFIER] = SHAPE(identifier, false, false),
    [SHAPE_PERIOD] = SHAPE(period, false, false),
    [SHAPE_RANGE] = SHAPE(range, false, false),
    [SHAPE_RATIO] = SHAPE(ratio, false, false),
    [SHAPE_NAME] = SHAPE(name, false, false),
    [SHAPE_ANNOTATION] = SHAPE(annotation, false, false),
    [SHAPE_META] = SHAPE(meta, false, false),
    [SHAPE_EXTENSION] = SHAPE(extension, false, false),
};

/* Whether a word stands in a list of words with one blank between. */
static bool listed(const char *words, const char *word)
{
    size_t len = strlen(word);

    while (words != NULL && *words != '\0') {
        size_t n = strcspn(words, " ");

        if (n == len && memcmp(words, word, n) == 0)
            return true;
        words += n + (words[n] == ' ' ? 1 : 0);
    }
    return false;
}

static const struct fhir_element *find_type(const char *ending)
{
    for (size_t i = 0; i < COUNT(types); i++) {
        if (strcmp(types[i].name, ending) == 0)
            return &types[i];
    }
    return NULL;
}

static const struct fhir_element *find_in(const struct fhir_element *rows,
                                          size_t count, const char *key,
                                          size_t *stem_len)
{
    for (size_t i = 0; i < count; i++) {
        size_t len;

        if (rows[i].name[0] != key[0]) /* most rows, without a call */
            continue;
        len = strlen(rows[i].name);
        if (strncmp(rows[i].name, key, len) != 0)
            continue;
        if (key[len] == '\0' && rows[i].kind != CHOICE)
            return &rows[i];
        if (rows[i].kind == CHOICE && find_type(key + len) != NULL &&
            (rows[i].types == NULL || listed(rows[i].types, key + len))) {
            *stem_len = len;
            return find_type(key + len);
        }
    }
    return NULL;
}

const struct fhir_element *fhir_shape_find(enum fhir_shape shape,
                                           const char *key, size_t *stem_len)
{
    const struct fhir_element *row;

    *stem_len = 0;
    row = find_in(shapes[shape].elements, shapes[shape].count, key, stem_len);
    if (row == NULL && shapes[shape].is_resource)
        row = find_in(resource, COUNT(resource), key, stem_len);
    if (row == NULL)
        row = find_in(common, COUNT(common), key, stem_len);
    return row;
}

bool fhir_shape_is_open(enum fhir_shape shape)
{
    return shapes[shape].is_open;
}

/* The length of a name: letters, then digits too; 0 if it is not one. */
static size_t name_len(const char *key)
{
    size_t len = 0;

    for (; key[len] != '\0'; len++) {
        bool letter = (key[len] >= 'a' && key[len] <= 'z') ||
                      (key[len] >= 'A' && key[len] <= 'Z');

        if (!letter && !(len > 0 && key[len] >= '0' && key[len] <= '9'))
            return 0;
    }
    return len < 48 ? len : 0;
}

/* The type that the ending of a key names, if its stem is a choice. */
static const struct fhir_element *choice_of(const char *key, size_t *stem)
{
    static const char *const stems[] = { "value", "effective", "author",
                                         "deceased", "multipleBirth" };

    for (size_t i = 0; i < COUNT(stems); i++) {
        *stem = strlen(stems[i]);
        if (stems[i][0] == key[0] && strncmp(stems[i], key, *stem) == 0)
            return find_type(key + *stem);
    }
    return NULL;
}

bool fhir_shape_path(const char *key, char *out, size_t size)
{
    const struct fhir_element *type;
    size_t len, stem;
    char first;
    int n;

    key += key[0] == '_' ? 1 : 0;
    len = name_len(key);
    if (len == 0 || len >= size)
        return false;
    type = choice_of(key, &stem);
    if (type == NULL) {
        memcpy(out, key, len + 1);
        return true;
    }
    first = type->name[0];
    if (type->kind != OBJECT) /* names of primitive types start small */
        first = (char)(first - 'A' + 'a');
    n = snprintf(out, size, "%.*s.ofType(%c%s)", (int)stem, key, first,
                 type->name + 1);
    return n > 0 && (size_t)n < size;
}
