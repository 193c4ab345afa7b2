/*
 * model - what is true of an invented patient
 *
 * Days are counted from the first day of the cohort, 0, and may have a
 * fraction; what was before is negative.  Inside tests/cohort only.
 */
#ifndef HEADGATE_TESTS_COHORT_MODEL_H
#define HEADGATE_TESTS_COHORT_MODEL_H

#include "tests/cohort/cohort.h"
#include "tests/demo/random.h"
#include "tests/demo/scenario.h"

/* A true value over time: straight lines between knots, level outside. */
enum { COURSE_MAX = 8 };
struct course {
    int count;
    struct {
        double day, value;
    } knot[COURSE_MAX];
};
void course_add(struct course *c, double day, double value);
double course_at(const struct course *c, double day);

/* The highest true value of the days before, from not earlier than since. */
double course_peak(const struct course *c, double day, double days,
                   double since);

enum flow_story {
    FLOW_STEADY,
    FLOW_RISES,
    FLOW_FALLS,
    FLOW_FALLS_LOW,
    FLOW_HIGH,
    FLOW_BANDED,
    FLOW_STORIES
};
const char *flow_story_word(enum flow_story s);

enum hand_story {
    HAND_WELL,
    HAND_TOLERABLE,
    HAND_INTOLERABLE,
    HAND_REST_PAIN,
    HAND_ULCER,
    HAND_WEAKNESS,
    HAND_NEW_ACCESS, /* weak within three days of creation */
    HAND_STORIES
};
const char *hand_story_word(enum hand_story s);

/* What happens once, and is reported by itself. */
enum event_kind {
    EVENT_THRILL_LOST,
    EVENT_BLEEDING,
    EVENT_RUPTURE,
    EVENT_ULCER,
    EVENT_PULSELESS,
    EVENT_WEAKNESS,
    EVENT_MONOMELIC,
    EVENT_SEPSIS,
    EVENT_GRAFT_EXPOSED,
    EVENT_INFECTION,
    EVENT_SWELLING,
    EVENT_ADMISSION,
    EVENT_OUTFLOW_TREATED,
    EVENT_BAND,
    EVENT_KINDS
};

struct event_info {
    const char *word;
    enum quantity quantity;
    enum sign sign;   /* SIGN_NONE: a flag that is true */
    const char *rule; /* that should speak; "" none */
    bool immediate;
    int lasts_d;      /* how long the rule is true of it */
    bool preliminary; /* counts before it is final */
};
const struct event_info *event_info(enum event_kind k);

struct event {
    enum event_kind kind;
    double day;
};

enum { EVENTS_MAX = 16 };
#define NEVER 1e9

struct person {
    int number;
    enum demo_unit_id unit;
    enum sign type; /* SIGN_TYPE_AVF or SIGN_TYPE_AVG */
    bool upper, left, male;
    int birth_year;
    double height_m; /* NAN: never measured */

    double created;   /* day; usually long before the first */
    double band;      /* day; NEVER */
    double goes_over; /* day from which its unit measures by duplex; NEVER */
    enum flow_story flow_story;
    struct course flow;  /* mL/min */
    struct course dose;  /* spKt/V */
    struct course ratio; /* static pressure in the access over MAP */
    bool narrow;         /* an outflow stenosis develops: ratio, bleeding */
    double needles_from, needles_to; /* needles the wrong way round */
    double needles_pct;              /* recirculation by that */
    double output_l_min;             /* cardiac output: this... */
    double output_factor;            /* ...and its share of the flow */

    enum hand_story hand_story;
    double hand_from, hand_to; /* days of complaints; NEVER */
    double finger_mmhg;        /* true pressure, with the complaints if any */

    double systolic_mmhg, pump_ml_min, minutes;
    double duplex_bias; /* what duplex reads of a true 1 */
    int event_count;
    struct event events[EVENTS_MAX]; /* in the order of days */

    /* what is measured of this patient, and how often */
    double flow_every_d, output_every_d; /* NEVER: not */
    bool measures_ratio, measures_recirculation, screens_finger;
    bool weekdays[7]; /* Sunday first */
    int start_min;    /* session start, minutes after local midnight */
};

/* Draw a patient; the generator is his own and goes on to his readings. */
void person_draw(struct rng *r, const struct cohort_options *o, int number,
                 struct person *p);
void person_events(struct rng *r, const struct cohort_options *o,
                   struct person *p);

bool person_hand_on(const struct person *p, double day);
double person_output(const struct person *p, double day);        /* L/min */
double person_recirculation(const struct person *p, double day); /* % */

/* How far a true value lies beyond the limit of a rule, in per cent of the
 * limit; negative: inside; NAN: the rule does not look at this access now. */
struct gauge {
    const char *rule;
    const char *quantity; /* whose readings count, see struct taking */
    double (*beyond)(const struct person *p, double day, double *value,
                     double *limit);
    /* Does a patient of whom it is true count as one to be found?  NULL: all
     * do.  The others only make a suggestion right. */
    bool (*is_case)(const struct person *p);
    double target_pct; /* so far beyond, it must be found; NAN: no target */
    bool graded;       /* the distance to the limit means something */
};
const struct gauge *gauges(size_t *count);

/* The last day up to then on which an intervention began a new stage. */
double person_stage(const struct person *p, double day);

#endif
