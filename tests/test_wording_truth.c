/*
 * What a text says must be true on the day on which it is read: what is told
 * late is not told as of now, an end says how it came about, and nothing is
 * claimed that was not measured.  Common sense, no source; both sides of each.
 */
#include "tests/test.h"
#include "tests/wording_kit.h"

#define WEAK(d) SIGN(d, SIGN_MOTOR_WEAKNESS)
#define BLEEDS(d, ...)                                                         \
    {                                                                          \
        .day = (d), .quantity = Q_BLEEDING_ACTIVE, .value = 1, __VA_ARGS__     \
    }

enum { SAYS_MAX = 5 };

static void check_says(const struct buf *text, const char *const *says,
                       const char *const *never)
{
    check_text(text);
    for (size_t i = 0; i < SAYS_MAX && says[i] != NULL; i++) {
        if (strstr(text->data, says[i]) == NULL)
            fail_msg("\"%s\" is not in: %s", says[i], text->data);
    }
    for (size_t i = 0; i < SAYS_MAX && never[i] != NULL; i++) {
        if (strstr(text->data, never[i]) != NULL)
            fail_msg("\"%s\" is in: %s", never[i], text->data);
    }
}

static void check_one(text_fn say, const struct wording *w,
                      const char *const *says, const char *const *never)
{
    struct buf text;

    buf_init(&text, WORDING_SIZE_MAX);
    say(w, &text);
    assert_true(text.len > 0);
    check_says(&text, says, never);
    buf_clear(&text);
}

/* ---- an emergency of long ago ------------------------------------------------- */

/* The limit of general.due_asap_d is 2 whole days: three days ago is late. */
#define LIMIT_D (NOW - 3)

static const struct {
    const char *name;
    enum group group;
    struct event events[5];
    const char *late; /* NULL: it is one of now */
} late_cases[] = {
    { "bleeding 20 days ago", GROUP_BLEEDING, { BLEEDS(762) }, "20 days ago" },
    { "three days ago", GROUP_BLEEDING, { BLEEDS(LIMIT_D) }, "3 days ago" },
    { "not quite three days ago",
      GROUP_BLEEDING,
      { BLEEDS(LIMIT_D, .more_s = 1) },
      NULL },
    { "bleeding again today",
      GROUP_BLEEDING,
      { BLEEDS(762), BLEEDS(782.3) },
      NULL },
    { "weakness, the day known",
      GROUP_HAND,
      { SIGN(770.6, SIGN_MOTOR_WEAKNESS, .precision = AT_DAY) },
      "12 days ago" },
    { "a flow beside the hand is no emergency",
      GROUP_HAND,
      { WEAK(770.3), FLOW(782.2, 1500, USD) },
      "12 days ago" },
    { "a later sign of another emergency",
      GROUP_HAND,
      { SIGN(770.3, SIGN_HAND_ULCER), WEAK(782.3) },
      NULL },
    { "a flow beside the lost thrill is no emergency",
      GROUP_LOW_FLOW,
      { NUMBER(640, Q_PUMP_FLOW, 300), FLOW(760, 410, USD),
        SIGN(770.3, SIGN_THRILL_ABSENT), FLOW(781.3, 400, USD) },
      "12 days ago" },
    { "sepsis",
      GROUP_INFECTION,
      { SIGN(775.3, SIGN_INFECTION_SEPSIS) },
      "7 days ago" },
    { "urgent, no emergency",
      GROUP_HAND,
      { SIGN(775.3, SIGN_PAIN_AT_REST) },
      NULL },
};

static void test_late(void **state)
{
    static const text_fn texts[] = { wording_headline, wording_suggestion,
                                     wording_description, wording_basis };
    static const char *const none[SAYS_MAX] = { NULL };

    (void)state;
    for (size_t i = 0; i < COUNT(late_cases); i++) {
        const char *late = late_cases[i].late;
        const char *says[SAYS_MAX] = {
            late, late != NULL ? " and reported now (2026-11-25): ask the unit "
                                 "at once whether it was dealt with"
                               : NULL
        };
        const char *never[SAYS_MAX] = { "days ago", "reported now" };
        struct world w;

        ROW(late_cases[i].name);
        set_up(&w, late_cases[i].events, SIGN_TYPE_AVF, late_cases[i].group,
               NOW);
        for (size_t k = 0; k < COUNT(texts); k++)
            check_one(texts[k], &w.wording, late != NULL ? says : none,
                      late != NULL ? none : never);
    }
}

