/*
 * Scenarios are histories, run through the rules and the triage as shipped;
 * each gives every text that can be said about it, kept in tests/golden.
 * What must hold for all texts is asked of them and of random histories.
 */
#include "tests/golden.h"
#include "tests/wording_scenarios.h"

static void test_scenarios(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(group_scenarios); i++) {
        const struct group_scenario *s = &group_scenarios[i];
        struct episode none = { .flow_ml_min = NAN };
        struct world w;
        struct buf all;

        ROW(s->file);
        set_up(&w, s->events, s->type, s->group, NOW);
        judge(&w, &none);
        assert_int_equal(w.verdict.act, ACT_OPEN);
        buf_init(&all, 4 * WORDING_SIZE_MAX);
        put(&all, "headline", wording_headline, &w.wording);
        put(&all, "suggestion", wording_suggestion, &w.wording);
        put(&all, "description", wording_description, &w.wording);
        put(&all, "basis", wording_basis, &w.wording);
        assert_golden(s->file, all.data, all.len);
        buf_clear(&all);
    }
}

/* What a coordinator must find without opening anything else. */
static void test_description_says(void **state)
{
    static const struct {
        const char *file;
        const char *says[8];
    } cases[] = {
        { "wording-high-flow.txt",
          { "Left upper-arm fistula A-0101", "2240 mL/min on 2026-10-25",
            "2180 mL/min on 2026-11-20", "ultrasound dilution",
            "2000 mL/min or more", "to be seen by 2026-12-25", "disputed",
            "not a diagnosis" } },
        { "wording-weakness.txt",
          { "new weakness of the hand on 2026-11-25",
            "suspected ischaemic monomelic neuropathy",
            "to be seen today, 2026-11-25",
            "Do not wait for a flow measurement.",
            "warm hand or a pulse at the wrist does not exclude" } },
        { "wording-rest-pain-low-flow.txt",
          { "652 mL/min on 2026-11-13", "below 1000 mL/min",
            "within 24 to 48 hours", "image the artery from the chest",
            "not suited to ischaemia", "to be seen by 2026-11-27" } },
        { "wording-low-flow-thrill.txt",
          { "Phone now: the thrill is lost: suspected thrombosis of the "
            "access; same-day assessment." } },
        { "wording-same-sign.txt",
          { "hand pain during dialysis on 2026-11-23 (3 times since "
            "2026-11-18)" } },
        { "wording-weakness-high-flow.txt",
          { "Do not wait for imaging or a flow measurement. No band is to be "
            "planned from this message." } },
        { "wording-rest-pain-high-flow.txt",
          { "image inflow and outflow", "reducing the flow can be considered",
            /* not "0.40", which the limit is */
            "0.396 on 2026-11-24", "below 0.4", "44 mmHg" } },
        { "wording-low-flow.txt",
          { "412 mL/min on 2026-11-21 (mean of 2)", "below 500 mL/min",
            "within 14 days", "not by itself a reason for a procedure" } },
        { "wording-low-flow-swelling.txt",
          { "Imaging of the access including the central veins",
            "swelling of arm or face on 2026-11-22",
            "to be seen by 2026-12-09" } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        size_t k = 0;
        struct world w;
        struct buf text;

        ROW(cases[i].file);
        while (strcmp(group_scenarios[k].file, cases[i].file) != 0)
            k++;
        set_up(&w, group_scenarios[k].events, group_scenarios[k].type,
               group_scenarios[k].group, NOW);
        buf_init(&text, WORDING_SIZE_MAX);
        wording_description(&w.wording, &text);
        for (size_t n = 0; n < 8 && cases[i].says[n] != NULL; n++) {
            if (strstr(text.data, cases[i].says[n]) == NULL)
                fail_msg("\"%s\" is not in: %s", cases[i].says[n], text.data);
        }
        buf_clear(&text);
    }
}

/* "Phone now" stands first where it is needed, and nowhere else. */
static void test_phone(void **state)
{
    static const char phone[] = "Phone now: this Task does not replace a call.";

    (void)state;
    for (size_t i = 0; i < COUNT(group_scenarios); i++) {
        const struct group_scenario *s = &group_scenarios[i];
        struct world w;
        struct buf text;
        bool now;

        ROW(s->file);
        set_up(&w, s->events, s->type, s->group, NOW);
        now = worst(&w.findings, s->group) == URGENCY_IMMEDIATE;
        buf_init(&text, WORDING_SIZE_MAX);
        wording_description(&w.wording, &text);
        assert_int_equal(strncmp(text.data, phone, strlen(phone)) == 0, now);
        buf_clear(&text);
    }
}

/* Of a description the line on the call comes before all. */
static bool starts_with(const char *text, const char *start)
{
    static const char call[] =
        "Phone now: this Task does not replace a call.\n";
    size_t skip =
        strncmp(text, call, strlen(call)) == 0 &&
                strncmp(start, "Phone now: ", strlen("Phone now: ")) != 0
            ? strlen(call)
            : 0;

    return strncmp(text + skip, start, strlen(start)) == 0;
}

/* A high flow points to the hand where that cannot wait; a lost thrill is
 * never left to a date. */
static void test_first_things_first(void **state)
{
    static const struct {
        const char *name;
        enum group group;
        struct event events[4];
        const char *starts; /* description and suggestion */
        const char *never;
    } cases[] = {
        { "weakness",
          GROUP_FLOW,
          { FLOW(751, 2240, USD), FLOW(777, 2180, USD),
            SIGN(782, SIGN_MOTOR_WEAKNESS) },
          "The hand is more urgent: see the Task on the hand (phone now).",
          "48 hours" },
        { "tissue loss",
          GROUP_FLOW,
          { FLOW(751, 2240, USD), FLOW(777, 2180, USD),
            SIGN(782, SIGN_HAND_ULCER) },
          "The hand is more urgent: see the Task on the hand (phone now).",
          "48 hours" },
        { "rest pain",
          GROUP_FLOW,
          { FLOW(751, 1740, USD), FLOW(777, 1680, USD),
            SIGN(782, SIGN_PAIN_AT_REST) },
          "The hand is more urgent: see the Task on the hand (within 24 to 48 "
          "hours).",
          "phone now" },
        { "pain that can be borne",
          GROUP_FLOW,
          { FLOW(751, 2240, USD), FLOW(777, 2180, USD),
            SIGN(782, SIGN_PAIN_ON_DIALYSIS_INTOLERABLE) },
          "",
          "The hand is more urgent" },
        { "a low flow goes after the hand too",
          GROUP_LOW_FLOW,
          { FLOW(750, 431, USD), FLOW(778, 404, USD),
            SIGN(782, SIGN_PAIN_AT_REST) },
          "The hand is more urgent: see the Task on the hand (within 24 to 48 "
          "hours).",
          "phone now" },
        { "infection goes after the hand",
          GROUP_INFECTION,
          { SIGN(782, SIGN_INFECTION_LOCAL), SIGN(782, SIGN_MOTOR_WEAKNESS) },
          "The hand is more urgent: see the Task on the hand (phone now).",
          "The hand is more urgent: see the Task on the hand (within" },
        { "bleeding goes before the hand",
          GROUP_BLEEDING,
          { NUMBER(782, Q_BLEEDING_ACTIVE, 1), SIGN(782, SIGN_MOTOR_WEAKNESS) },
          "Phone now: ",
          "The hand is more urgent" },
        { "a lost thrill goes before a hand that can wait a day",
          GROUP_LOW_FLOW,
          { FLOW(778, 404, USD), SIGN(782, SIGN_THRILL_ABSENT),
            SIGN(782, SIGN_PAIN_AT_REST) },
          "Phone now: ",
          "The hand is more urgent" },
        { "thrill lost",
          GROUP_LOW_FLOW,
          { FLOW(750, 431, USD), FLOW(778, 404, USD),
            SIGN(782, SIGN_THRILL_ABSENT) },
          "",
          "Imaging" },
        { "thrill lost: no fortnight",
          GROUP_LOW_FLOW,
          { FLOW(750, 431, USD), FLOW(778, 404, USD),
            SIGN(782, SIGN_THRILL_ABSENT) },
          "",
          "within 14 days" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        static const text_fn says[] = { wording_suggestion, wording_description,
                                        wording_basis };
        struct world w;

        ROW(cases[i].name);
        set_up(&w, cases[i].events, SIGN_TYPE_AVF, cases[i].group, NOW);
        for (size_t k = 0; k < COUNT(says); k++) {
            bool basis = says[k] == wording_basis;
            struct buf text;

            buf_init(&text, WORDING_SIZE_MAX);
            says[k](&w.wording, &text);
            assert_true(text.len > 0);
            if (!basis && !starts_with(text.data, cases[i].starts))
                fail_msg("does not start so: %s", text.data);
            if (strstr(text.data, cases[i].never) != NULL)
                fail_msg("\"%s\" in: %s", cases[i].never, text.data);
            buf_clear(&text);
        }
    }
}

/* A band is never held out where the flow is not high, nor at grade 4b. */
static void test_no_band(void **state)
{
    static const struct {
        const char *name;
        struct event events[4];
        bool may_reduce;
    } cases[] = {
        { "just high",
          { FLOW(770, 1000, USD), SIGN(781.5, SIGN_PAIN_AT_REST) },
          true },
        { "just not high",
          { FLOW(770, 999, USD), SIGN(781.5, SIGN_PAIN_AT_REST) },
          false },
        { "not known", { SIGN(781.5, SIGN_PAIN_AT_REST) }, false },
        { "limited tissue loss",
          { FLOW(770, 1600, USD), SIGN(781.5, SIGN_GRADE_4A) },
          false },
        { "new weakness",
          { FLOW(770, 1600, USD), SIGN(781.5, SIGN_MOTOR_WEAKNESS) },
          false },
        { "extended tissue loss",
          { FLOW(770, 1600, USD), SIGN(781.5, SIGN_GRADE_4B) },
          false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct buf text;

        ROW(cases[i].name);
        set_up(&w, cases[i].events, SIGN_TYPE_AVF, GROUP_HAND, NOW);
        buf_init(&text, WORDING_SIZE_MAX);
        wording_suggestion(&w.wording, &text);
        assert_int_equal(strstr(text.data, "can be considered") != NULL,
                         cases[i].may_reduce);
        /* nor is a flow waited for where the hand cannot wait */
        assert_int_equal(strstr(text.data, "within 48 hours") != NULL,
                         strcmp(cases[i].name, "not known") == 0);
        buf_clear(&text);
    }
}

/* ---- what comes after -------------------------------------------------------------- */

static void put_follow(struct buf *all, const char *title, struct world *w)
{
    struct buf text, note;

    buf_init(&text, WORDING_SIZE_MAX);
    buf_init(&note, WORDING_SIZE_MAX);
    if (w->verdict.act == ACT_UPDATE) {
        wording_update(&w->wording, &w->verdict, &text);
    } else {
        wording_end(&w->wording, &w->verdict, &text, &note);
        check_text(&note);
    }
    check_text(&text);
    buf_printf(all, "== %s\n%s\n", title, text.data);
    if (note.len > 0)
        buf_printf(all, "-- note\n%s\n", note.data);
    buf_clear(&text);
    buf_clear(&note);
}

static const struct {
    const char *name;
    enum group group;
    struct event before[8], after[12];
    enum act act;
    enum end_reason reason;
    bool taken;
} followed[] = {
    { "one more reading, and a sign: more urgent",
      GROUP_FLOW,
      { FLOW(740, 2240, USD), FLOW(768, 2180, USD) },
      { FLOW(740, 2240, USD), FLOW(768, 2180, USD), FLOW(781, 2300, USD),
        SIGN(781.1, SIGN_HF_ADMISSION) },
      ACT_UPDATE,
      END_CLEARED,
      false },
    { "new weakness: phone now",
      GROUP_HAND,
      { SIGN(780, SIGN_PAIN_AT_REST) },
      { SIGN(780, SIGN_PAIN_AT_REST), SIGN(782, SIGN_MOTOR_WEAKNESS) },
      ACT_UPDATE,
      END_CLEARED,
      false },
    { "one of three corrected",
      GROUP_FLOW,
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD), FLOW(768, 2210, USD) },
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD),
        FLOW(768, 2210, USD, .status = READING_WITHDRAWN) },
      ACT_UPDATE,
      END_CLEARED,
      false },
    { "back inside the limits",
      GROUP_FLOW,
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD) },
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD), FLOW(770, 1300, USD),
        FLOW(781, 1320, USD) },
      ACT_END,
      END_CLEARED,
      false },
    { "withdrawn",
      GROUP_FLOW,
      { FLOW(750, 2240, USD), FLOW(768, 2180, USD) },
      { FLOW(750, 2240, USD, .status = READING_WITHDRAWN),
        FLOW(768, 2180, USD) },
      ACT_END,
      END_WITHDRAWN,
      false },
    { "a new stage, in a person's hands",
      GROUP_FLOW,
      { FLOW(750, 2240, USD), FLOW(768, 2180, USD) },
      { FLOW(750, 2240, USD), FLOW(768, 2180, USD), SIGN(780, SIGN_BANDED) },
      ACT_END,
      END_STAGE,
      true },
    { "low flow since",
      GROUP_FLOW,
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD) },
      { FLOW(730, 2240, USD), FLOW(750, 2180, USD), FLOW(770, 440, USD),
        FLOW(780, 420, USD) },
      ACT_END,
      END_SUPERSEDED,
      false },
    { "hand better",
      GROUP_HAND,
      { SIGN(760, SIGN_PAIN_AT_REST) },
      { SIGN(760, SIGN_PAIN_AT_REST), SIGN(770, SIGN_NO_COMPLAINT),
        SIGN(781, SIGN_GRADE_0) },
      ACT_END,
      END_CLEARED,
      false },
};

