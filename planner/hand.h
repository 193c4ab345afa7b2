/*
 * hand - ischaemia of the hand over time, from coded symptoms and grades
 *
 * Each session (or day) with a hand reading is one point.  Its grade is the
 * highest that any sign seen there means.  A point is an overall statement
 * if someone graded the hand or said that there is no complaint.  A hand is
 * better after two such statements, or after the very sign was looked for and
 * not found twice: a symptom that nobody mentions may just not have been asked
 * for.
 */
#ifndef HEADGATE_PLANNER_HAND_H
#define HEADGATE_PLANNER_HAND_H

#include "planner/history.h"

enum { HAND_POINTS_MAX = 256, HAND_SIGNS_MAX = 6 };

/* Signs of the hand as bits of a set. */
#define HAND_BIT(sign) (1U << ((unsigned)(sign)&31U))
_Static_assert(SIGN_GRADE_4B < 32, "the signs of the hand are bits of a set");

struct hand_point {
    int64_t at_s;
    enum grade grade;
    unsigned seen;      /* signs that were seen, as HAND_BIT() */
    unsigned denied;    /* looked for and not found */
    bool graded;        /* an overall statement, of either kind: */
    bool scored;        /* a grade of ischaemia was given */
    bool no_complaint;  /* that there is no complaint was said */
    bool provisional;   /* rests on preliminary readings only */
    size_t first, last; /* its readings lie between; indices into history */
    size_t reading_count;
    size_t readings[HAND_SIGNS_MAX]; /* those that give the grade, and the
                                        statements; indices into history */
};

/*
 * hand_collect - the points of the hand, oldest first; the newest max kept
 *
 * emergencies  true: preliminary readings count too (signs of emergency are
 *              believed from any status that is not withdrawn); they never
 *              deny a sign, and make no statement
 */
size_t hand_collect(const struct history *h, const struct policy *policy,
                    bool emergencies, struct hand_point *points, size_t max);

/* What takes a sign of the hand back, if later sessions say it twice in a
 * row. */
struct hand_end {
    unsigned again;    /* one of these seen: it is there again */
    unsigned denied;   /* one of these looked for and not found, or */
    bool scored;       /* a grade, or */
    bool no_complaint; /* that there is no complaint, ... */
    enum grade below;  /* ... and nothing of this grade or above seen then */
    int64_t apart_s;   /* only sessions so long after it count */
};

/* Has a sign of this time been taken back? */
bool hand_taken_back(const struct hand_point *points, size_t count,
                     int64_t at_s, const struct hand_end *end);

/*
 * hand_stands - is one of the signs of this grade or more of a point not taken
 * back?
 *
 * By the very sign looked for and not found, a grade below, or "no complaint",
 * in two later sessions.  Loss of tissue may be painless: "no complaint" says
 * nothing against it.
 */
bool hand_stands(const struct hand_point *points, size_t count, size_t index,
                 enum grade grade);

/* The newest point of at least this grade that still stands.  Returns false
 * if there is none; *index is its place in points. */
bool hand_standing(const struct hand_point *points, size_t count,
                   enum grade grade, size_t *index);

/* The signs that mean this grade or more. */
unsigned hand_signs_from(enum grade grade);

/* Is this reading one of these signs of the hand, seen, and believed as an
 * emergency is: from any status that is not withdrawn? */
bool hand_is_alarm(const struct reading *r, unsigned signs);

/*
 * hand_alarm_s - when a sign of emergency was seen at the latest, not after
 * now_s: one that is known to the month may be of its last day
 */
int64_t hand_alarm_s(const struct reading *r, int64_t now_s);

/* When an emergency may be said to be over: not on the day it was seen. */
#define HAND_ALARM_LEAST_S ((int64_t)DAY_S)

/* The point of a reading; NULL if none holds it. */
const struct hand_point *hand_point_of(const struct hand_point *points,
                                       size_t count, size_t reading);

/* In how many nerve territories do these signs say that the hand is numb? */
int hand_territories(unsigned signs);

/* The highest grade seen in the last window_d days before at_s, and where
 * (if not NULL); GRADE_NONE if nothing was seen. */
enum grade hand_worst(const struct hand_point *points, size_t count,
                      int64_t at_s, int window_d, size_t *index);

#endif
