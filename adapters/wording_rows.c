/* The rows of the policy that a rule used, and how strong their sources are. */
#include "adapters/wording_work.h"

#include <string.h>

enum used {
    ALWAYS,
    IF_SEVERE,
    IF_PLAIN,
    IF_SIGN,
    IF_LOST,        /* the thrill is lost */
    IF_LESSER_SIGN, /* another sign alone */
    IF_NO_SIGN
};

/* clang-format off */
static const struct used_row {
    enum rule rule;
    enum used when;
    enum param param;
    const char *before, *after; /* what stands around the value */
} used_rows[] = {
    { RULE_HF_1, ALWAYS, P_HF1_FLOW, "Limit: ", " or more" },
    { RULE_HF_1, ALWAYS, P_HF1_READINGS, "Readings in a row: ", "" },
    { RULE_HF_1, ALWAYS, P_HF1_WINDOW_D, "Days between two: at most ", "" },
    { RULE_HF_1, IF_SIGN, P_HF1_SIGN_WINDOW_D,
      "Signs of heart or hand: of the last ", " days" },
    { RULE_HF_1, IF_SIGN, P_HF1_URGENCY_SIGN,
      "To be seen: ", ", because of the signs" },
    { RULE_HF_1, IF_NO_SIGN, P_HF1_URGENCY, "To be seen: ", "" },
    { RULE_HF_2, ALWAYS, P_HF2_FLOW, "Limit: ", " or more" },
    { RULE_HF_2, ALWAYS, P_HF2_READINGS, "Readings in a row: ", "" },
    { RULE_HF_2, ALWAYS, P_HF2_WINDOW_D, "Days between two: at most ", "" },
    { RULE_HF_2, ALWAYS, P_HF2_URGENCY, "To be seen: ", "" },
    { RULE_HF_3, IF_SEVERE, P_HF3_RATIO_SEVERE, "Limit: ", " or more" },
    { RULE_HF_3, IF_SEVERE, P_HF3_FLOW_SEVERE, "With a flow of: ", " or more" },
    { RULE_HF_3, IF_SEVERE, P_HF3_REPEAT_D,
      "Confirmed by a second within: ", " days" },
    { RULE_HF_3, IF_SEVERE, P_HF3_URGENCY_SEVERE, "To be seen: ", "" },
    { RULE_HF_3, IF_PLAIN, P_HF3_RATIO, "Limit: ", " or more" },
    { RULE_HF_3, IF_PLAIN, P_HF3_FLOW, "With a flow of: ", " or more" },
    { RULE_HF_3, IF_PLAIN, P_HF3_READINGS, "Readings in a row: ", "" },
    { RULE_HF_3, IF_PLAIN, P_HF3_WINDOW_D, "Days between two: at most ", "" },
    { RULE_HF_3, IF_PLAIN, P_HF3_URGENCY, "To be seen: ", "" },
    { RULE_IS_2, ALWAYS, P_IS2_GRADE, "Limit: ", " or worse" },
    { RULE_IS_2, ALWAYS, P_IS2_URGENCY, "To be seen: ", "" },
    { RULE_IS_3, ALWAYS, P_IS3_GRADE, "Limit: ", " or worse" },
    { RULE_IS_3, IF_SIGN, P_IS3_URGENCY_MOTOR,
      "To be seen: ", ", because of the new weakness" },
    { RULE_IS_3, IF_NO_SIGN, P_IS3_URGENCY, "To be seen: ", "" },
    { RULE_IS_4, IF_SEVERE, P_IS4_GRADE, "Limit: ", " or worse" },
    { RULE_IS_4, IF_SEVERE, P_IS4_URGENCY, "To be seen: ", "" },
    { RULE_IS_4, IF_PLAIN, P_IS4_GRADE_MILD, "Limit: ", " or worse" },
    { RULE_IS_4, IF_PLAIN, P_IS4_READINGS_MILD, "Sessions with it: ", "" },
    { RULE_IS_4, IF_PLAIN, P_IS4_WINDOW_D, "Within: ", " days" },
    { RULE_IS_4, IF_PLAIN, P_IS4_URGENCY_MILD, "To be seen: ", "" },
    { RULE_IS_5, ALWAYS, P_IS5_PRESSURE, "Limit of the finger pressure: below ",
      "" },
    { RULE_IS_5, ALWAYS, P_IS5_INDEX,
      "Limit of the digital-brachial index: below ", "" },
    { RULE_IS_5, IF_SEVERE, P_IS5_INDEX_SEVERE, "More serious: an index below ",
      "" },
    { RULE_IS_5, IF_PLAIN, P_IS5_REPEAT_D,
      "Confirmed by a second within: ", " days" },
    { RULE_IS_5, ALWAYS, P_IS5_SYMPTOM_WINDOW_D, "Symptoms: of the last ",
      " days" },
    { RULE_IS_5, IF_SEVERE, P_IS5_URGENCY_SEVERE,
      "To be seen, with symptoms: ", "" },
    { RULE_IS_5, IF_PLAIN, P_IS5_URGENCY, "To be seen, with symptoms: ", "" },
    { RULE_IS_6, ALWAYS, P_IS6_FLOW, "Limit: ", " or more" },
    { RULE_IS_6, ALWAYS, P_IS6_WINDOW_D, "Flow of the last: ", " days" },
    { RULE_IS_7, ALWAYS, P_IS7_FLOW, "Limit: below ", "" },
    { RULE_IS_7, ALWAYS, P_IS7_WINDOW_D, "Flow of the last: ", " days" },
    { RULE_LF_1, ALWAYS, P_LF1_FLOW, "Limit: below ", "" },
    { RULE_LF_1, ALWAYS, P_LF1_READINGS, "Readings in a row: ", "" },
    { RULE_LF_1, ALWAYS, P_LF1_WINDOW_D, "Days between two: at most ", "" },
    { RULE_LF_1, IF_SIGN, P_LF1_SIGN_WINDOW_D, "Clinical signs: of the last ",
      " days" },
    { RULE_LF_1, IF_LESSER_SIGN, P_LF1_URGENCY_SIGN,
      "To be seen: ", ", because of the signs" },
    { RULE_LF_1, IF_LOST, P_LF_URGENCY_THRILL_LOST,
      "To be seen: ", ", because the thrill is lost" },
    { RULE_LF_1, IF_NO_SIGN, P_LF1_URGENCY, "To be seen: ", "" },
    { RULE_LF_2, ALWAYS, P_LF2_FLOW, "Limit: below ", "" },
    { RULE_LF_2, ALWAYS, P_LF2_READINGS, "Readings in a row: ", "" },
    { RULE_LF_2, ALWAYS, P_LF2_WINDOW_D, "Days between two: at most ", "" },
    { RULE_LF_2, IF_SIGN, P_LF2_SIGN_WINDOW_D, "Clinical signs: of the last ",
      " days" },
    { RULE_LF_2, IF_LESSER_SIGN, P_LF2_URGENCY_SIGN,
      "To be seen: ", ", because of the signs" },
    { RULE_LF_2, IF_LOST, P_LF_URGENCY_THRILL_LOST,
      "To be seen: ", ", because the thrill is lost" },
    { RULE_LF_2, IF_NO_SIGN, P_LF2_URGENCY, "To be seen: ", "" },
};
/* clang-format on */

