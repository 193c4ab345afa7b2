/*
 * hand - ischaemia of the hand over time, from coded symptoms and grades
 *
 * Each session (or day) with a hand reading is one point.  Its grade is the
 * highest that any sign seen there means.  A point is an overall statement
 * if someone graded the hand or said that there is no complaint; only such
 * points can say that a hand is better, since a symptom that nobody mentions
 * may just not have been asked for.
 */
#ifndef HEADGATE_PLANNER_HAND_H
#define HEADGATE_PLANNER_HAND_H

#include "planner/history.h"

enum { HAND_POINTS_MAX = 256, HAND_SIGNS_MAX = 6 };

struct hand_point {
    int64_t at_s;
    enum grade grade;
    bool graded;      /* an overall statement */
    bool motor_loss;  /* new weakness seen */
    bool acute;       /* pale, cold, pulseless */
    unsigned nerves;  /* territories with numbness: 1 median, 2 ulnar,
                         4 radial */
    bool provisional; /* rests on preliminary readings only */
    size_t reading_count;
    size_t readings[HAND_SIGNS_MAX]; /* those that give the grade, and the
                                        statements; indices into history */
};

/*
 * hand_collect - the points of the hand, oldest first; the newest max kept
 *
 * emergencies  true: preliminary readings count too (signs of emergency are
 *              believed from any status that is not withdrawn)
 */
size_t hand_collect(const struct history *h, const struct policy *policy,
                    bool emergencies, struct hand_point *points, size_t max);

/*
 * hand_standing - the newest point of at least this grade that still stands
 *
 * It stands until two later overall statements lie below the grade.
 * Returns false if there is none; *index is its place in points.
 */
bool hand_standing(const struct hand_point *points, size_t count,
                   enum grade grade, size_t *index);

/*
 * hand_standing_if - the newest point that is so and still stands: no two
 * later overall statements in a row below the grade
 *
 * A later point of this grade that is not so says nothing against it.
 */
bool hand_standing_if(const struct hand_point *points, size_t count,
                      enum grade grade,
                      bool (*is)(const struct hand_point *point, void *arg),
                      void *arg, size_t *index);

/* In how many nerve territories is the hand numb? */
int hand_territories(const struct hand_point *point);

/* The highest grade seen in the last window_d days before at_s, and where
 * (if not NULL); GRADE_NONE if nothing was seen. */
enum grade hand_worst(const struct hand_point *points, size_t count,
                      int64_t at_s, int window_d, size_t *index);

#endif