static void test_follow(void **state)
{
    struct buf all;

    (void)state;
    buf_init(&all, 4 * WORDING_SIZE_MAX);
    for (size_t i = 0; i < COUNT(followed); i++) {
        struct episode episode = { .flow_ml_min = NAN };
        struct world w;

        ROW(followed[i].name);
        set_up(&w, followed[i].before, SIGN_TYPE_AVF, followed[i].group, 769);
        if (followed[i].group == GROUP_HAND)
            set_up(&w, followed[i].before, SIGN_TYPE_AVF, followed[i].group,
                   781);
        judge(&w, &episode);
        assert_int_equal(w.verdict.act, ACT_OPEN);
        episode = w.verdict.episode;
        if (followed[i].taken)
            episode.state = EPISODE_TAKEN;
        set_up(&w, followed[i].after, SIGN_TYPE_AVF, followed[i].group, NOW);
        /* a correction is a new version of the same reading */
        for (size_t k = 0; k < w.history.count; k++) {
            if (w.readings[k].status == READING_WITHDRAWN)
                w.readings[k].version = 2;
        }
        judge(&w, &episode);
        assert_int_equal(w.verdict.act, followed[i].act);
        if (followed[i].act == ACT_END)
            assert_int_equal(w.verdict.reason, followed[i].reason);
        put_follow(&all, followed[i].name, &w);
    }
    assert_golden("wording-follow.txt", all.data, all.len);
    buf_clear(&all);
}

