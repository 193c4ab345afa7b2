#include "adapters/fhir_sample.h"

#include "adapters/fhir_json.h"
#include "adapters/units.h"

#include <stdlib.h>
#include <string.h>

/* As much as a map may hold of exact words, see codes_rows.h. */
enum { FHIR_SAMPLE_WORDS_MAX = 127 };

/* One resource being looked at. */
struct look {
    struct sample_reader *sample;
    struct fhir_ctx c;
    char site[CODES_SITE_SIZE]; /* word of the newest body site */
};

static const char *or_empty(const char *text)
{
    return text != NULL ? text : "";
}

/* ---- what a coding means --------------------------------------------------- */

/* The word of what a coding of this kind is mapped to; "" nothing. */
static const char *target_of(struct look *l, enum sample_kind kind,
                             enum quantity q, const char *system,
                             const char *code)
{
    const struct codes *codes = l->c.reader->codes;
    int64_t at_s = fhir_lookup_s(&l->c);
    bool text = system != NULL && strcmp(system, CODES_TEXT) == 0;
    struct body_site site;
    struct code_entry entry;
    enum method m;
    enum sign s;

    switch (kind) {
    case SAMPLE_CODE:
        entry = codes_find(codes, system, code, at_s);
        return codes_entry_word(&entry);
    case SAMPLE_VALUE:
        s = codes_sign(codes, q, system, code, at_s);
        if (s != SIGN_NONE)
            return sign_info(s)->code;
        break;
    case SAMPLE_METHOD:
        m = text ? codes_method_text(codes, code, at_s)
                 : codes_method(codes, system, code, at_s);
        if (m != METHOD_UNSTATED)
            return method_code(m);
        break;
    case SAMPLE_SITE:
        l->site[0] = '\0';
        site = text ? codes_site_text(codes, code, at_s)
                    : codes_site(codes, system, code, at_s);
        codes_site_word(&site, l->site);
        if (l->site[0] != '\0')
            return l->site;
        break;
    case SAMPLE_KIND_COUNT:
        break;
    }
    return codes_listed(codes, system, code, at_s) ? "ignore" : "";
}

/* ---- a concept --------------------------------------------------------------- */

static void tell(struct look *l, struct sample_use *use, json_t *coding,
                 enum quantity q)
{
    const char *system = fhir_string(coding, "system");
    const char *code = fhir_string(coding, "code");

    use->system = or_empty(system);
    use->code = or_empty(code);
    use->display = fhir_string(coding, "display");
    use->target = target_of(l, use->kind, q, system, code);
    l->sample->on_use(l->sample->arg, use);
}

static bool is_mapped(struct look *l, enum sample_kind kind, enum quantity q,
                      json_t *coding)
{
    return target_of(l, kind, q, fhir_string(coding, "system"),
                     fhir_string(coding, "code"))[0] != '\0';
}

/* Words of a body site or method, told as a coding of CODES_TEXT. */
static bool tell_text(struct look *l, enum sample_kind kind, json_t *concept,
                      bool resolved)
{
    const char *text = fhir_string(concept, "text");
    struct sample_use use = {
        .kind = kind, .system = CODES_TEXT, .code = text, .unit = ""
    };

    /* longer words are never looked up, and are a remark rather than a name */
    if (text == NULL || strlen(text) > FHIR_SAMPLE_WORDS_MAX ||
        (kind != SAMPLE_METHOD && kind != SAMPLE_SITE))
        return false;
    use.target = target_of(l, kind, Q_NONE, CODES_TEXT, text);
    /* the location of an access is its label: every one has another */
    use.missing = !resolved && use.target[0] == '\0' &&
                  l->c.item->type == FHIR_OBSERVATION &&
                  json_array_size(json_object_get(concept, "coding")) == 0;
    /* beside a coding that says it, words are for people */
    if (use.target[0] != '\0' || use.missing)
        l->sample->on_use(l->sample->arg, &use);
    return use.target[0] != '\0';
}

