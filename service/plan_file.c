#include "service/plan_file.h"

#include "service/explain.h"
#include "service/file.h"
#include "service/intake.h"
#include "service/suggest.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { INPUT_MAX = 64 * 1024 * 1024, NAMED_MAX = 8 };

/* The clock of the look; struct review asks a function without argument. */
static int64_t as_of_ms;

static int64_t file_now_ms(void)
{
    return as_of_ms;
}

/* ---- reading -------------------------------------------------------------- */

static enum err read_input(struct buf *body, struct buf *why)
{
    char piece[65536];
    size_t len;

    while ((len = fread(piece, 1, sizeof(piece), stdin)) > 0)
        buf_add(body, piece, len);
    if (ferror(stdin) != 0) {
        buf_puts(why, "standard input cannot be read\n");
        return ERR_IO;
    }
    return buf_ok(body);
}

static enum err read_body(const char *path, struct buf *body, struct buf *why)
{
    enum err e;

    if (strcmp(path, "-") == 0)
        return read_input(body, why);
    e = file_read(path, body, why);
    if (e != ERR_OK)
        buf_puts(why, "\n");
    return e;
}

static void say_issues(const struct outcome *o, enum severity least,
                       const char *before, struct buf *why)
{
    for (size_t i = 0; i < o->count; i++) {
        const struct issue *issue = &o->issues[i];

        if (issue->severity < least)
            continue;
        buf_printf(why, "%s%s%s%s (%s)\n", before, issue->place,
                   issue->place[0] != '\0' ? ": " : "", issue->text,
                   issue->word);
    }
}

/* Of one item, with its place in the file. */
static void say_item(struct fhir_doc *doc, size_t i, enum severity least,
                     struct buf *why)
{
    char before[48] = "";

    if (fhir_doc_bundle(doc) != BUNDLE_NONE)
        snprintf(before, sizeof(before), "entry[%zu] ", i);
    say_issues(&fhir_doc_item(doc, i)->outcome, least, before, why);
}

/* ---- what the reader kept and did not use ---------------------------------- */

static bool is_word(const struct issue *issue, const char *word)
{
    return strcmp(issue->word, word) == 0;
}

/* A value that is not understood, though its code is: it might change the
 * plan. */
static bool is_lost(const struct issue *issue)
{
    return (is_word(issue, "code-unknown") || is_word(issue, "not-computed")) &&
           strstr(issue->place, ".value") != NULL;
}

/* A code that nobody has mapped; the value of a laboratory, say. */
static bool is_unmapped(const struct issue *issue)
{
    return is_word(issue, "code-unknown") && !is_lost(issue);
}

/* Returns whether something of it may be missing in the plan. */
static bool look_for_lost(struct fhir_doc *doc, size_t i, size_t *unmapped,
                          struct buf *why)
{
    const struct fhir_item *item = fhir_doc_item(doc, i);
    bool lost = false;

    for (size_t n = 0; n < item->outcome.count; n++) {
        lost = lost || is_lost(&item->outcome.issues[n]);
        *unmapped += is_unmapped(&item->outcome.issues[n]);
    }
    if (lost)
        say_item(doc, i, SEV_INFORMATION, why);
    return lost;
}

/* Was everything taken that could say something here? */
static bool all_taken(struct plan_file *f, struct fhir_doc *doc,
                      const struct intake *in, struct buf *why)
{
    bool ok = true;

    for (size_t i = 0; i < fhir_doc_count(doc); i++) {
        enum fhir_type type = fhir_doc_item(doc, i)->type;

        if (fhir_doc_item(doc, i)->of_search)
            continue;
        if (in->results[i].status < 400) {
            ok = !look_for_lost(doc, i, &f->unmapped, why) && ok;
            continue;
        }
        if (type == FHIR_OTHER || type == FHIR_TASK) {
            f->passed_over++;
            continue;
        }
        say_item(doc, i, SEV_ERROR, why);
        ok = false;
    }
    return ok;
}

/* What the service would hold for a person. */
static enum err check_held(struct db *db, struct fhir_doc *doc, struct buf *why)
{
    enum err e = db_first(db, Q_HELD_COUNT, "");
    int64_t count;

    if (e != ERR_OK)
        return e;
    count = db_int(db, Q_HELD_COUNT, 0);
    db_done(db, Q_HELD_COUNT);
    if (count == 0)
        return ERR_OK;
    for (size_t i = 0; i < fhir_doc_count(doc); i++)
        say_item(doc, i, SEV_WARNING, why);
    return ERR_FORM;
}

