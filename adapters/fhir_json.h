/*
 * fhir_json - what the fhir_* readers share; private to them
 *
 *     fhir_scan.c         bytes: depth, spans, the place at an offset
 *     fhir_json.c         JSON tree, issues with their place, digest
 *     fhir_shape.c        form of every element, from fhir_shape_table.c
 *     fhir_ref.c          references, contained resources, coded concepts
 *     fhir_meaning.c      what the codings of a code mean together
 *     fhir_value.c        value[x] to readings
 *     fhir_quantity.c     numbers among them, with their unit
 *     fhir_observation.c  Observation
 *     fhir_focus.c        how it names its access
 *     fhir_resource.c     BodyStructure, Patient; form of a Task
 *     fhir_bundle.c       Bundle
 *     fhir_read.c         the way in
 *     fhir_respell.c      stored bytes with another id
 *
 * A resource is read in two steps.  The shape step looks at every element
 * that R4 defines there: kind of JSON value, nothing null or empty, dates,
 * extensions.  Only if it finds nothing does the second step decode, so that
 * the second step need not check what kind of value it holds.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_JSON_H
#define HEADGATE_ADAPTERS_FHIR_JSON_H

#include "adapters/fhir_read.h"

#include <jansson.h>

enum { FHIR_DEPTH_MAX = 64, FHIR_PLACE_SIZE = 160 };

/* ---- bytes ------------------------------------------------------------ */

struct fhir_span {
    size_t offset, len;
};

/*
 * The bytes before parsing: no NUL, not nested deeper than FHIR_DEPTH_MAX.
 *
 * ERR_FORM   a NUL byte at *at
 * ERR_LIMIT  too deep at *at
 */
MUST_CHECK enum err fhir_scan_check(const char *json, size_t len, size_t *at);

/*
 * Step through the members of an object, or the items of an array, of JSON
 * known to be valid.  Start with *at at the opening bracket; returns false
 * after the last, or where the bytes are not what was promised.
 *
 * key    the key with its quotes; may be NULL for an array
 */
bool fhir_scan_next(const char *json, size_t len, size_t *at,
                    struct fhir_span *key, struct fhir_span *value);

/* Whether a key (with quotes, escapes and all) spells name. */
bool fhir_scan_is(const char *json, struct fhir_span key, const char *name);

/* The value of a member of the object that starts at offset from. */
bool fhir_scan_member(const char *json, size_t len, size_t from,
                      const char *name, struct fhir_span *value);

/* First byte from at on that is not a blank. */
size_t fhir_scan_blank(const char *json, size_t len, size_t at);

/* ---- places ----------------------------------------------------------- */

/* A FHIRPath under construction.  What does not fit, or is not a name, is
 * left out: the place is then that of a parent. */
struct fhir_place {
    char text[FHIR_PLACE_SIZE];
    size_t len;
};

void fhir_place_start(struct fhir_place *p, const char *root);
/* Each returns where to go back to. */
size_t fhir_place_push(struct fhir_place *p, const char *key);
size_t fhir_place_index(struct fhir_place *p, size_t index);
void fhir_place_pop(struct fhir_place *p, size_t back);

/* The place of the last key or item that starts before offset at. */
void fhir_scan_place(const char *json, size_t len, size_t at,
                     struct fhir_place *p);

/* ---- one resource being read ------------------------------------------ */

struct fhir_kept; /* a block of memory that the document keeps */

struct fhir_doc {
    json_t *root;
    enum bundle_type bundle;
    struct fhir_item *items;
    size_t count;
    struct fhir_kept *kept;
};

struct fhir_ctx {
    const struct fhir_reader *reader;
    struct fhir_doc *doc;
    struct fhir_item *item;
    json_t *resource;
    struct fhir_place place;
    size_t hard;  /* errors that refuse the item whatever the caller does */
    size_t held;  /* errors that stand for the hold of a reading */
    enum err err; /* ERR_MEMORY, else ERR_OK */
};

/* Memory that lives as long as the document; NULL sets ctx->err. */
void *fhir_keep(struct fhir_ctx *c, size_t size);

/* Add an issue at the current place. */
void fhir_say(struct fhir_ctx *c, enum severity severity, const char *word,
              const char *format, ...) __attribute__((format(printf, 4, 5)));
/* The same at a member of the current place. */
void fhir_say_at(struct fhir_ctx *c, const char *key, enum severity severity,
                 const char *word, const char *format, ...)
    __attribute__((format(printf, 5, 6)));
/* Count the error just said as one that stands for a hold. */
void fhir_say_held(struct fhir_ctx *c);

/* A code or unit fit to be repeated in a text; "?" if it is not. */
const char *fhir_echo(const char *code);

/* The time by which a code is looked up: when it was measured, else now. */
int64_t fhir_lookup_s(const struct fhir_ctx *c);

/* A member that is a string; NULL if absent. */
const char *fhir_string(json_t *object, const char *key);
bool fhir_is(json_t *object, const char *key, const char *text);

/* "A-z0-9-." up to 64: FHIR's data type id. */
bool fhir_is_id(const char *text);

/* Parse a body; says what is wrong in outcome. */
MUST_CHECK enum err fhir_load(const char *json, size_t len,
                              struct outcome *outcome, json_t **root);

/* SHA-256 of a resource without id and meta. */
MUST_CHECK enum err fhir_digest(json_t *resource, unsigned char digest[32]);

/* ---- shapes ----------------------------------------------------------- */

