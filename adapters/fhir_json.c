#include "adapters/fhir_json.h"

#include <openssl/evp.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- places ----------------------------------------------------------- */

void fhir_place_start(struct fhir_place *p, const char *root)
{
    snprintf(p->text, sizeof(p->text), "%s", root);
    p->len = strlen(p->text);
}

/*
 * A place is kept for each element that is looked at, and is seldom read: so
 * it is put together without a call to printf.
 */
size_t fhir_place_push(struct fhir_place *p, const char *key)
{
    size_t back = p->len, dot = back > 0 ? 1 : 0;

    if (back + dot >= sizeof(p->text) ||
        !fhir_shape_path(key, p->text + back + dot,
                         sizeof(p->text) - back - dot)) {
        p->text[back] = '\0';
        return back;
    }
    if (dot > 0)
        p->text[back] = '.';
    p->len += dot + strlen(p->text + back + dot);
    return back;
}

size_t fhir_place_index(struct fhir_place *p, size_t index)
{
    char text[24];
    size_t back = p->len, at = sizeof(text);

    text[--at] = '\0';
    text[--at] = ']';
    do {
        text[--at] = (char)('0' + index % 10);
        index /= 10;
    } while (index > 0);
    text[--at] = '[';
    if (sizeof(text) - at <= sizeof(p->text) - back) {
        memcpy(p->text + back, text + at, sizeof(text) - at);
        p->len += sizeof(text) - at - 1;
    }
    return back;
}

void fhir_place_pop(struct fhir_place *p, size_t back)
{
    p->len = back;
    p->text[back] = '\0';
}

/* ---- issues ----------------------------------------------------------- */

static void say(struct fhir_ctx *c, enum severity severity, const char *word,
                const char *text)
{
    outcome_add(&c->item->outcome, severity, word, c->place.text, "%s", text);
    if (severity >= SEV_ERROR)
        c->hard++;
}

void fhir_say(struct fhir_ctx *c, enum severity severity, const char *word,
              const char *format, ...)
{
    char text[OUTCOME_TEXT_SIZE];
    va_list ap;

    va_start(ap, format);
    vsnprintf(text, sizeof(text), format, ap);
    va_end(ap);
    say(c, severity, word, text);
}

void fhir_say_at(struct fhir_ctx *c, const char *key, enum severity severity,
                 const char *word, const char *format, ...)
{
    size_t back = fhir_place_push(&c->place, key);
    char text[OUTCOME_TEXT_SIZE];
    va_list ap;

    va_start(ap, format);
    vsnprintf(text, sizeof(text), format, ap);
    va_end(ap);
    say(c, severity, word, text);
    fhir_place_pop(&c->place, back);
}

void fhir_say_held(struct fhir_ctx *c)
{
    c->hard--;
    c->held++;
}

const char *fhir_echo(const char *code)
{
    size_t len = code != NULL ? strlen(code) : 0;

    if (len == 0 || len > 32)
        return "?";
    for (size_t i = 0; i < len; i++) {
        if (code[i] < ' ' || code[i] > '~')
            return "?";
    }
    return code;
}

/* ---- memory ----------------------------------------------------------- */

struct fhir_kept {
    struct fhir_kept *next;
    max_align_t data[];
};

void *fhir_keep(struct fhir_ctx *c, size_t size)
{
    struct fhir_kept *kept = calloc(1, sizeof(*kept) + size);

    if (kept == NULL) {
        c->err = ERR_MEMORY;
        return NULL;
    }
    kept->next = c->doc->kept;
    c->doc->kept = kept;
    return kept->data;
}

void fhir_doc_free(struct fhir_doc *doc)
{
    if (doc == NULL)
        return;
    while (doc->kept != NULL) {
        struct fhir_kept *kept = doc->kept;

        doc->kept = kept->next;
        free(kept);
    }
    free(doc->items);
    json_decref(doc->root);
    free(doc);
}

/* ---- strings ---------------------------------------------------------- */

int64_t fhir_lookup_s(const struct fhir_ctx *c)
{
    const struct fhir_time *time = &c->item->u.observation.effective;

    if (c->item->type == FHIR_OBSERVATION &&
        (time->start_s != 0 || time->end_s != 0))
        return time->start_s;
    return c->reader->now_s;
}

const char *fhir_string(json_t *object, const char *key)
{
    return json_string_value(json_object_get(object, key));
}

bool fhir_is(json_t *object, const char *key, const char *text)
{
    const char *value = fhir_string(object, key);

    return value != NULL && strcmp(value, text) == 0;
}

bool fhir_is_id(const char *text)
{
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                  "abcdefghijklmnopqrstuvwxyz0123456789-.";
    size_t len = strlen(text);

    return len >= 1 && len <= 64 && strspn(text, allowed) == len;
}

/* ---- memory of the JSON library ---------------------------------------- */

/*
 * The library calls a failed allocation a mistake in the text, or passes over
 * it.  A sender would then be told that a good message is bad, and would not
 * send it again.  So each failure is noted, by thread.
 */
static _Thread_local bool allocation_failed;
static json_malloc_t plain_malloc;

static void *noting_malloc(size_t size)
{
    void *memory = plain_malloc(size);

    if (memory == NULL)
        allocation_failed = true;
    return memory;
}