static bool is_used(const struct wording *w, const struct finding *f,
                    enum used when)
{
    switch (when) {
    case ALWAYS:
        return true;
    case IF_SEVERE:
        return f->severe;
    case IF_PLAIN:
        return !f->severe;
    case IF_SIGN:
        return f->with_sign;
    case IF_LOST:
        return seen_thrill_lost(w, f);
    case IF_LESSER_SIGN:
        return f->with_sign && !seen_thrill_lost(w, f);
    case IF_NO_SIGN:
        return !f->with_sign;
    }
    return false;
}

static const char *mark_words(const char *mark)
{
    static const struct {
        const char *mark, *words;
    } rows[] = {
        { "F", "found in the published source" },
        { "F2", "from a secondary page" },
        { "M", "from memory, to be checked" },
        { "C", "computed" },
        { "P", "default proposed without a direct source" },
    };

    for (size_t i = 0; i < COUNT(rows); i++) {
        if (strcmp(rows[i].mark, mark) == 0)
            return rows[i].words;
    }
    return "strength of the source not stated";
}

void say_strength(const struct wording *w, enum param p,
                  struct named_sources *named, struct buf *out)
{
    const struct policy_value *row = &w->policy->values[p];
    const char *at = row->source;

    buf_printf(out, " (%s", mark_words(row->mark));
    /* a proposed default may still lean on something */
    if (at[strspn(at, " ")] != '\0')
        buf_puts(out, strcmp(row->mark, "P") == 0 ? "; see" : ":");
    for (;;) {
        size_t len;

        at += strspn(at, " ");
        len = strcspn(at, " ");
        if (len == 0)
            break;
        buf_puts(out, " ");
        buf_add(out, at, len);
        for (size_t i = 0; i < w->policy->source_count; i++) {
            const char *key = w->policy->sources[i].key;

            if (strlen(key) == len && memcmp(key, at, len) == 0)
                named->is[i] = true;
        }
        at += len;
    }
    buf_puts(out, ")");
}

static void say_row_value(const struct wording *w, enum param p,
                          struct buf *out)
{
    if (param_info(p)->kind != PARAM_URGENCY)
        say_limit(w, p, out);
    else if (policy_urgency(w->policy, p) == URGENCY_NOTE)
        buf_puts(out, "a remark only");
    else
        say_within(w, policy_urgency(w->policy, p), out);
}

void say_rows(const struct wording *w, const struct finding *f,
              struct named_sources *named, struct buf *out)
{
    for (size_t i = 0; i < COUNT(used_rows); i++) {
        const struct used_row *row = &used_rows[i];

        if (row->rule != f->rule || !is_used(w, f, row->when))
            continue;
        buf_puts(out, row->before);
        say_row_value(w, row->param, out);
        buf_puts(out, row->after);
        say_strength(w, row->param, named, out);
        buf_puts(out, ".\n");
    }
}

void say_sources(const struct wording *w, const struct named_sources *named,
                 struct buf *out)
{
    bool any = false;

    for (size_t i = 0; i < w->policy->source_count; i++) {
        const struct policy_source *source = &w->policy->sources[i];

        if (!named->is[i])
            continue;
        buf_puts(out, any ? "" : "\nSources:\n");
        any = true;
        say_clean(out, source->key);
        buf_puts(out, ": ");
        say_clean(out, source->citation);
        buf_puts(out, "\n");
    }
}