static void test_repeat(void **state)
{
    static const struct {
        const char *name;
        enum group group;
        struct event events[6];
    } cases[] = {
        { "share of the cardiac output, once",
          GROUP_FLOW,
          { FLOW(778.35, 1290, USD), OUTPUT(778.37, 3.9, USD) } },
        { "finger pressure, once",
          GROUP_HAND,
          { FINGER(780.40, 48), SIGN(780.41, SIGN_COLDNESS) } },
        { "index, once",
          GROUP_HAND,
          { INDEX(780.40, 0.55), SIGN(780.41, SIGN_COLDNESS) } },
    };
    struct buf all;

    (void)state;
    buf_init(&all, WORDING_SIZE_MAX);
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct episode none = { .flow_ml_min = NAN };
        struct world w;
        struct buf text;

        ROW(cases[i].name);
        set_up(&w, cases[i].events, SIGN_TYPE_AVF, cases[i].group, NOW);
        judge(&w, &none);
        assert_int_equal(w.verdict.repeat, ACT_OPEN);
        buf_init(&text, WORDING_SIZE_MAX);
        wording_repeat(&w.wording, &w.findings.list[w.verdict.repeat_finding],
                       &text);
        check_text(&text);
        buf_printf(&all, "== %s\n%s\n", cases[i].name, text.data);
        buf_clear(&text);
    }
    assert_golden("wording-repeat.txt", all.data, all.len);
    buf_clear(&all);
}