static enum err take_in(struct plan_file *f, struct fhir_doc *doc,
                        const struct plan_file_options *o,
                        const struct buf *body, struct buf *why)
{
    struct intake in = { .doc = doc,
                         .reader = o->reader,
                         .body = body->data,
                         .len = body->len,
                         .source = SOURCE_FEED,
                         .merge_implied = o->merge_implied,
                         .now_ms = o->reader->now_s * 1000 };
    enum err e = ERR_MEMORY, applied;

    in.results = calloc(fhir_doc_count(doc) + 1, sizeof(*in.results));
    if (in.results != NULL)
        e = db_run(f->db, Q_BEGIN, "");
    if (e == ERR_OK) {
        applied = intake_apply(f->db, &in);
        e = applied == ERR_OK || in.all_failed ? ERR_OK : applied;
    }
    if (e == ERR_OK && (!all_taken(f, doc, &in, why) || in.all_failed)) {
        if (why->len == 0)
            buf_puts(why, "there is no Patient, BodyStructure or Observation "
                          "in it\n");
        e = ERR_FORM;
    }
    if (e == ERR_OK)
        e = db_run(f->db, Q_COMMIT, "");
    if (e == ERR_OK)
        e = check_held(f->db, doc, why);
    free(in.results);
    return e;
}

static enum err load(struct plan_file *f, const struct plan_file_options *o,
                     const struct buf *body, struct buf *why)
{
    struct outcome outcome;
    struct fhir_doc *doc = NULL;
    enum err e;

    outcome_init(&outcome);
    e = fhir_read(o->reader, body->data != NULL ? body->data : "", body->len,
                  &outcome, &doc);
    if (e != ERR_OK) {
        say_issues(&outcome, SEV_ERROR, "", why);
        return e == ERR_MEMORY ? e : ERR_FORM;
    }
    e = take_in(f, doc, o, body, why);
    fhir_doc_free(doc);
    return e;
}

/* ---- which access, and when ------------------------------------------------- */

static enum err find_named(struct plan_file *f, const char *name,
                           int64_t *access, struct buf *why)
{
    int status = 0;
    enum err e = explain_find(f->db, name, &status, access, why);

    if (e != ERR_OK || status == 200)
        return e;
    return status == 404 ? ERR_ABSENT : ERR_AMBIGUOUS;
}

static enum err say_accesses(struct plan_file *f, const int64_t *accesses,
                             size_t count, struct buf *why)
{
    struct access a;

    buf_puts(why, "the file tells of more than one access: name one with "
                  "--access\n");
    for (size_t i = 0; i < count; i++) {
        enum err e = access_get(f->db, accesses[i], &a);

        if (e != ERR_OK)
            return e;
        buf_printf(why, "  %s\n", access_name(&a));
    }
    return ERR_AMBIGUOUS;
}

static enum err find_only(struct plan_file *f, int64_t *access, struct buf *why)
{
    int64_t accesses[NAMED_MAX];
    size_t count = 0;
    enum err e = db_query(f->db, Q_ACCESS_ALL, "i", INT64(NAMED_MAX));

    while (e == ERR_OK && (e = db_next(f->db, Q_ACCESS_ALL)) == ERR_OK)
        accesses[count++] = db_int(f->db, Q_ACCESS_ALL, 0);
    if (e != ERR_ABSENT)
        return e;
    if (count > 1)
        return say_accesses(f, accesses, count, why);
    if (count == 0) {
        buf_puts(why, "the file tells of no access\n");
        return ERR_ABSENT;
    }
    *access = accesses[0];
    return ERR_OK;
}

/* As of the newest reading, whoever it is of. */
static enum err find_time(struct plan_file *f, struct buf *why)
{
    enum err e =
        db_first(f->db, Q_READING_NEWEST, "i", INT64(READING_WITHDRAWN));

    if (e == ERR_ABSENT)
        buf_puts(why, "the file holds no reading\n");
    if (e != ERR_OK)
        return e;
    as_of_ms = (db_int(f->db, Q_READING_NEWEST, 0) + 1) * 1000;
    db_done(f->db, Q_READING_NEWEST);
    return ERR_OK;
}

/* ---- all ------------------------------------------------------------------- */

static enum err open_look(struct plan_file *f,
                          const struct plan_file_options *o,
                          const struct buf *body, struct buf *why)
{
    int64_t access = 0;
    enum err e = load(f, o, body, why);

    if (e == ERR_OK)
        e = o->access != NULL ? find_named(f, o->access, &access, why)
                              : find_only(f, &access, why);
    if (e == ERR_OK)
        e = find_time(f, why);
    return e == ERR_OK ? look_at(f->db, &f->review, access, &f->look) : e;
}

enum err plan_file_open(const char *path, const struct plan_file_options *o,
                        struct plan_file *f, struct buf *why)
{
    struct buf body;
    enum err e;

    memset(f, 0, sizeof(*f));
    f->review = (struct review){ .policy = o->policy,
                                 .zone = o->reader->zone,
                                 .base = o->reader->base,
                                 .now_ms = file_now_ms };
    buf_init(&body, INPUT_MAX);
    e = read_body(path, &body, why);
    if (e == ERR_OK)
        e = db_open(":memory:", &f->db);
    if (e == ERR_OK) {
        e = open_look(f, o, &body, why);
        if (e != ERR_OK)
            db_close(f->db);
    }
    buf_clear(&body);
    return e;
}

void plan_file_close(struct plan_file *f)
{
    look_clear(&f->look);
    db_close(f->db);
}
