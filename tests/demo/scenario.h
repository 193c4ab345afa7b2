/*
 * scenario - the invented network of the demo, as tables
 *
 * Everything here is invented: the network, the units, the patients.  Three
 * tables hold all that is true of it.  A patient row says who and what access
 * and names a story; a story row says what lies behind the readings and what
 * the rules should say; step rows are the readings and events that the story
 * demands.  The readings, the table for people and the expected result are
 * made from the same rows, so they cannot disagree.
 *
 * Times are counted in days before the last day of the demo.
 */
#ifndef HEADGATE_TESTS_DEMO_SCENARIO_H
#define HEADGATE_TESTS_DEMO_SCENARIO_H

#include "planner/reading.h"

#define DEMO_NETWORK "Halcyon Fells Dialysis Network"

enum demo_style {
    STYLE_FOCUS, /* one Observation per quantity, literal references */
    STYLE_PANEL, /* one panel per session, identifiers only, flow in L/min */
    STYLE_SITE   /* local codes, body site as text, no access named */
};

struct demo_unit {
    const char *name;
    const char *host; /* for identifier systems */
    enum demo_style style;
    int utc_offset_min;
    int delay_low_h, delay_high_h; /* from session to sending */
};

enum demo_unit_id { UNIT_ALDER, UNIT_BRINDLE, UNIT_CORVANE, UNIT_COUNT };

enum demo_story_id {
    STORY_PLAIN,
    STORY_PLAIN_GRAFT,
    STORY_DILATED,
    STORY_VERY_HIGH,
    STORY_HIGH,
    STORY_HEART_SHARE,
    STORY_STEAL_HIGH,
    STORY_STEAL_LOW,
    STORY_TISSUE_LOSS,
    STORY_TOLERABLE_TWICE,
    STORY_FINGER_ONCE,
    STORY_FINGER_SILENT,
    STORY_PULSATILE,
    STORY_BAND_CREEP,
    STORY_BAND_TIGHT,
    STORY_GRAFT_LOW,
    STORY_GRAFT_LOW_SWELLING,
    STORY_FISTULA_LOW,
    STORY_FALL,
    STORY_OUTLIER,
    STORY_DUPLEX,
    STORY_TWO_METHODS,
    STORY_NOISE,
    STORY_HISTORIC,
    STORY_WRONG_UNIT,
    STORY_WITHDRAWN,
    STORY_CORRECTED,
    STORY_PRELIMINARY,
    STORY_ABOVE_ONCE,
    STORY_ABOVE_TWICE,
    STORY_TWO_ACCESSES,
    STORY_UNMAPPED,
    STORY_THRILL_LOST,
    STORY_HEART_FAILURE,
    STORY_LOW_DOSE,
    STORY_VISIT_OVERDUE,
    STORY_COUNT
};

enum demo_expect_kind {
    EXPECT_NOTHING, /* no open suggestion */
    EXPECT_OPEN,    /* an open suggestion */
    EXPECT_REPEAT   /* no suggestion yet: a second measurement is asked for */
};

struct demo_expect {
    enum demo_expect_kind kind;
    const char *group;   /* "flow", "hand", "low-flow", "after-band" */
    const char *rules;   /* separated by blanks */
    const char *urgency; /* "immediate", "asap", "urgent", "routine" */
};

enum { DEMO_EXPECT_MAX = 2 };

struct demo_story {
    const char *name;
    const char *truth; /* what is so, whatever was measured */
    const char *says;  /* what the rules should say, and why */
    /* Readings of the background, about monthly, stay in this range... */
    double low_ml_min, high_ml_min;
    /* ...and are at least this many days before the end. */
    int background_until;
    bool hand;  /* the hand is examined: no "no complaint" by chance */
    bool noisy; /* now and then at or above 1500, never twice within three */
    struct demo_expect expect[DEMO_EXPECT_MAX];
};

enum demo_fate { FATE_STANDS, FATE_CORRECTED, FATE_WITHDRAWN };

enum { DEMO_ACCESS_FIRST, DEMO_ACCESS_SECOND, DEMO_ACCESS_UNNAMED };

/* What a story demands on one day.  A value is drawn from low..high. */
struct demo_step {
    enum demo_story_id story;
    int ago_days;
    enum quantity quantity; /* Q_NONE: a code that no map knows */
    double low, high;       /* equal: exactly this */
    enum sign sign;         /* coded quantities */
    enum method method;     /* METHOD_UNSTATED: the patient's usual one */
    enum reading_status status;
    enum bound bound;
    bool wrong_unit;   /* litres sent as millilitres */
    double flow_share; /* cardiac output: the flow's share of it, 0 if not */
    int access;        /* DEMO_ACCESS_... */
    enum demo_fate fate;
    int fate_after_days;
    double corrected; /* FATE_CORRECTED: the value that replaces it */
};

struct demo_patient {
    int number; /* 101 is Patient/p-0101 with access A-0101 */
    enum demo_unit_id unit;
    enum sign type; /* SIGN_TYPE_AVF or SIGN_TYPE_AVG */
    const char *site;
    enum side side;
    enum demo_story_id story;
    double start_ml_min, end_ml_min; /* true flow, first and last day */
    enum method method;
    const char *gender;
    int birth_year;
};

const struct demo_unit *demo_unit(enum demo_unit_id u);
const struct demo_story *demo_story(enum demo_story_id s);
const struct demo_patient *demo_patients(size_t *count);
const struct demo_step *demo_steps(size_t *count);

/* Invented names that say so, by the row of the patient: "Curlew",
 * "Fictional".  The two lists have coprime lengths, 11 and 10, so no two
 * patients share both names. */
const char *demo_given(size_t row);
const char *demo_family(size_t row);

/* The second access of a patient of STORY_TWO_ACCESSES. */
#define DEMO_SECOND_SITE "forearm, radiocephalic"

#endif