/* ---- one reading -------------------------------------------------------------------- */

static void test_reading(void **state)
{
    static const struct {
        const char *name;
        struct event event;
        enum side side;
        const char *want;
    } cases[] = {
        { "flow", FLOW(751.35, 2240, USD), SIDE_UNKNOWN,
          "2240 mL/min on 2026-10-25, ultrasound dilution, final" },
        { "flow, method not stated", FLOW(751.35, 2239.6), SIDE_UNKNOWN,
          "2240 mL/min on 2026-10-25, method not stated, final" },
        { "a bound", FLOW(751.35, 4000, USD, .bound = BOUND_ABOVE),
          SIDE_UNKNOWN,
          "more than 4000 mL/min on 2026-10-25, ultrasound dilution, final" },
        { "a month", FLOW(747, 900, .precision = AT_MONTH), SIDE_UNKNOWN,
          "900 mL/min in 2026-10, method not stated, final" },
        { "finger", FINGER(751.35, 48, .status = READING_CORRECTED), SIDE_LEFT,
          "Finger systolic pressure 48 mmHg on 2026-10-25, left, corrected" },
        { "index", INDEX(751.35, 0.396), SIDE_UNKNOWN,
          "Digital-brachial index 0.40 on 2026-10-25, final" },
        { "output", OUTPUT(751.35, 6.44), SIDE_UNKNOWN,
          "Cardiac output 6.4 L/min on 2026-10-25, final" },
        { "a sign", SIGN(751.35, SIGN_PAIN_AT_REST), SIDE_RIGHT,
          "Hand pain at rest on 2026-10-25, right, final" },
        { "no such sign", SIGN(751.35, SIGN_PAIN_AT_REST, .absent = true),
          SIDE_UNKNOWN,
          "Hand pain at rest: looked for and not found on 2026-10-25, final" },
        { "a flag", NUMBER(751.35, Q_BLEEDING_PROLONGED, 1), SIDE_UNKNOWN,
          "Bleeding after needle removal longer than usual: yes on "
          "2026-10-25, final" },
        { "withdrawn", FLOW(751.35, 900, .status = READING_WITHDRAWN),
          SIDE_UNKNOWN,
          "900 mL/min on 2026-10-25, method not stated, withdrawn" },
        { "not a number", FLOW(751.35, NAN), SIDE_UNKNOWN,
          "without a value on 2026-10-25, method not stated, final" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct reading r = kit_reading(&cases[i].event, 1);
        struct buf text;

        ROW(cases[i].name);
        r.side = cases[i].side;
        buf_init(&text, 256);
        wording_reading(&r, utc, &text);
        assert_string_equal(text.data, cases[i].want);
        buf_clear(&text);
    }
}

/* A zone one hour east of Greenwich all year, as a TZif file (RFC 8536). */
static const unsigned char east[] =
    "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
    "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\4"
    "\0\0\16\20\0\0CET\0"
    "TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
    "\0\0\0\0\0\0\0\0\0\0\0\0\0\0\1\0\0\0\4"
    "\0\0\16\20\0\0CET\0"
    "\nCET-1\n";

/* A day is the site's: half past eleven at night in UTC is tomorrow there. */
static void test_zone(void **state)
{
    struct event event = FLOW(751.9791667, 2240, USD);
    struct reading r = kit_reading(&event, 1);
    struct zone *zone;
    struct buf text;

    (void)state;
    assert_int_equal(zone_parse(east, sizeof(east) - 1, &zone), ERR_OK);
    buf_init(&text, 256);
    wording_reading(&r, zone, &text);
    assert_non_null(strstr(text.data, "2026-10-26"));
    buf_empty(&text);
    wording_reading(&r, utc, &text);
    assert_non_null(strstr(text.data, "2026-10-25"));
    buf_clear(&text);
    zone_free(zone);
}

/* ---- strength of the sources ----------------------------------------------------------- */

static void test_marks(void **state)
{
    static const struct {
        const char *mark, *want;
    } cases[] = {
        { "F", "or more (found in the published source: BAS08)." },
        { "F2", "or more (from a secondary page: BAS08)." },
        { "M", "or more (from memory, to be checked: BAS08)." },
        { "C", "or more (computed: BAS08)." },
        { "P", "or more (default proposed without a direct source; see "
               "BAS08)." },
    };
    struct world w;

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct policy changed = policy;
        struct policy_value *row = &changed.values[P_HF1_FLOW];
        struct buf text;

        ROW(cases[i].mark);
        set_up(&w, group_scenarios[0].events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
        snprintf(row->mark, sizeof(row->mark), "%s", cases[i].mark);
        snprintf(row->source, sizeof(row->source), "BAS08");
        snprintf(changed.approver, sizeof(changed.approver), "access board");
        w.wording.policy = &changed;
        buf_init(&text, WORDING_SIZE_MAX);
        wording_basis(&w.wording, &text);
        assert_non_null(strstr(text.data, cases[i].want));
        assert_non_null(strstr(text.data, "BAS08: Basile et al."));
        assert_non_null(strstr(text.data, "policy version 1 of 2026-11-25; "
                                          "approval: access board"));
        buf_clear(&text);
    }
}

/* ---- whatever happens -------------------------------------------------------------------- */

/* A fixed sequence: every run sees the same histories (Marsaglia, 2003). */
static uint64_t seed = 88172645463325252ULL;

static unsigned draw(unsigned below)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return (unsigned)((seed >> 11) % below);
}