/* All codings of a concept; like is what their uses share. */
static void look_at_concept(struct look *l, json_t *concept,
                            const struct sample_use *like, enum quantity q)
{
    json_t *codings = json_object_get(concept, "coding");
    bool resolved = false;
    json_t *coding;
    size_t i;

    if (!json_is_object(concept))
        return;
    json_array_foreach(codings, i, coding)
    {
        resolved = resolved || is_mapped(l, like->kind, q, coding);
    }
    resolved = tell_text(l, like->kind, concept, resolved) || resolved;
    json_array_foreach(codings, i, coding)
    {
        struct sample_use use = *like;

        use.missing = !resolved && i == 0;
        if (i > 0)
            use.unit_kind = SAMPLE_NO_NUMBER; /* counted at the first */
        tell(l, &use, coding, q);
    }
    if (json_array_size(codings) == 0 && like->kind == SAMPLE_CODE) {
        struct sample_use use = *like;

        use.missing = true;
        tell(l, &use, NULL, q);
    }
}

static void look_at(struct look *l, enum sample_kind kind, json_t *concept,
                    enum quantity q)
{
    struct sample_use like = { .kind = kind, .unit = "" };

    look_at_concept(l, concept, &like, q);
}

/* ---- a value -------------------------------------------------------------------- */

bool fhir_sample_fits(const struct code_entry *entry, const char *ucum)
{
    double value;

    return entry->meaning == CODE_QUANTITY && ucum != NULL &&
           quantity_info(entry->quantity)->kind == VALUE_NUMBER &&
           units_convert(entry->quantity, ucum, strlen(ucum), 1, &value) ==
               ERR_OK;
}

static void read_unit(struct look *l, const struct code_entry *entry,
                      json_t *holder, struct sample_use *use)
{
    json_t *quantity = json_object_get(holder, "valueQuantity");
    const char *code = fhir_string(quantity, "code");
    const char *text = fhir_string(quantity, "unit");

    if (!json_is_number(json_object_get(quantity, "value")))
        return;
    if (code != NULL && fhir_is(quantity, "system", CODES_UCUM)) {
        use->unit_kind = SAMPLE_UNIT_CODE;
        use->read_as = units_listed(code, strlen(code)) ? code : NULL;
    } else if (code != NULL) {
        use->unit_kind = SAMPLE_UNIT_OTHER;
    } else if (text != NULL) {
        use->unit_kind = SAMPLE_UNIT_TEXT;
        if (units_of_text(text, strlen(text), &use->read_as) != ERR_OK)
            use->read_as =
                fhir_unit_of_text(&l->c, json_object_get(holder, "code"), text);
    } else {
        use->unit_kind = SAMPLE_UNIT_NONE;
        use->read_as = entry->unit;
    }
    use->unit = code != NULL ? code : or_empty(text);
    use->fits = fhir_sample_fits(entry, use->read_as);
}

/* Is the issue said of the holder in this slot? */
static bool is_of_slot(const struct issue *issue, int slot)
{
    static const char component[] = "Observation.component[";
    size_t len = strlen(component);
    bool of_component = strncmp(issue->place, component, len) == 0;

    if (slot == 0)
        return !of_component;
    return of_component &&
           strtol(issue->place + len, NULL, 10) == (long)slot - 1;
}

static void add_word(struct sample_use *use, const char *word)
{
    for (size_t i = 0; i < use->word_count; i++) {
        if (strcmp(use->words[i], word) == 0)
            return;
    }
    if (use->word_count < SAMPLE_WORDS_MAX)
        use->words[use->word_count++] = word;
}

static void read_fate(struct look *l, int slot, struct sample_use *use)
{
    const struct fhir_item *item = l->c.item;
    const struct fhir_observation *o = &item->u.observation;

    for (size_t i = 0; i < o->reading_count; i++) {
        if (o->readings[i].reading.slot == slot)
            use->hold = o->readings[i].hold;
    }
    for (size_t i = 0; i < item->outcome.count; i++) {
        if (is_of_slot(&item->outcome.issues[i], slot))
            add_word(use, item->outcome.issues[i].word);
    }
}

/* The Observation itself (slot 0) or a component. */
static void look_at_value(struct look *l, json_t *holder, int slot)
{
    json_t *code = json_object_get(holder, "code");
    json_t *value = json_object_get(holder, "valueCodeableConcept");
    struct fhir_meaning m = fhir_read_meaning(&l->c, code);
    struct sample_use use = { .kind = SAMPLE_CODE, .unit = "" };

    read_unit(l, &m.entry, holder, &use);
    if (json_is_integer(json_object_get(holder, "valueInteger")) &&
        m.entry.meaning == CODE_QUANTITY) {
        use.unit_kind = SAMPLE_UNIT_NONE;
        use.read_as = m.entry.unit;
        if (use.read_as == NULL &&
            strcmp(quantity_info(m.entry.quantity)->unit, "1") == 0)
            use.read_as = "1";
        use.fits = fhir_sample_fits(&m.entry, use.read_as);
    }
    read_fate(l, slot, &use);
    look_at_concept(l, code, &use, Q_NONE);
    /* of a code that is not used its values need no row */
    if (m.entry.meaning == CODE_QUANTITY &&
        quantity_info(m.entry.quantity)->kind == VALUE_CODE)
        look_at(l, SAMPLE_VALUE, value, m.entry.quantity);
}