/* The question stands before the advice. */
static void test_late_before_advice(void **state)
{
    struct world w;
    struct buf text;
    const char *ask, *advice;

    (void)state;
    set_up(&w, late_cases[0].events, SIGN_TYPE_AVF, GROUP_BLEEDING, NOW);
    buf_init(&text, WORDING_SIZE_MAX);
    wording_description(&w.wording, &text);
    ask = strstr(text.data, "\nSeen 20 days ago");
    advice = strstr(text.data, "firm direct pressure");
    assert_true(ask != NULL && advice != NULL && ask < advice);
    buf_clear(&text);
}

/* One that people were told of in time is not "reported now" ever after, nor
 * is it so to a person who asks. */
static void test_late_known(void **state)
{
    static const char *const says[SAYS_MAX] = {
        "een 20 days ago (as of 2026-11-25): ask the unit at once"
    };
    static const char *const never[SAYS_MAX] = { "reported now" };
    struct readiness readiness;
    struct world w;
    struct buf text;

    (void)state;
    set_up(&w, late_cases[0].events, SIGN_TYPE_AVF, GROUP_BLEEDING, NOW);
    w.wording.due_s = kit_s(762);
    check_one(wording_description, &w.wording, says, never);
    check_one(wording_headline, &w.wording, says, never);
    readiness_assess(&w.history, &policy, &w.findings, &readiness);
    buf_init(&text, WORDING_SIZE_MAX);
    wording_review(&w.wording, &readiness, &text);
    check_says(&text, says, never);
    buf_clear(&text);
}

/* ---- the same emergency, seen again --------------------------------------------- */

static void test_again(void **state)
{
    static const struct event before[] = { WEAK(772.3), { .day = 0 } };
    static const struct event after[] = { WEAK(772.3),
                                          WEAK(782.3),
                                          { .day = 0 } };
    static const char *const says[SAYS_MAX] = {
        "Phone now: this Task does not replace a call. Update of 2026-11-25. "
        "1 reading was added.",
        "The same sign of emergency was seen again in a later session: ask at "
        "once what was done about it. This was to be seen by 2026-11-15."
    };
    static const char *const never[SAYS_MAX] = { "days ago", "more urgent" };
    struct episode episode = { .flow_ml_min = NAN };
    struct world w;
    struct buf text;

    (void)state;
    set_up(&w, before, SIGN_TYPE_AVF, GROUP_HAND, 772.4166667);
    judge(&w, &episode);
    assert_int_equal(w.verdict.act, ACT_OPEN);
    episode = w.verdict.episode;
    set_up(&w, after, SIGN_TYPE_AVF, GROUP_HAND, NOW);
    judge(&w, &episode);
    assert_int_equal(w.verdict.act, ACT_UPDATE);
    assert_true(w.verdict.again);
    w.wording.due_s = kit_s(772.4166667);
    buf_init(&text, WORDING_SIZE_MAX);
    wording_update(&w.wording, &w.verdict, &text);
    check_says(&text, says, never);
    buf_empty(&text);
    w.wording.due_s = w.history.now_s;
    wording_update(&w.wording, &w.verdict, &text);
    assert_non_null(strstr(text.data, "This is to be seen today, 2026-11-25."));
    buf_clear(&text);
}

/* ---- how a visit ends -------------------------------------------------------------- */

