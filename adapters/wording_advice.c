/* What is suggested: which sentence fits, and what every rule may add. */
#include "adapters/wording_work.h"

#include <string.h>

static bool has_grade(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (w->history->readings[f->evidence[i]].quantity ==
            Q_HAND_ISCHAEMIA_GRADE)
            return true;
    }
    return false;
}

bool seen_hand_emergency(const struct wording *w)
{
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f->confirmed && (f->rule == RULE_IS_1 || f->rule == RULE_IS_2 ||
                             (f->rule == RULE_IS_3 && f->with_sign)))
            return true;
    }
    return false;
}

static bool is_of_dose(const struct finding *f)
{
    return f->quantity == Q_SPKTV || f->quantity == Q_STDKTV ||
           f->quantity == Q_URR;
}

/* Urgent because the dose falls as well, and no sign was seen? */
static bool is_for_dose(const struct wording *w, const struct finding *f)
{
    struct buf none;
    size_t signs;

    /* a fall of the dose may be said in full at another access */
    if (!f->with_sign)
        return false;
    buf_init(&none, WORDING_SIZE_MAX);
    signs = seen_signs(w, f, false, &none);
    buf_clear(&none);
    return signs == 0;
}

/* A high flow beside these is not one without signs. */
static bool is_beside_signs(const struct wording *w)
{
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f->confirmed && !f->historic && f->urgency > URGENCY_NOTE &&
            (f->rule == RULE_HF_4 ||
             (rule_info(f->rule)->group == GROUP_HAND && f->rule != RULE_IS_8)))
            return true;
    }
    return false;
}

/* Are the complaints of the hand such as can be borne, and no more found? */
static bool is_tolerable(const struct wording *w)
{
    bool mild = false;

    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (rule_info(f->rule)->group != GROUP_HAND || !f->confirmed ||
            f->urgency == URGENCY_NOTE || f->rule == RULE_IS_6 ||
            f->rule == RULE_IS_7 || f->rule == RULE_IS_8)
            continue;
        if (f->rule != RULE_IS_4 || f->grade > GRADE_2A)
            return false;
        mild = true;
    }
    return mild;
}

static bool is_beside_nerves(const struct wording *w)
{
    const struct finding *nerves = rules_find(w->findings, RULE_IS_1);

    return nerves != NULL && nerves->confirmed;
}

/* Of a size that is predicted for after an opening: is a band spoken against? */
static bool is_without_size(const struct wording *w)
{
    const struct prediction *opening =
        &w->findings->predictions[PREDICT_OPENING];

    return seen_is_predicted(w, PREDICT_OPENING) &&
           (opening->distal || opening->excluded);
}

static bool fits(const struct wording *w, const struct finding *f,
                 enum circumstance when)
{
    switch (when) {
    case ANY:
        return true;
    case NOW:
        return f->urgency == URGENCY_IMMEDIATE;
    case EXTENDED_NOW:
        return f->grade == GRADE_4B && fits(w, f, NOW);
    case NERVES_NOW:
        return is_beside_nerves(w) && fits(w, f, NOW);
    case SIGN_NOW:
        return f->with_sign && fits(w, f, NOW);
    case ELSEWHERE:
        return f->elsewhere;
    case WITH_SIGN:
        return f->with_sign;
    case SEVERE:
        return f->severe;
    case A_NOTE:
        return f->urgency == URGENCY_NOTE;
    case EXTENDED:
        return f->grade == GRADE_4B;
    case GRADED:
        return !f->with_sign && has_grade(w, f);
    case BESIDE_SIGNS:
        return is_beside_signs(w);
    case TOLERABLE:
        return is_tolerable(w);
    case EMERGENCY:
        return seen_hand_emergency(w);
    case NERVES:
        return is_beside_nerves(w);
    case LOW_FLOW_HAND:
        return rules_find(w->findings, RULE_IS_7) != NULL;
    case LOST:
        return seen_thrill_lost(w, f);
    case SWELLING:
        return seen_has_sign(w, f, SIGN_ARM_SWELLING);
    case PRESSING:
        return f->urgency >= URGENCY_URGENT;
    case BLEEDS:
        return seen_has_flag(w, f, Q_BLEEDING_ACTIVE);
    case FOR_DOSE:
        return is_for_dose(w, f);
    case OF_DOSE:
        return is_of_dose(f);
    case OF_FLOW:
        return f->quantity == Q_ACCESS_FLOW || f->limit == P_PB3_FALL_PCT;
    case STILL_HIGH:
        return f->still_high;
    case NO_SIZE:
        return is_without_size(w);
    case OPENING:
        return seen_is_predicted(w, PREDICT_OPENING);
    case CONTRADICTORY:
        return f->disagree;
    case ONE_SO_FAR:
        return !f->confirmed;
    }
    return false;
}