/* ---- resources --------------------------------------------------------------------- */

static void look_at_observation(struct look *l, json_t *o)
{
    json_t *component;
    size_t i;

    l->sample->observations++;
    look_at_value(l, o, 0);
    json_array_foreach(json_object_get(o, "component"), i, component)
    {
        look_at_value(l, component, (int)i + 1);
    }
    look_at(l, SAMPLE_METHOD, json_object_get(o, "method"), Q_NONE);
    look_at(l, SAMPLE_SITE, json_object_get(o, "bodySite"), Q_NONE);
}

static void look_at_access(struct look *l, json_t *b)
{
    json_t *qualifier;
    size_t i;

    l->sample->accesses++;
    look_at(l, SAMPLE_VALUE, json_object_get(b, "morphology"), Q_ACCESS_TYPE);
    look_at(l, SAMPLE_SITE, json_object_get(b, "location"), Q_NONE);
    json_array_foreach(json_object_get(b, "locationQualifier"), i, qualifier)
    {
        look_at(l, SAMPLE_SITE, qualifier, Q_NONE);
    }
}

/* "Observation.component[3].code" without its numbers. */
static void place_of(const struct issue *issue, char out[sizeof(issue->place)])
{
    size_t len = 0;
    bool inside = false;

    for (const char *p = issue->place; *p != '\0'; p++) {
        inside = *p == '[' || (inside && *p != ']');
        if (!inside && *p != ']')
            out[len++] = *p;
    }
    out[len] = '\0';
}

static void tell_refused(struct look *l)
{
    const struct fhir_item *item = l->c.item;
    char place[sizeof(item->outcome.issues[0].place)];

    if (!outcome_refuses(&item->outcome) || item->only_held)
        return;
    l->sample->refused++;
    for (size_t i = 0; i < item->outcome.count; i++) {
        const struct issue *issue = &item->outcome.issues[i];

        if (issue->severity < SEV_ERROR)
            continue;
        place_of(issue, place);
        l->sample->on_refused(l->sample->arg, issue->word, place);
    }
}

/* As if it had come alone. */
static enum err look_at_resource(struct sample_reader *sample, json_t *resource)
{
    bool observation = fhir_is(resource, "resourceType", "Observation");
    char *text;
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    struct look l = { .sample = sample };
    enum err e;

    if (!observation && !fhir_is(resource, "resourceType", "BodyStructure")) {
        sample->others++;
        return ERR_OK;
    }
    text = json_dumps(resource, JSON_COMPACT | JSON_REAL_PRECISION(17));
    if (text == NULL)
        return ERR_MEMORY;
    outcome_init(&outcome);
    e = fhir_read(sample->reader, text, strlen(text), &outcome, &doc);
    if (e == ERR_OK) {
        l.c = (struct fhir_ctx){ .reader = sample->reader,
                                 .doc = doc,
                                 .item = fhir_doc_item(doc, 0),
                                 .resource = doc->root };
        if (observation)
            look_at_observation(&l, doc->root);
        else
            look_at_access(&l, doc->root);
        tell_refused(&l);
        fhir_doc_free(doc);
    }
    free(text);
    return e;
}

enum err fhir_sample_read(struct sample_reader *sample, const char *json,
                          size_t len)
{
    struct outcome outcome;
    json_t *root = NULL, *entry;
    size_t i;
    enum err e;

    outcome_init(&outcome);
    e = fhir_load(json, len, &outcome, &root);
    if (e != ERR_OK)
        return e == ERR_MEMORY ? e : ERR_FORM;
    if (fhir_string(root, "resourceType") == NULL) {
        e = ERR_FORM;
    } else if (fhir_is(root, "resourceType", "Bundle")) {
        json_array_foreach(json_object_get(root, "entry"), i, entry)
        {
            if (e == ERR_OK)
                e = look_at_resource(sample,
                                     json_object_get(entry, "resource"));
        }
    } else {
        e = look_at_resource(sample, root);
    }
    json_decref(root);
    return e;
}