static void test_visit_ends(void **state)
{
    static const struct {
        const char *name;
        enum why why;
        bool next; /* the next visit is due */
        const char *want;
    } cases[] = {
        { "recorded", WHY_DONE, false,
          "What the visit asked for has been recorded" },
        { "not recorded", WHY_HOLDS, true,
          "What the visit asked for was not recorded; the next visit is due" },
        { "no band", WHY_NO_BAND, false,
          "No visit after the band is due any more" },
    };
    static const struct event events[] = { SIGN(772.4, SIGN_BANDED),
                                           { .day = 0 } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf reason, note;
        struct world w;

        ROW(cases[i].name);
        set_up(&w, events, SIGN_TYPE_AVF, GROUP_FOLLOW_UP, NOW);
        assert_non_null(rules_find(&w.findings, RULE_PB_1));
        if (!cases[i].next)
            w.findings.count = 0;
        w.findings.why[RULE_PB_1] = cases[i].why;
        w.verdict = (struct verdict){ .act = ACT_END, .reason = END_CLEARED };
        buf_init(&reason, WORDING_SIZE_MAX);
        buf_init(&note, WORDING_SIZE_MAX);
        wording_end(&w.wording, &w.verdict, &reason, &note);
        assert_string_equal(reason.data, cases[i].want);
        assert_non_null(strstr(note.data, cases[i].want));
        check_text(&note);
        buf_clear(&reason);
        buf_clear(&note);
    }
}

