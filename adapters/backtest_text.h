/*
 * backtest_text - what a back test found, for people and for programs
 *
 * A back test runs past data through the rules as if it arrived now.  Nobody
 * acts on what is suggested in it: an episode stays open until the engine
 * ends it.
 *
 * out->err holds what went wrong (ERR_LIMIT, ERR_MEMORY), see buf_ok.
 */
#ifndef HEADGATE_ADAPTERS_BACKTEST_TEXT_H
#define HEADGATE_ADAPTERS_BACKTEST_TEXT_H

#include "adapters/buf.h"
#include "adapters/zone.h"
#include "planner/policy.h"
#include "planner/triage.h"

enum {
    BACKTEST_LEAD_D = 365,  /* how long a suggestion can precede an event */
    BACKTEST_REPEAT_D = 90, /* opened again so soon: a repeat */
    BACKTEST_WORDS_MAX = 48,
    BACKTEST_COLUMNS = 100
};

/* How often something was said, by its word (static). */
struct backtest_word {
    const char *word;
    unsigned long count;
};

/* What became of the resources that came in. */
struct backtest_fate {
    unsigned long stored, there, held, refused;
    unsigned long late;       /* arrived after the end: left out */
    unsigned long unreadable; /* lines */
    struct backtest_word held_words[BACKTEST_WORDS_MAX];
    struct backtest_word refused_words[BACKTEST_WORDS_MAX];
};

/* The data, which all policies see alike. */
struct backtest_data {
    struct backtest_fate fate;
    unsigned long patients, accesses; /* with readings */
    double patient_months;
    double delay_d; /* median from measurement to arrival; NAN: not known */
    int64_t first_s, last_s; /* arrivals */
    int64_t until_s;         /* where the clock stopped */
    unsigned long events;    /* since the first arrival */
    bool is_export;          /* all arrived on one day, see backtest_feed.h */
    bool effective;          /* arrivals are the times of measurement */
};

/* A reading that a suggestion rests on. */
struct backtest_evidence {
    char reference[96];  /* "Observation/o-1"; "" if it came without an id */
    char identifier[96]; /* value of its first identifier; "" for none */
    int version;
    bool known; /* what follows is filled in */
    bool later; /* not yet when the suggestion was raised */
    enum quantity quantity;
    double value; /* NAN for a sign */
    enum bound bound;
    enum sign sign;
    bool present;
    int64_t at_s;
    enum precision precision;
};

struct backtest_suggestion {
    char *patient, *access; /* identifier value, else id; NULL: has no name */
    enum group group;
    unsigned rules;       /* all that held while it was open; bit 1 << rule */
    unsigned rules_first; /* those that held when it was raised */
    enum urgency urgency; /* the highest reached */
    int64_t raised_s;
    int64_t ended_s; /* 0: open at the end */
    enum end_reason reason;
    bool repeat;   /* see BACKTEST_REPEAT_D */
    double lead_d; /* to the first event after it; NAN: none in time */
    struct backtest_evidence *evidence; /* oldest first */
    size_t evidence_count;
};

/* A line of the table. */
struct backtest_count {
    unsigned long raised; /* a rule: it held when the suggestion was raised */
    unsigned long joined; /* a rule joined a suggestion that was open */
    unsigned long by_urgency[URGENCY_IMMEDIATE + 1];
    unsigned long repeats;
    unsigned long cleared, withdrawn, ended_else, open;
    unsigned long reminders; /* to measure again */
    unsigned long with_event;
    double lead_d; /* median; NAN: no event followed */
};

/* What one policy made of the data. */
struct backtest_report {
    char version[24], approver[80], date[11]; /* as in struct policy */
    struct backtest_suggestion *list;         /* in order of raised_s */
    size_t count;
    struct backtest_count rules[RULE_COUNT], groups[GROUP_COUNT], all;
    bool reminders_by_rule;   /* the store says which rule asked */
    unsigned long unforeseen; /* events without a suggestion before */
    unsigned long given_up;   /* reviews that failed again when tried again */
};

/*
 * backtest_text - the tables, at most BACKTEST_COLUMNS wide
 *
 * against  the same data under another policy, shown beside; NULL: none
 * zone     of the site: dates are of its calendar
 */
void backtest_text(const struct backtest_data *data,
                   const struct backtest_report *report,
                   const struct backtest_report *against,
                   const struct zone *zone, struct buf *out);

/*
 * backtest_json - a JSON object and a line feed for each suggestion
 *
 * Every member is always there; what is not known is null.
 *
 *     policy          version
 *     patient, access by identifier value, else id; an access that nobody
 *                     has named has none
 *     group           group_word
 *     rules           ids of all rules that held while it was open
 *     rules_later     those of them that did not hold when it was raised
 *     urgency         urgency_word: the highest reached
 *     raised_at, ended_at    instants, UTC
 *     end_reason      see backtest_end_word; null while open
 *     repeat          raised within 90 days of the end of one like it
 *     lead_days       to the first event within 365 days
 *     evidence        array of
 *         reference, version    "Observation/o-1", 1; no reference if it came
 *                               without an id
 *         identifier            the value of its first one
 *         code                  of CodeSystem av-observation
 *         value                 a number, true or false, or a code of a sign
 *         comparator            "<", "<=", ">=" or ">" of a bound
 *         present               false: a sign that was looked for in vain
 *         unit                  UCUM
 *         time                  instant, or date as exact as it is known
 *         later                 came after the suggestion was raised
 */
void backtest_json(const struct backtest_report *report,
                   const struct zone *zone, struct buf *out);

/* "cleared", "withdrawn", "superseded", "stage", "inactive", "merged",
 * "elsewhere". */
const char *backtest_end_word(enum end_reason reason);

#endif
