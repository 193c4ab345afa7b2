/*
 * service_world - a small world for the tests of the service layer
 *
 * A real store in a folder of its own, the shipped codes, rules and limits,
 * and a clock that stands still.  What a test sends goes the way of a request,
 * but for sockets and threads: read, applied in a savepoint, undone if it
 * fails.  All of it happens in one transaction, which world_count commits.
 */
#ifndef HEADGATE_TESTS_SERVICE_WORLD_H
#define HEADGATE_TESTS_SERVICE_WORLD_H

#include "adapters/policy_file.h"
#include "service/intake.h"
#include "service/review.h"
#include "service/store.h"

#define BASE      "https://headgate.example/fhir"
#define IDS       "https://site.example/ids/"
#define OBS_CODES BASE "/CodeSystem/av-observation"
/* A-7, of p-1, see world_has_access() */
#define ACCESS "BodyStructure/acc-7"

/* 6 March 2026, 08:12 UTC: where the clock stands when a world opens */
#define START_S INT64_C(1772784720)

enum { HOURS = 1, DAYS = 24 };

struct world {
    char folder[40], path[64];
    struct db *db;
    struct codes *codes;
    struct zone *zone;
    struct policy policy;
    struct fhir_reader reader;
    struct review review;
    bool strict_access, merge_implied; /* as configured: false, true */
    bool told;                         /* the last review told something */
    /* the last message, and what became of it */
    char *body;
    struct fhir_doc *doc;
    struct outcome outcome; /* of the body */
    struct intake in;
    enum err err;
};

/* What the clock says; a test may move it. */
extern int64_t world_now_s;
int64_t world_now_ms(void);

/* cmocka set-up and tear-down; *state is the world. */
int world_start(void **state);
int world_stop(void **state);
static inline struct world *world(void **state)
{
    return *state;
}

/* The parts of it, for tests that open stores themselves. */
void world_init(struct world *w); /* all but the store */
void world_clear(struct world *w);
void world_forget_message(struct world *w);

/* Read a body into w->doc; the intake is ready to be applied.  method "POST",
 * "PUT" or NULL for a Bundle; id: of a PUT. */
void world_read(struct world *w, const char *method, const char *id,
                const char *json);

/*
 * Send a body; the HTTP status that its sender gets.  PUT takes the id of the
 * path; for a Bundle see world_status.
 */
int world_post(struct world *w, const char *json);
int world_put(struct world *w, const char *id, const char *json);
int world_bundle(struct world *w, const char *json);
/* Patient p-1, number 1001, has the access acc-7, A-7. */
void world_has_access(struct world *w);

/* The same with a condition: If-None-Exist (POST) or If-Match (PUT). */
int world_post_if(struct world *w, const char *json, const char *none_exist);
int world_put_if(struct world *w, const char *id, const char *json,
                 const char *match);

/* Of the ith entry of the last message. */
int world_status(const struct world *w, size_t i);
const char *world_fid(const struct world *w, size_t i);
/* Does its outcome, or that of the body, say this word? */
bool world_says(const struct world *w, size_t i, const char *word);
/* Is there an issue of this word with this place? */
bool world_says_at(const struct world *w, size_t i, const char *word,
                   const char *place);

/* Run the review until nothing is left to do. */
void world_review(struct world *w);

/* Run a step in a savepoint, as the store does. */
enum err world_step(struct world *w, enum err (*run)(struct db *, void *),
                    void *arg);

/* The first column of the first row, by a connection of its own: what was
 * done so far is committed.  world_count_file: of a store that is closed. */
long long world_count(struct world *w, const char *sql);
long long world_count_file(const char *path, const char *sql);
/* The same, text. */
void world_text(struct world *w, const char *sql, char *out, size_t size);

/* Run SQL on a store that is closed. */
void world_change_file(const char *path, const char *sql);

/* ---- Tasks ---------------------------------------------------------------- */

/* How many Tasks have this code and status; NULL: any. */
int world_tasks(struct world *w, const char *code, const char *status);
/* The newest Task of this code: its resource, and its JSON appended to out. */
struct resource world_task(struct world *w, const char *code, struct buf *out);
/* How often a piece of text stands in the newest Task of this code. */
int world_task_says(struct world *w, const char *code, const char *text);
/* A person changes the status of the newest Task of this code. */
void world_person(struct world *w, const char *code, const char *status);

/* ---- bodies ---------------------------------------------------------------
 * Text that lives until a dozen later ones have been made.
 */
struct obs {
    const char *id;         /* resource id */
    const char *identifier; /* value, system IDS obs */
    const char *status;     /* "final" */
    const char *code;       /* of av-observation; "access-flow" */
    const char *value;      /* a number as written */
    const char *unit;       /* UCUM; "mL/min" */
    const char *sign;       /* coded value, instead of a number */
    const char *patient;    /* reference; "Patient/p-1" */
    const char *person;     /* identifier of the subject, instead */
    const char *access;     /* focus reference */
    const char *site;       /* bodySite.text */
    double ago_h;           /* hours before the clock */
    const char *more;       /* members, with a comma before */
    bool bare;              /* no value and no time */
};
const char *obs_json(const struct obs *o);
#define OBS(...) obs_json(&(struct obs){ __VA_ARGS__ })

struct acc {
    const char *id;
    const char *identifier; /* value, system IDS access */
    const char *patient;    /* "Patient/p-1" */
    const char *type;       /* "avf" */
    const char *site;       /* location.text, "Left upper arm" */
    bool inactive;
};
const char *acc_json(const struct acc *a);
#define ACC(...) acc_json(&(struct acc){ __VA_ARGS__ })

/* A Patient; identifier NULL for none, system IDS patient. */
const char *pat_json(const char *id, const char *identifier);

/* An entry of a Bundle: url and method for the request, NULL for none. */
const char *entry_json(const char *method, const char *url, const char *json);
/* A Bundle of entries, NULL ends them. */
const char *bundle_json(const char *type, ...);

#endif