static void test_reminder_ends(void **state)
{
    static const struct {
        bool done;
        int64_t occasion;
        const char *want;
    } cases[] = {
        { true, 0, "What was asked for has been recorded" },
        { true, 1, "What was asked for has been recorded" },
        { false, 1,
          "Not recorded in time: a suggestion tells of it now, or the next "
          "visit is due; or the band is no longer in place" },
        { false, 0,
          "No longer asked for: confirmed, told in a suggestion, or the "
          "reading that asked for it no longer stands" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct verdict v = { .repeat = ACT_END,
                             .repeat_done = cases[i].done,
                             .repeat_state.occasion = cases[i].occasion };
        struct buf text;

        buf_init(&text, 256);
        wording_repeat_end(&v, &text);
        assert_string_equal(text.data, cases[i].want);
        buf_clear(&text);
    }
}

/* ---- what is said of readings -------------------------------------------------------- */

#define URR(d, v)  NUMBER(d, Q_URR, v)
#define PRE(d, v)  NUMBER(d, Q_UREA_PRE, v)
#define POST(d, v) NUMBER(d, Q_UREA_POST, v)

/* What each text of a history says, and what it never says. */
static const struct told {
    const char *name;
    enum group group;
    text_fn text;
    struct event events[14];
    const char *says[SAYS_MAX], *never[SAYS_MAX];
} told[] = {
    /* a result and the urea it goes with are one value */
    { "one result beside its raw values",
      GROUP_DOSE,
      wording_description,
      { NUMBER(750, Q_SESSIONS_PER_WEEK, 3), PRE(755.3, 30), POST(755.5, 12),
        URR(755.6, 60), PRE(776.3, 30), POST(776.5, 12.3), URR(776.6, 59) },
      { "60 % on 2026-10-29, then 59 % on 2026-11-19" },
      { "mean of" } },
    { "two results beside raw values",
      GROUP_DOSE,
      wording_description,
      { NUMBER(750, Q_SESSIONS_PER_WEEK, 3), PRE(755.3, 30), POST(755.5, 12),
        URR(755.6, 60), PRE(776.3, 30), POST(776.5, 12.3), URR(776.55, 59),
        URR(776.6, 59) },
      { "59 % on 2026-11-19 (mean of 2)" },
      { "mean of 3", "mean of 4" } },
    /* three ratios make the rule */
    { "three ratios in a queue",
      GROUP_LOW_FLOW,
      wording_headline,
      { NUMBER(755.3, Q_STATIC_PRESSURE_RATIO, 0.41),
        NUMBER(762.3, Q_STATIC_PRESSURE_RATIO, 0.36),
        NUMBER(769.3, Q_STATIC_PRESSURE_RATIO, 0.40),
        NUMBER(776.3, Q_STATIC_PRESSURE_RATIO, 0.37) },
      { "ratio 0.36 then 0.40 then 0.37 (limit" },
      { "0.41" } },
    { "a share has its flow beside it",
      GROUP_FLOW,
      wording_headline,
      { FLOW(760.35, 1310, USD), OUTPUT(760.36, 4.1, USD),
        FLOW(778.35, 1290, USD), OUTPUT(778.37, 4.2, USD) },
      { "31 % of the cardiac output at a flow of 1290 mL/min (limit 30 %, "
        "HF-3" },
      { "1310" } },
    /* a high flow with signs is none without */
    { "high flow alone",
      GROUP_FLOW,
      wording_suggestion,
      { FLOW(751, 1740, USD), FLOW(777, 1680, USD) },
      { "repeat the flow in 3 months", "disputed" },
      { NULL } },
    { "very high flow alone",
      GROUP_FLOW,
      wording_suggestion,
      { FLOW(751, 2240, USD), FLOW(777, 2180, USD) },
      { "disputed" },
      { NULL } },
    { "high flow beside a sign of the heart",
      GROUP_FLOW,
      wording_suggestion,
      { FLOW(751, 1740, USD), FLOW(777, 1680, USD), SIGN(770, SIGN_HF_NYHA_3) },
      { "Joint review", "Examine the hand as well." },
      { "3 months", "disputed" } },
    { "high flow beside rest pain",
      GROUP_FLOW,
      wording_suggestion,
      { FLOW(751, 1740, USD), FLOW(777, 1680, USD),
        SIGN(781, SIGN_PAIN_AT_REST) },
      { "review the flow together with the signs" },
      { "3 months", "disputed" } },
    { "very high flow beside rest pain",
      GROUP_FLOW,
      wording_suggestion,
      { FLOW(751, 2240, USD), FLOW(777, 2180, USD),
        SIGN(781, SIGN_PAIN_AT_REST) },
      { "whether the flow should be reduced" },
      { "3 months", "disputed" } },
    /* sepsis has a pathway of its own */
    { "sepsis",
      GROUP_INFECTION,
      wording_suggestion,
      { SIGN(782, SIGN_INFECTION_SEPSIS) },
      { "follow the local sepsis pathway" },
      { NULL } },
    { "exposed graft",
      GROUP_INFECTION,
      wording_suggestion,
      { SIGN(782, SIGN_GRAFT_EXPOSED) },
      { "follow the local sepsis pathway" },
      { NULL } },
    { "redness",
      GROUP_INFECTION,
      wording_suggestion,
      { SIGN(782, SIGN_INFECTION_LOCAL) },
      { "take cultures" },
      { "sepsis" } },
    /* complaints that can be borne are no ground for revascularisation */
    { "grade 2a, flow not high",
      GROUP_HAND,
      wording_suggestion,
      { FLOW(779, 820, USD), SIGN(775, SIGN_GRADE_2A),
        SIGN(780, SIGN_GRADE_2A) },
      { "image the inflow artery of the access", "is not suited" },
      { "revascularisation" } },
    { "grade 2b, flow not high",
      GROUP_HAND,
      wording_suggestion,
      { FLOW(779, 820, USD), SIGN(780, SIGN_GRADE_2B) },
      { "revascularisation", "is not suited" },
      { NULL } },
    { "grade 2a and a low finger pressure",
      GROUP_HAND,
      wording_suggestion,
      { FLOW(779, 820, USD), SIGN(775, SIGN_GRADE_2A), SIGN(780, SIGN_GRADE_2A),
        FINGER(772, 48), FINGER(780.1, 47) },
      { "revascularisation" },
      { NULL } },
    /* a visit asks; whether it was recorded changes from day to day */
    { "a visit that is overdue",
      GROUP_FOLLOW_UP,
      wording_description,
      { FLOW(740, 2400, USD), SIGN(763.4, SIGN_BANDED) },
      { "is overdue", "Asks for: " },
      { "ot recorded yet" } },
};

static void test_told(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(told); i++) {
        struct world w;

        ROW(told[i].name);
        set_up(&w, told[i].events, SIGN_TYPE_AVF, told[i].group, NOW);
        check_one(told[i].text, &w.wording, told[i].says, told[i].never);
    }
}