/* Of an access whose flow keeps to a level, so that rules come to hold. */
static struct event random_event(double level_ml_min)
{
    static const struct {
        enum quantity q;
        double middle; /* 0: the level */
    } numbers[] = {
        { Q_ACCESS_FLOW, 0 },
        { Q_ACCESS_FLOW, 0 },
        { Q_ACCESS_FLOW, 0 },
        { Q_CARDIAC_OUTPUT, 6 },
        { Q_DIGITAL_PRESSURE, 60 },
        { Q_DIGITAL_BRACHIAL_INDEX, 0.5 },
        { Q_SPKTV, 1.2 },
        { Q_SPKTV, 1.2 },
        { Q_STDKTV, 2.1 },
        { Q_URR, 65 },
        { Q_SESSIONS_PER_WEEK, 3 },
        { Q_STATIC_PRESSURE_RATIO, 0.45 },
        { Q_RECIRCULATION, 10 },
        { Q_MEAN_PRESSURE, 90 },
        { Q_PUMP_FLOW, 280 },
        { Q_PRESCRIBED_PUMP_FLOW, 300 },
        { Q_HEIGHT, 1.6 },
        { Q_ARTERIAL_LINE_PRESSURE, -250 },
        { Q_BLEEDING_PROLONGED, 1 },
        { Q_BLEEDING_ACTIVE, 1 },
    };
    double day = 690 + draw(9200) / 100.0;
    unsigned kind = draw(COUNT(numbers));
    double middle =
        numbers[kind].middle != 0 ? numbers[kind].middle : level_ml_min;
    double value = middle * (0.8 + draw(400) / 1000.0);
    enum sign sign = (enum sign)(1 + draw(SIGN_COUNT - 1));