static void install_noting(void)
{
    json_free_t plain_free;

    json_get_alloc_funcs(&plain_malloc, &plain_free);
    json_set_alloc_funcs(noting_malloc, plain_free);
}

static void note_allocations(void)
{
    static pthread_once_t once = PTHREAD_ONCE_INIT;

    pthread_once(&once, install_noting);
    allocation_failed = false;
}

/* ---- parsing ---------------------------------------------------------- */

/* The parser's own texts repeat bytes of the body, so they are not used. */
static const char *syntax_text(enum json_error_code code)
{
    /* Not a switch: the list is the library's, and longer. */
    static const struct {
        enum json_error_code code;
        const char *text;
    } texts[] = {
        { json_error_invalid_utf8, "bytes that are not UTF-8" },
        { json_error_premature_end_of_input, "the text ends too early" },
        { json_error_end_of_input_expected, "something after the end" },
        { json_error_null_character, "a NUL character" },
        { json_error_null_byte_in_key, "a NUL character" },
        { json_error_duplicate_key, "the same key twice in one object" },
        { json_error_numeric_overflow, "a number that is too large" },
    };

    for (size_t i = 0; i < COUNT(texts); i++) {
        if (texts[i].code == code)
            return texts[i].text;
    }
    return "not what JSON allows here";
}

static void count_lines(const char *json, size_t at, int *line, int *column)
{
    *line = 1;
    *column = 1;
    for (size_t i = 0; i < at; i++) {
        *column = json[i] == '\n' ? 1 : *column + 1;
        *line += json[i] == '\n' ? 1 : 0;
    }
}

/* Whether the bytes may be given to the parser at all. */
static enum err check_bytes(const char *json, size_t len,
                            struct outcome *outcome)
{
    int line, column;
    size_t at;
    enum err e = fhir_scan_check(json, len, &at);

    if (e == ERR_OK)
        return ERR_OK;
    count_lines(json, at, &line, &column);
    outcome_add(outcome, SEV_FATAL, "json-syntax", "",
                e == ERR_FORM
                    ? "Body is not JSON: line %d column %d: a NUL byte"
                    : "Line %d column %d: nested deeper than 64 levels",
                line, column);
    return ERR_FORM;
}

static enum err refuse_syntax(const char *json, size_t len,
                              const json_error_t *error,
                              struct outcome *outcome)
{
    enum json_error_code code = json_error_code(error);
    struct fhir_place place = { .len = 0 };

    if (code == json_error_duplicate_key && error->position > 0)
        fhir_scan_place(json, len, (size_t)error->position, &place);
    outcome_add(outcome, SEV_FATAL, "json-syntax", place.text,
                "Body is not JSON: line %d column %d: %s",
                error->line > 0 ? error->line : 1,
                error->column > 0 ? error->column : 0, syntax_text(code));
    return ERR_FORM;
}

enum err fhir_load(const char *json, size_t len, struct outcome *outcome,
                   json_t **root)
{
    json_error_t error;
    enum err e = check_bytes(json, len, outcome);

    if (e != ERR_OK)
        return e;
    note_allocations();
    /* Any value is let through here, so that "42" is called JSON. */
    *root =
        json_loadb(json, len, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &error);
    if (allocation_failed)
        return ERR_MEMORY; /* a tree, if there is one, may have gaps */
    if (*root == NULL)
        return refuse_syntax(json, len, &error, outcome);
    return ERR_OK;
}

/* ---- digest ----------------------------------------------------------- */

/* The library writes token by token; the hash is faster in larger pieces. */
struct pieces {
    EVP_MD_CTX *md;
    size_t len;
    char bytes[1024];
};

static int flush(struct pieces *p)
{
    int ok = EVP_DigestUpdate(p->md, p->bytes, p->len);

    p->len = 0;
    return ok == 1 ? 0 : -1;
}

static int on_bytes(const char *bytes, size_t len, void *arg)
{
    struct pieces *p = arg;

    if (len > sizeof(p->bytes) - p->len && flush(p) != 0)
        return -1;
    if (len > sizeof(p->bytes))
        return EVP_DigestUpdate(p->md, bytes, len) == 1 ? 0 : -1;
    memcpy(p->bytes + p->len, bytes, len);
    p->len += len;
    return 0;
}

enum err fhir_digest(json_t *resource, unsigned char digest[32])
{
    struct pieces p = { .md = EVP_MD_CTX_new() };
    enum err e = ERR_MEMORY;
    json_t *content;

    note_allocations();
    content = json_copy(resource); /* one level: members are shared */
    if (p.md == NULL || content == NULL)
        goto done;
    json_object_del(content, "id");
    json_object_del(content, "meta");
    if (EVP_DigestInit_ex(p.md, EVP_sha256(), NULL) == 1 &&
        json_dump_callback(content, on_bytes, &p,
                           JSON_SORT_KEYS | JSON_COMPACT) == 0 &&
        flush(&p) == 0 && EVP_DigestFinal_ex(p.md, digest, NULL) == 1 &&
        !allocation_failed)
        e = ERR_OK;
done:
    json_decref(content);
    EVP_MD_CTX_free(p.md);
    return e;
}