/* Sixteen readings are listed, the newest; how many more there are is said. */
static void test_readings_listed(void **state)
{
    static const struct {
        size_t count;
        const char *says, *never;
    } cases[] = {
        { 16, "HF-1, Access flow very high\nReadings used: 2301 mL/min",
          "earlier" },
        { 17, "Readings used: 2302 mL/min", "2301 mL/min on" },
        { 17, "; and 1 earlier.", "more earlier" },
        { EVIDENCE_MAX, "; and 8 or more earlier.", "2301 mL/min on" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const char *says[SAYS_MAX] = { cases[i].says };
        const char *never[SAYS_MAX] = { cases[i].never };
        struct event events[KIT_EVENTS_MAX] = { { .day = 0 } };
        struct finding *f;
        struct world w;

        ROW(cases[i].says);
        for (size_t k = 0; k < cases[i].count; k++)
            events[k] =
                (struct event)FLOW(782 - (double)cases[i].count + (double)k,
                                   2301 + (double)k, USD);
        set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
        assert_non_null(rules_find(&w.findings, RULE_HF_1));
        f = &w.findings
                 .list[rules_find(&w.findings, RULE_HF_1) - w.findings.list];
        f->evidence_count = cases[i].count;
        for (size_t k = 0; k < cases[i].count; k++)
            f->evidence[k] = k;
        check_one(wording_basis, &w.wording, says, never);
    }
}

/* ---- why not ---------------------------------------------------------------------------- */

static const struct {
    const char *name;
    enum rule rule;
    struct event events[8];
    const char *says[SAYS_MAX], *never[SAYS_MAX];
} why_cases[] = {
    { "flows from before a band are of another stage",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD), SIGN(765, SIGN_BANDED),
        FLOW(780, 1090, USD) },
      { "Newest: access flow 1090 mL/min on 2026-11-23." },
      { "2269", "2300" } },
    { "flows of one stage",
      RULE_HF_1,
      { FLOW(740, 1269, USD), FLOW(780, 1090, USD) },
      { "access flow 1269 mL/min on 2026-10-14, then 1090 mL/min" },
      { NULL } },
    { "nothing since the band",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD), SIGN(780, SIGN_BANDED) },
      { "No: band placed on 2026-11-23: a new stage began" },
      { "2269", "2300", "final", "Newest" } },
    { "the band known by its dowel",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD),
        NUMBER(780, Q_DOWEL_DIAMETER, 4) },
      { "No: band placed on 2026-11-23: a new stage began" },
      { "owel", "4.0 mm" } },
    { "a band that was stretched",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD),
        NUMBER(780, Q_BAND_STRETCHED, 5) },
      { "No: band stretched on 2026-11-23: a new stage began" },
      { "5.0 mm" } },
    { "inflow treated",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD),
        SIGN(780, SIGN_ANGIOPLASTY_INFLOW) },
      { "No: inflow angioplasty on 2026-11-23: a new stage began" },
      { NULL } },
    { "closed",
      RULE_HF_1,
      { FLOW(740, 2269, USD), FLOW(760, 2300, USD), SIGN(780, SIGN_CLOSED) },
      { "No: access closed on 2026-11-23: nothing of the kind is expected" },
      { "new stage" } },
};