    if (draw(12) == 0)
        return (struct event)SIGN(day, SIGN_BANDED);
    if (draw(3) == 0 &&
        (sign_info(sign)->quantity != Q_ACCESS_INTERVENTION || draw(20) == 0))
        return (struct event)SIGN(day, sign,
                                  .status = (enum reading_status)draw(4),
                                  .absent = draw(5) == 0);
    return (struct event)NUMBER(
        day, numbers[kind].q, value, .method = (enum method)(draw(5) == 0),
        .status = (enum reading_status)(draw(6) == 0 ? draw(4) : 0),
        .bound = (enum bound)(draw(10) == 0 ? draw(5) : 0),
        .precision = draw(6) == 0 ? AT_DAY : AT_SECOND);
}

/* How often each decision was put into words. */
static size_t acts[ACT_END + 1], repeats;

static void check_all(struct world *w, struct episode *episode)
{
    static const text_fn says[] = { wording_headline, wording_suggestion,
                                    wording_description, wording_basis };
    struct buf all;

    judge(w, episode);
    buf_init(&all, 4 * WORDING_SIZE_MAX);
    for (size_t i = 0; i < COUNT(says); i++)
        put(&all, "", says[i], &w->wording);
    if (w->verdict.act == ACT_UPDATE || w->verdict.act == ACT_END)
        put_follow(&all, "", w);
    if (w->verdict.repeat == ACT_OPEN) {
        const struct finding *f = &w->findings.list[w->verdict.repeat_finding];

        buf_empty(&all);
        wording_repeat(&w->wording, f, &all);
        check_text(&all);
        buf_empty(&all);
        wording_repeat_headline(&w->wording, f, &all);
        check_text(&all);
        buf_empty(&all);
        wording_overdue(&w->wording, f, &all);
        check_text(&all);
    }
    if (w->wording.group == GROUP_FLOW) {
        struct readiness readiness;

        readiness_assess(&w->history, &policy, &w->findings, &readiness);
        buf_empty(&all);
        wording_review(&w->wording, &readiness, &all);
        check_text(&all);
        assert_true(all.len <= WORDING_SIZE_MAX);
    }
    repeats += w->verdict.repeat == ACT_OPEN ? 1 : 0;
    acts[w->verdict.act]++;
    if (w->verdict.act != ACT_NOTHING)
        *episode = w->verdict.episode;
    buf_clear(&all);
}