static const struct advice *advice_for(const struct wording *w,
                                       const struct finding *f)
{
    const struct advice *row = NULL;

    for (size_t i = 0; (row = advice_row(i)) != NULL; i++) {
        if (row->rule == f->rule && fits(w, f, row->when))
            break;
    }
    return row;
}

/* One sentence more, with the blank before it. */
static void add_sentence(const struct wording *w, const struct finding *f,
                         const char *text, struct buf *out)
{
    if (text == NULL)
        return;
    say_blank(out);
    say_template(w, f, text, out);
}

/* What to measure so that one measurement becomes two. */
static const char *repeat_text(const struct finding *f)
{
    if (f->repeat_of == Q_NONE || f->rule == RULE_PB_1)
        return NULL; /* a visit says itself what it asks for */
    if (f->disagree)
        return N_(
            "Measure the {again} a third time {repeat}: the measurements of "
            "one session contradict each other.");
    if (f->low_pressure)
        return N_("Measure the {again} again {repeat}, at the usual blood "
                  "pressure: a flow at a low pressure confirms nothing.");
    if (f->rule == RULE_PB_3)
        return quantity_info(f->repeat_of)->kind == VALUE_NUMBER
                   ? N_("Repeat the {again} {repeat}: this is not confirmed so "
                        "far.")
                   : N_("Ask again for {again} {repeat}: this is not confirmed "
                        "so far.");
    if (f->repeat_of == Q_CARDIAC_OUTPUT)
        return N_(
            "Repeat flow and cardiac output, measured in the same session, "
            "{repeat}: there is one measurement so far.");
    return N_("Repeat the {again} {repeat}: there is one measurement so far.");
}

#define STENOSIS                                                               \
    N_("A known outflow stenosis is untreated: treat it and measure again "    \
       "before any band is planned.")

/* What a rule says as the first of its group, or beside it. */
static const char *advice_text(const struct wording *w, const struct finding *f,
                               bool leads)
{
    const struct advice *advice = advice_for(w, f);

    if (advice == NULL)
        return NULL;
    return leads && advice->leads != NULL ? advice->leads : advice->adds;
}

/* first: whose sentence stands already; the same is not said twice. */
static void add_advice(const struct wording *w, const struct finding *f,
                       const struct finding *first, struct buf *out)
{
    const char *text = advice_text(w, f, f == first);
    const char *said = f == first ? NULL : advice_text(w, first, true);

    if (text != NULL && (said == NULL || strcmp(text, said) != 0))
        add_sentence(w, f, text, out);
    if (f->flow_unknown)
        add_sentence(w, f,
                     seen_hand_emergency(w)
                         ? N_("Do not wait for a flow measurement.")
                         : N_("Measure the access flow within 48 hours: which "
                              "treatment is suited depends on it."),
                     out);
    if (!f->confirmed)
        add_sentence(w, f, repeat_text(f), out);
}

void advice_of(const struct wording *w, const struct finding *f,
               struct buf *out)
{
    add_advice(w, f, f, out);
    if (f->stenosis)
        add_sentence(w, f, STENOSIS, out);
}

void advice_say(const struct wording *w, const struct finding *first,
                struct buf *out)
{
    const struct finding *narrow = first->stenosis ? first : NULL;

    add_advice(w, first, first, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (!seen_is_ours(w, f))
            continue;
        if (f->stenosis)
            narrow = f;
        if (f != first && !(f->rule == RULE_LF_6 && seen_is_told(w, f)))
            add_advice(w, f, first, out);
    }
    if (narrow != NULL)
        add_sentence(w, narrow, STENOSIS, out);
}