static void test_why(void **state)
{
    (void)state;
    for (size_t i = 0; i < COUNT(why_cases); i++) {
        struct world w;
        struct buf text;

        ROW(why_cases[i].name);
        set_up(&w, why_cases[i].events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
        buf_init(&text, WORDING_SIZE_MAX);
        wording_why(&w.wording, why_cases[i].rule, &text);
        check_says(&text, why_cases[i].says, why_cases[i].never);
        buf_clear(&text);
    }
}

/* What contradicts itself is not "nothing recorded"; an access that is no
 * longer in use is watched for what can kill. */
static void test_why_new(void **state)
{
    static const struct event events[] = { FLOW(777, 900, USD), { .day = 0 } };
    static const struct {
        enum why why;
        const char *says[SAYS_MAX], *never[SAYS_MAX];
    } cases[] = {
        { WHY_CONTRADICTORY,
          { "No: the measurements contradict each other, so none is used; "
            "measure or sample again. It takes" },
          { "Newest", "recorded" } },
        { WHY_INACTIVE,
          { "No: the access is recorded as no longer in use: only haemorrhage "
            "and infection are looked at." },
          { "Newest", "It takes" } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct world w;
        struct buf text;

        set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
        w.findings.why[RULE_HF_1] = cases[i].why;
        buf_init(&text, WORDING_SIZE_MAX);
        wording_why(&w.wording, RULE_HF_1, &text);
        check_says(&text, cases[i].says, cases[i].never);
        buf_clear(&text);
    }
}

/* ---- the whole of an access ------------------------------------------------------------ */

/* What holds stands first, all else below one heading, limits in one line. */
static void test_review_order(void **state)
{
    static const struct event events[] = { FLOW(770.35, 652, USD),
                                           SIGN(781.50, SIGN_GRADE_3),
                                           { .day = 0 } };
    struct readiness readiness;
    struct world w;
    struct buf text;
    const char *heading, *limits;

    (void)state;
    set_up(&w, events, SIGN_TYPE_AVF, GROUP_FLOW, NOW);
    readiness_assess(&w.history, &policy, &w.findings, &readiness);
    buf_init(&text, WORDING_SIZE_MAX);
    wording_review(&w.wording, &readiness, &text);
    check_text(&text);
    heading = strstr(text.data, "\nRules that do not hold\n");
    assert_non_null(heading);
    for (int r = 0; r < RULE_COUNT; r++) {
        char title[16];
        const char *at;

        snprintf(title, sizeof(title), "\n%s, ", rule_info((enum rule)r)->id);
        at = strstr(text.data, title);
        assert_non_null(at);
        assert_null(strstr(at + 1, title)); /* once */
        assert_int_equal(at < heading,
                         rules_find(&w.findings, (enum rule)r) != NULL);
    }
    assert_non_null(strstr(heading, "\nHF-1, Access flow very high: what was "
                                    "seen is not beyond the limit. Newest: "));
    limits = strstr(heading, "\nHF-1, ");
    limits = strchr(limits + 1, '\n');
    assert_int_equal(
        strncmp(limits, "\nLimits: 2000 mL/min or more (F: BAS08 ", 39), 0);
    buf_clear(&text);
}

/* ---- who answers for the limits ----------------------------------------------------------- */

static void test_approver(void **state)
{
    static const struct {
        const char *approver, *want;
    } cases[] = {
        { "not approved: defaults as shipped",
          "NOT APPROVED (defaults as shipped)" },
        { "Not approved", "NOT APPROVED" },
        { "not approved, under review", "NOT APPROVED (under review)" },
        { "access board", "approved by: access board" },
        { "nobody", "approved by: nobody" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct buf text;

        buf_init(&text, 256);
        wording_approver(cases[i].approver, &text);
        assert_string_equal(text.data, cases[i].want);
        buf_clear(&text);
    }
}

/* How many readings it takes is said as the site has set it. */
static void test_confirmation(void **state)
{
    static const struct {
        double readings, of_last;
        const char *want;
    } cases[] = {
        { 2, 2, "2 readings in a row" },
        { 3, 4, "3 of the last 4 readings" },
        { 1, 1, "one reading" },
    };
    struct wording w = { .policy = &policy };
    struct buf out;

    (void)state;
    buf_init(&out, 1024);
    for (size_t i = 0; i < COUNT(cases); i++) {
        struct policy_value *values = policy.values;
        double readings = values[P_HF2_READINGS].value;
        double of_last = values[P_HF2_OF_LAST].value;

        values[P_HF2_READINGS].value = cases[i].readings;
        values[P_HF2_OF_LAST].value = cases[i].of_last;
        buf_empty(&out);
        wording_limit(&w, P_HF2_READINGS, &out);
        assert_string_equal(out.data, cases[i].want);
        values[P_HF2_READINGS].value = readings;
        values[P_HF2_OF_LAST].value = of_last;
    }
    buf_clear(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_late),
        cmocka_unit_test(test_late_before_advice),
        cmocka_unit_test(test_late_known),
        cmocka_unit_test(test_again),
        cmocka_unit_test(test_visit_ends),
        cmocka_unit_test(test_reminder_ends),
        cmocka_unit_test(test_told),
        cmocka_unit_test(test_readings_listed),
        cmocka_unit_test(test_why),
        cmocka_unit_test(test_why_new),
        cmocka_unit_test(test_review_order),
        cmocka_unit_test(test_approver),
        cmocka_unit_test(test_confirmation),
    };

    return cmocka_run_group_tests(tests, start, stop);
}
