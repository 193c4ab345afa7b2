/*
 * deeds - what a coordinator does with a suggestion, and with two accesses
 * that are one
 *
 *     deeds.c         a Task taken, handed over, put off, declined, done
 *     deeds_may.c     may it be done?  Who has it in hand is asked there
 *     deeds_find.c    which Task is meant, of whom it is, and how it stands
 *     deeds_access.c  accesses listed, and merged
 *
 * Store thread only.  A deed with a Task is a change of the Task itself, by the
 * rules for any change of it (task_change.h), so that whoever reads Tasks sees
 * it: status, owner, businessStatus, and a note with who and when.  Every deed
 * is kept besides (struct deed) with who, why and when.
 */
#ifndef HEADGATE_SERVICE_DEEDS_H
#define HEADGATE_SERVICE_DEEDS_H

#include "adapters/buf.h"
#include "adapters/fhir_deed.h"
#include "adapters/fhir_read.h"
#include "planner/policy.h"
#include "service/db.h"
#include "service/resources.h"

enum { DEED_WORDS_SIZE = 400, DEED_NAME_SIZE = 256, DEED_ABOUT_SIZE = 1200 };

enum task_verb { TASK_TAKE, TASK_HAND, TASK_PUT_OFF, TASK_DECLINE, TASK_DONE };

struct task_deed {
    /* in; "" what is not said */
    enum task_verb verb;
    char task[DEED_NAME_SIZE]; /* id of a Task, or the name of an access for
                                  which just one suggestion is open */
    char who[FHIR_OWNER_SIZE], whom[FHIR_OWNER_SIZE]; /* whom: hand */
    char why[DEED_WORDS_SIZE];  /* needed as task_deed says */
    char over[FHIR_OWNER_SIZE]; /* whom it overrules: whoever has it in hand,
                                   or it was handed to */
    char until[40];             /* put-off: a date of the site, 2026-12-24 */
    const struct fhir_reader *reader; /* borrowed; with base, zone and self */
    const struct policy *policy;      /* borrowed */
    bool deliver;                     /* there is a record to hear of it */
    int64_t now_ms;
    /* out */
    char fid[FID_SIZE];          /* of the Task, once it is known */
    char about[DEED_ABOUT_SIZE]; /* then, the patient, number, access and unit,
                                    in words of one line; text ends in it */
    int status;      /* 200 done; 400, 404, 409: it could not be, and text
                           says why */
    struct buf text; /* for the person; the caller inits and clears it */
};

/*
 * task_deed - do it
 *
 * take      accepted, and who is its owner; of what somebody else has: refused
 * hand      whom is its owner, and its status stays.  Nobody has it in hand
 *           until it is taken: it waits, and is escalated, like one that was
 *           never taken.  R4 knows no way back from accepted to requested, so
 *           that this is kept with the episode, and businessStatus says that an
 *           answer is waited for
 * put-off   shown as put off until that day; it comes back by itself, and
 *           before it if it worsens.  Refused for what is to be seen at once,
 *           for what somebody has had in hand, for reminders, and for longer
 *           than general.put_off_*_d
 * decline   rejected, why is its statusReason
 * done      completed (by way of accepted, as R4 wants it)
 *
 * why is needed to decline; to put off, or to be done with, what is to be seen
 * within days, or at once; and to hand over, decline or be done with what
 * another person has in hand, whose name then stands in the note.  For the last
 * of these, and for what was handed to another and not taken, over has to be
 * the name of that person besides (capitals of ASCII do not count): a reason is
 * written anyway, so that it alone is no guard against acting on what is
 * somebody else's.
 *
 * Errors are those of the store, and ERR_CONFLICT after status was set to a
 * refusal: the caller then undoes what was done.
 */
MUST_CHECK enum err task_deed(struct db *db, struct task_deed *d);

struct access_deed {
    /* in */
    char from[DEED_NAME_SIZE], into[DEED_NAME_SIZE]; /* names, or numbers */
    char who[DEED_WORDS_SIZE], why[DEED_WORDS_SIZE];
    const struct fhir_reader *reader;
    int64_t now_ms;
    /* out, as of a task_deed */
    int status;
    struct buf text;
};

/*
 * access_deed_merge - an access that came without a BodyStructure (implied, or
 * known by a name that a reading gave) becomes one with another of the same
 * patient: readings, suggestions, reminders, Tasks and names go over, what is
 * held because it was unclear which access is meant is looked at again, and
 * both are reviewed anew.  It cannot be undone.
 *
 * Refused: other patients; two BodyStructures; an access into one of which less
 * is known; sides, types or places that are known and differ; into one that is
 * no longer in use.  Errors as of task_deed.
 */
MUST_CHECK enum err access_deed_merge(struct db *db, struct access_deed *d);

/* The accesses of the patient of this name (a number, or the id), those that
 * are out of use too, for a person or as an object a line.  ERR_ABSENT: there
 * is no such patient, or none with an access. */
MUST_CHECK enum err access_deed_list(struct db *db, const char *patient,
                                     bool json, struct buf *out);

/* ---- between the files of deeds ------------------------------------------- */

/* The Task that is meant, and what is said of it. */
struct deed_task {
    struct resource row;
    int64_t access;
    bool reminder;
    bool at_once;         /* to be seen at once */
    enum urgency urgency; /* of a suggestion */
    bool handed; /* it was taken, then handed over, and not taken since */
    char status[24];
    char owner[FHIR_OWNER_SIZE];
};

/* ERR_CONFLICT, refused: it is not known, never posted, or several are meant. */
MUST_CHECK enum err deed_find_task(struct db *db, struct task_deed *d,
                                   struct deed_task *t);

/* Nobody has said that it is theirs. */
bool deed_is_waiting(const struct deed_task *t);

/* Somebody other than who has it in hand. */
bool deed_is_of_another(const struct task_deed *d, const struct deed_task *t);

/* May that be done with it?  ERR_CONFLICT, refused: no, and text says why.
 * until_s  out, of a put-off: the first second of that day, at the site */
MUST_CHECK enum err deed_may(struct task_deed *d, const struct deed_task *t,
                             int64_t *until_s);

/* The patient, number, access and unit, in words of one line. */
MUST_CHECK enum err deed_about(struct db *db, int64_t access,
                               char about[DEED_ABOUT_SIZE]);

/* Set status and text (whole sentences; a line feed follows), ERR_CONFLICT. */
enum err deed_refuse(int *status, struct buf *text, int code,
                     const char *format, ...)
    __attribute__((format(printf, 4, 5)));

#endif