/* What was known on an earlier day, then all of it, then a few withdrawn. */
static void tell_story(const struct event *events, enum sign type,
                       enum group group)
{
    struct episode episode = { .flow_ml_min = NAN };
    struct event early[KIT_EVENTS_MAX] = { { .day = 0 } };
    struct world w;
    size_t n = 0;

    for (size_t i = 0; !kit_is_end(&events[i]); i++) {
        if (events[i].day < 750)
            early[n] = events[i], early[n++].id = (int64_t)i + 1;
    }
    set_up(&w, early, type, group, 750);
    check_all(&w, &episode);
    set_up(&w, events, type, group, NOW);
    check_all(&w, &episode);
    for (int k = 0; k < 4 && w.history.count > 0; k++) {
        struct reading *r = &w.readings[draw((unsigned)w.history.count)];

        r->status = READING_WITHDRAWN;
        r->version++;
    }
    rules_evaluate(&w.history, &policy, &w.findings);
    check_all(&w, &episode);
}

static void test_random(void **state)
{
    static const enum sign types[] = { SIGN_TYPE_AVF, SIGN_TYPE_AVG,
                                       SIGN_TYPE_UNKNOWN };
    static const double levels_ml_min[] = { 2600, 1700, 1000, 420 };

    (void)state;
    for (int round = 0; round < 2000; round++) {
        struct event events[KIT_EVENTS_MAX] = { { .day = 0 } };
        unsigned count = 1 + draw(round % 2 == 0 ? 12 : KIT_EVENTS_MAX - 2);
        enum sign type = types[draw(COUNT(types))];
        double level_ml_min = levels_ml_min[draw(COUNT(levels_ml_min))];

        for (unsigned i = 0; i < count; i++)
            events[i] = random_event(level_ml_min);
        for (int group = 0; group < GROUP_COUNT; group++)
            tell_story(events, type, (enum group)group);
    }
    print_message("    %zu opened, %zu updated, %zu ended, %zu repeats\n",
                  acts[ACT_OPEN], acts[ACT_UPDATE], acts[ACT_END], repeats);
    /* else nothing was tried */
    assert_true(acts[ACT_OPEN] > 200 && acts[ACT_UPDATE] > 200 &&
                acts[ACT_END] > 200 && repeats > 200);
}

