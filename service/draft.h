/*
 * draft - what a Task says, put together from a verdict
 *
 * Store thread only; private to suggest.c.
 */
#ifndef HEADGATE_SERVICE_DRAFT_H
#define HEADGATE_SERVICE_DRAFT_H

#include "adapters/fhir_write.h"
#include "adapters/task_codes.h"
#include "adapters/wording.h"
#include "service/resources.h"
#include "service/suggest.h"

enum { DRAFT_TEXT_MAX = WORDING_SIZE_MAX, DRAFT_REF_SIZE = FID_SIZE + 24 };

/* The texts that the Task points to live as long as the draft. */
struct draft {
    struct fhir_task task;
    struct buf headline, suggestion, description, note, reason;
    char key[65], episode[ALIAS_SIZE + 48], node[FID_SIZE];
    char system[ALIAS_SIZE], repeat_code[TASK_CODE_SIZE],
        due_date[FHIR_TIME_SIZE];
    char patient_ref[ALIAS_SIZE], access_ref[ALIAS_SIZE];
    char refs[TASK_INPUTS_MAX][DRAFT_REF_SIZE];
    char versions[TASK_INPUTS_MAX][12]; /* of what refs name */
    enum group group;                   /* of a referral */
    bool is_referral;
    struct buf displays[TASK_INPUTS_MAX];
};

/* NULL: out of memory. */
struct draft *draft_new(void);
void draft_free(struct draft *d);

/* Task.priority of an urgency. */
const char *draft_priority(enum urgency u);

/* A reference to what is known here: its resource, or as the sender said.
 * text: the room that ref points into. */
MUST_CHECK enum err draft_refer(struct db *db, const char *type,
                                int64_t resource, const char *anchor,
                                bool is_literal, char text[ALIAS_SIZE],
                                struct fhir_out_ref *ref);

/* Who, which access, who says so. */
MUST_CHECK enum err draft_frame(struct suggest *s, struct draft *d);

/* The Task key of what (a group word, or one of a reminder) and number. */
MUST_CHECK enum err draft_key(const struct suggest *s, const char *what,
                              int number, char key[65]);

/* A reading, or a limit, that it rests on. */
MUST_CHECK enum err draft_trigger(struct suggest *s, struct draft *d,
                                  const struct evidence *v);
void draft_threshold(struct suggest *s, struct draft *d,
                     const struct finding *f);

/* All of a referral but its note. */
MUST_CHECK enum err draft_referral(struct suggest *s, struct draft *d,
                                   enum group group,
                                   const struct episode *episode,
                                   int64_t due_s);

struct wording draft_wording(const struct suggest *s, enum group group,
                             int64_t due_s);

/* Did every text fit? */
MUST_CHECK enum err draft_ok(const struct draft *d);

/* Who suggests: this installation, by a number that it keeps. */
MUST_CHECK enum err draft_node(struct db *db, char node[FID_SIZE]);

/* A reference to what is known here: its resource (0: none), or as the sender
 * said (anchor, see struct patient).  It borrows type and text. */
MUST_CHECK enum err draft_refer(struct db *db, const char *type,
                                int64_t resource, const char *anchor,
                                bool is_literal, char text[ALIAS_SIZE],
                                struct fhir_out_ref *ref);

#endif