enum fhir_shape {
    SHAPE_ANY, /* any elements */
    SHAPE_OBSERVATION,
    SHAPE_COMPONENT,
    SHAPE_REFERENCE_RANGE,
    SHAPE_BODY_STRUCTURE,
    SHAPE_PATIENT,
    SHAPE_TASK,
    SHAPE_TASK_RESTRICTION,
    SHAPE_TASK_PARAMETER, /* input, output */
    SHAPE_OTHER_RESOURCE, /* any elements beyond those of each resource */
    SHAPE_BUNDLE,
    SHAPE_ENTRY,
    SHAPE_REQUEST,
    SHAPE_CONCEPT,
    SHAPE_CODING,
    SHAPE_QUANTITY,
    SHAPE_REFERENCE,
    SHAPE_IDENTIFIER,
    SHAPE_PERIOD,
    SHAPE_RANGE,
    SHAPE_RATIO,
    SHAPE_NAME,
    SHAPE_ANNOTATION,
    SHAPE_META,
    SHAPE_EXTENSION,
    SHAPE_COUNT
};

/* Check an object against its shape, at the current place. */
void fhir_shape_check(struct fhir_ctx *c, json_t *object,
                      enum fhir_shape shape);

/*
 * The spelling of a key in a FHIRPath: "valueQuantity" is
 * "value.ofType(Quantity)", other keys are themselves.  Returns false, with
 * out as it was or spoilt, if the key is not a name or does not fit.
 */
bool fhir_shape_path(const char *key, char *out, size_t size);

/* ---- references and concepts ------------------------------------------ */

/*
 * Read a Reference at the current place.  A reference to a contained
 * resource is replaced by that one's first identifier; *contained says so.
 * Says what is wrong; the parts that are not usable stay NULL.
 */
/* A literal reference without this service's own base in front and without a
 * version behind: what it names is the same thing.  Borrowed, or kept with
 * the document; NULL for NULL and out of memory. */
const char *fhir_ref_plain(struct fhir_ctx *c, const char *literal);
void fhir_ref_read(struct fhir_ctx *c, json_t *reference, struct fhir_ref *ref,
                   bool *contained);

/* The resource type that a literal names, len 0 if it names none. */
const char *fhir_ref_type(const char *literal, size_t *len);

/* A subject or patient that we can use; says no-subject if it is not. */
void fhir_ref_patient(struct fhir_ctx *c, json_t *object, const char *key,
                      struct fhir_ref *ref);

/* Identifiers of the resource into the item. */
void fhir_read_identifiers(struct fhir_ctx *c);

/*
 * Add what a concept says of side and region to site: its codings, and its
 * exact text.  Where two sides are named the side becomes unknown, *clash is
 * set and a warning said.
 */
void fhir_read_site(struct fhir_ctx *c, json_t *concept, struct body_site *site,
                    bool *clash);

/* Does a coding of the body site say something that no map knows?  Says so. */
bool fhir_site_unmapped(struct fhir_ctx *c, json_t *concept);

/* The method of measurement: by coding, else by exact text. */
enum method fhir_read_method(struct fhir_ctx *c, json_t *concept);

/* ---- values ----------------------------------------------------------- */

/* What all readings of an Observation share. */
struct fhir_circumstances {
    enum reading_status status;
    struct fhir_time time;
    bool future;
    bool registered; /* its status says that there is no result yet */
    enum method method;
    struct body_site site;
    bool side_clash;    /* the body site names both sides */
    bool site_unmapped; /* a coding of the body site is in no map */
};

/*
 * Decode the value of the Observation (slot 0) or of a component, which is
 * the object at the current place, into a reading of the item, if it gives
 * one.  The item has room for it.
 */
void fhir_read_value(struct fhir_ctx *c, json_t *holder, int slot,
                     const struct fhir_circumstances *at);

/* What the codings of a code mean together. */
struct fhir_meaning {
    struct code_entry entry;
    bool conflict;    /* two codings mean different things */
    const char *code; /* of the first coding, for a text; NULL if none */
    const char *system;
};
struct fhir_meaning fhir_read_meaning(struct fhir_ctx *c, json_t *concept);

/* The UCUM code that a unit text means by the site's map, where a value of
 * this concept has it; NULL.  Borrowed from the map. */
const char *fhir_unit_of_text(struct fhir_ctx *c, json_t *concept,
                              const char *text);

/* ---- resources -------------------------------------------------------- */

void fhir_read_observation(struct fhir_ctx *c);
void fhir_read_body_structure(struct fhir_ctx *c);
void fhir_read_patient(struct fhir_ctx *c);
void fhir_check_task(struct fhir_ctx *c);

/* The access names of an Observation, into the item. */
void fhir_read_names(struct fhir_ctx *c);

/* Fill an item: start, then the resource, then what follows from it. */
void fhir_start(struct fhir_ctx *c, const struct fhir_reader *reader,
                struct fhir_doc *doc, struct fhir_item *item, json_t *resource);
void fhir_read_resource(struct fhir_ctx *c);
void fhir_finish(struct fhir_ctx *c);

/* Say why a body is refused; returns e. */
enum err fhir_refuse(struct outcome *outcome, enum err e, const char *word,
                     const char *place, const char *text);

/* An entry with a patch in it, at the current place. */
void fhir_read_patch(struct fhir_ctx *c, json_t *binary, json_t *request);

MUST_CHECK enum err fhir_read_bundle(const struct fhir_reader *reader,
                                     struct fhir_doc *doc, const char *body,
                                     size_t len, struct outcome *outcome);

#endif