/* The ceiling of the header is enough for the longest of all. */
static void test_size(void **state)
{
    static const struct event events[6] = {
        FLOW(751, 2240, USD),
        FLOW(777, 2180, USD),
        OUTPUT(777.01, 6.4, USD),
        SIGN(770, SIGN_HF_PULMONARY_HYPERTENSION),
        SIGN(771, SIGN_PAIN_ON_DIALYSIS_INTOLERABLE),
    };
    static struct policy big;
    struct readiness readiness;
    char label[1000];
    struct world w;
    struct buf text;

    (void)state;
    big = policy;
    big.source_count = POLICY_SOURCES_MAX;
    for (size_t i = 0; i < POLICY_SOURCES_MAX; i++) {
        struct policy_source *s = &big.sources[i];

        snprintf(s->key, sizeof(s->key), "K%zu", i);
        memset(s->citation, 'c', sizeof(s->citation) - 1);
        s->citation[sizeof(s->citation) - 1] = '\0';
    }
    for (size_t i = 0; i < PARAM_TOTAL; i++) {
        size_t from = i * 15 % POLICY_SOURCES_MAX, len = 0;

        for (size_t k = from; len < 59 && k < POLICY_SOURCES_MAX; k++)
            len += (size_t)snprintf(big.values[i].source + len, 64 - len,
                                    "K%zu ", k);
    }
    memset(label, 'L', sizeof(label) - 1);
    label[sizeof(label) - 1] = '\0';
    label[3] = '\n';
    set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
    w.wording.policy = &big;
    w.wording.access_label = label;
    buf_init(&text, WORDING_SIZE_MAX);
    wording_basis(&w.wording, &text);
    check_text(&text);
    buf_empty(&text);
    wording_description(&w.wording, &text);
    check_text(&text);
    assert_non_null(strstr(text.data, "LLL LLL"));
    assert_true(text.len < 4096);
    buf_empty(&text);
    readiness_assess(&w.history, &big, &w.findings, &readiness);
    wording_review(&w.wording, &readiness, &text);
    check_text(&text);
    /* where there is no room the buffer says so, and holds no more */
    buf_clear(&text);
    buf_init(&text, 100);
    wording_description(&w.wording, &text);
    assert_int_equal(buf_ok(&text), ERR_LIMIT);
    assert_true(text.len <= 100);
    buf_clear(&text);
}

/* Nothing to say of a group in which nothing holds. */
static void test_nothing(void **state)
{
    static const struct event events[2] = { FLOW(777, 900, USD) };
    struct world w;
    struct buf text;

    (void)state;
    set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
    buf_init(&text, 256);
    wording_headline(&w.wording, &text);
    wording_suggestion(&w.wording, &text);
    wording_description(&w.wording, &text);
    wording_basis(&w.wording, &text);
    assert_string_equal(text.data, "");
    buf_clear(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_scenarios),
        cmocka_unit_test(test_description_says),
        cmocka_unit_test(test_phone),
        cmocka_unit_test(test_first_things_first),
        cmocka_unit_test(test_no_band),
        cmocka_unit_test(test_follow),
        cmocka_unit_test(test_repeat),
        cmocka_unit_test(test_reading),
        cmocka_unit_test(test_zone),
        cmocka_unit_test(test_marks),
        cmocka_unit_test(test_random),
        cmocka_unit_test(test_size),
        cmocka_unit_test(test_nothing),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
