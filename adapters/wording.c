/*
 * Headline, suggestion, description.  What is suggested stands in one table:
 * a row for each rule and circumstance, with the sentence for when the rule
 * leads and the one for when it adds to another.
 */
#include "adapters/wording_work.h"

/* ---- what is suggested ------------------------------------------------------ */

enum circumstance {
    ALWAYS,
    WITH_SIGN,
    SEVERE,
    A_NOTE,    /* not a ground to refer by itself */
    EXTENDED,  /* extended tissue loss: grade 4b */
    GRADED,    /* the hand was given a grade, without more */
    EMERGENCY, /* beside tissue loss, an acute hand or new weakness */
    LOST,      /* the thrill is lost */
    SWELLING,  /* with a sign, and it is a swollen arm or face */
    ONE_SO_FAR /* not confirmed */
};

#define DISPUTED                                                               \
    "Whether a high flow without signs should be treated is disputed; this "   \
    "site's limit is {limit}."
#define IMAGE                                                                  \
    "Imaging of the access, because clinical signs accompany the low flow."
#define IMAGE_WITH_VEINS                                                       \
    "Imaging of the access including the central veins, because clinical "     \
    "signs accompany the low flow."
#define EXAMINE                                                                \
    "Examine the access {within}: look, feel, listen, and check "              \
    "needles and blood pressure at the measurement. A low flow without "       \
    "clinical signs is not by itself a reason for a procedure."
#define THRILL_LOST                                                            \
    "Phone now: the thrill is lost: suspected thrombosis of the access; "      \
    "same-day assessment."
#define COUNTS_AS_HIGH                                                         \
    "The flow counts as high at this site (one reading: chance alone can "     \
    "move it by a third): image inflow and outflow of the access"
#define COMPRESSED "finger pressure with and without compression of the access"

/* The first row of the rule that fits counts. */
static const struct advice {
    enum rule rule;
    enum circumstance when;
    const char *leads; /* the sentence of the most urgent rule */
    const char *adds;  /* what it adds to that of another; NULL: nothing */
} advices[] = {
    { RULE_HF_1, WITH_SIGN,
      "Review by the access team, together with cardiology if the heart is "
      "affected, of whether the flow should be reduced: measure the cardiac "
      "output in the same session as the flow, arrange echocardiography, and "
      "examine the heart and the hand.",
      "Examine the hand as well, and review whether the flow should be "
      "reduced." },
    { RULE_HF_1, ALWAYS,
      "Review of the access: measure the cardiac output in the same session "
      "as the flow, arrange echocardiography, and examine the heart and the "
      "hand. " DISPUTED,
      "Examine the hand as well. " DISPUTED },
    { RULE_HF_2, ALWAYS,
      "Measure the cardiac output in the same session as the flow, examine "
      "the heart and the hand, and repeat the flow in 3 months. " DISPUTED,
      "Examine the hand as well, and repeat the flow in 3 months. " DISPUTED },
    { RULE_HF_3, ONE_SO_FAR, "Cardiac assessment.", NULL },
    { RULE_HF_3, SEVERE,
      "Cardiac assessment with echocardiography; repeat flow and cardiac "
      "output, measured in the same session.",
      "Cardiac assessment as well: the share of the cardiac output is "
      "raised." },
    { RULE_HF_3, ALWAYS,
      "Assess the heart at the next review; repeat flow and cardiac output, "
      "measured in the same session, in 6 to 12 months.",
      "The share of the cardiac output is a remark: repeat it in 6 to 12 "
      "months." },
    { RULE_IS_2, EXTENDED,
      "{call} by a vascular or access surgeon. With extended tissue "
      "loss no band is to be planned: what is done with the access is the "
      "surgeon's decision.",
      NULL },
    { RULE_IS_2, ALWAYS, "{call} by a vascular or access surgeon.", NULL },
    { RULE_IS_3, WITH_SIGN,
      "{call} by a vascular or access surgeon: new weakness of the "
      "hand can become permanent if treatment is delayed, and a warm hand or "
      "a pulse at the wrist does not exclude it.",
      "The hand is newly weak: that can become permanent if treatment is "
      "delayed, and a warm hand or a pulse at the wrist does not exclude it." },
    { RULE_IS_3, GRADED,
      "Vascular assessment {within}, with " COMPRESSED
      "{flow_last}. If the hand is weak, phone now: weakness can become "
      "permanent if treatment is delayed.",
      NULL },
    { RULE_IS_3, ALWAYS,
      "Vascular assessment {within}, with " COMPRESSED "{flow_last}.", NULL },
    { RULE_IS_4, SEVERE,
      "Vascular review {within}: measure {flow_first}" COMPRESSED
      " and digital-brachial index, and examine the inflow arteries of the "
      "arm.",
      NULL },
    { RULE_IS_4, ALWAYS,
      "Review {within}: measure {flow_first}" COMPRESSED
      " and digital-brachial index, examine the inflow arteries of the arm, "
      "and ask about the hand at every session.",
      "Ask about the hand at every session." },
    { RULE_IS_5, A_NOTE,
      "Ask about the hand at every session and repeat the finger pressure in "
      "3 months. A low finger pressure without symptoms is common after "
      "access creation and is not by itself a reason to treat.",
      NULL },
    { RULE_IS_5, ONE_SO_FAR, "Examine the hand.", NULL },
    { RULE_IS_5, ALWAYS,
      "Vascular assessment {within}: examine the hand, and measure " COMPRESSED
      ".",
      NULL },
    { RULE_IS_6, EMERGENCY, NULL,
      COUNTS_AS_HIGH
      ". Do not wait for imaging or a flow measurement. No band is to be "
      "planned from this message." },
    { RULE_IS_6, ALWAYS, NULL,
      COUNTS_AS_HIGH
      "; if both are clear, reducing the flow can be considered." },
    { RULE_IS_7, ALWAYS, NULL,
      "The flow is normal or low: image the artery from the chest to the hand, "
      "and consider repair of the inflow or revascularisation. Reducing the "
      "flow, for example with a band, is not suited to ischaemia of the hand "
      "at a normal or low access flow." },
    { RULE_LF_1, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_1, SWELLING, IMAGE_WITH_VEINS, NULL },
    { RULE_LF_1, WITH_SIGN, IMAGE, NULL },
    { RULE_LF_1, ALWAYS, EXAMINE, NULL },
    { RULE_LF_2, LOST, THRILL_LOST, THRILL_LOST },
    { RULE_LF_2, SWELLING, IMAGE_WITH_VEINS, NULL },
    { RULE_LF_2, WITH_SIGN, IMAGE, NULL },
    { RULE_LF_2, ALWAYS, EXAMINE, NULL },
};

static bool has_swelling(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        const struct reading *r = &w->history->readings[f->evidence[i]];

        if (r->sign == SIGN_ARM_SWELLING && r->present)
            return true;
    }
    return false;
}

static bool has_grade(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; i < f->evidence_count; i++) {
        if (w->history->readings[f->evidence[i]].quantity ==
            Q_HAND_ISCHAEMIA_GRADE)
            return true;
    }
    return false;
}

/* Is the hand so that nothing may be waited for? */
static bool is_emergency(const struct wording *w)
{
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f->confirmed &&
            (f->rule == RULE_IS_2 || (f->rule == RULE_IS_3 && f->with_sign)))
            return true;
    }
    return false;
}

static bool fits(const struct wording *w, const struct finding *f,
                 enum circumstance when)
{
    switch (when) {
    case ALWAYS:
        return true;
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
    case EMERGENCY:
        return is_emergency(w);
    case LOST:
        return seen_thrill_lost(w, f);
    case SWELLING:
        return f->with_sign && has_swelling(w, f);
    case ONE_SO_FAR:
        return !f->confirmed;
    }
    return false;
}

static const struct advice *advice_for(const struct wording *w,
                                       const struct finding *f)
{
    for (size_t i = 0; i < COUNT(advices); i++) {
        if (advices[i].rule == f->rule && fits(w, f, advices[i].when))
            return &advices[i];
    }
    return NULL;
}

/* One sentence more, with the blank before it. */
static void add_sentence(const struct wording *w, const struct finding *f,
                         const char *text, struct buf *out)
{
    if (text == NULL)
        return;
    if (out->len > 0 && out->data[out->len - 1] == '.')
        buf_puts(out, " ");
    say_template(w, f, text, out);
}

/* What to measure so that one measurement becomes two. */
static const char *repeat_text(const struct finding *f)
{
    switch ((int)f->repeat_of) {
    case Q_CARDIAC_OUTPUT:
        return "Repeat flow and cardiac output, measured in the same session, "
               "by {repeat}: there is one measurement so far.";
    case Q_DIGITAL_BRACHIAL_INDEX:
        return "Repeat the digital-brachial index by {repeat}: there is one "
               "measurement so far.";
    default:
        return "Repeat the finger pressure by {repeat}: there is one "
               "measurement so far.";
    }
}

static void add_advice(const struct wording *w, const struct finding *f,
                       bool leads, struct buf *out)
{
    const struct advice *advice = advice_for(w, f);

    if (advice != NULL)
        add_sentence(
            w, f, leads && advice->leads != NULL ? advice->leads : advice->adds,
            out);
    if (f->flow_unknown)
        add_sentence(w, f,
                     is_emergency(w)
                         ? "Do not wait for a flow measurement."
                         : "Measure the access flow within 48 hours: which "
                           "treatment is suited depends on it.",
                     out);
    if (!f->confirmed)
        add_sentence(w, f, repeat_text(f), out);
}

/* The hand, where it is a matter of hours or days; NULL if it is not.  What
 * is old raises no Task of its own, so there is none to point to. */
static const char *hand_first(const struct wording *w)
{
    enum urgency worst = URGENCY_NOTE;

    if (w->group != GROUP_FLOW)
        return NULL;
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (rule_info(f->rule)->group == GROUP_HAND && f->confirmed &&
            !f->historic && f->urgency > worst)
            worst = f->urgency;
    }
    if (worst == URGENCY_IMMEDIATE)
        return "The hand is more urgent: see the Task on the hand (phone now).";
    if (worst == URGENCY_ASAP)
        return "The hand is more urgent: see the Task on the hand ({asap}).";
    return NULL;
}

static void say_suggestion(const struct wording *w, const struct finding *first,
                           struct buf *out)
{
    add_advice(w, first, true, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f != first && seen_is_ours(w, f))
            add_advice(w, f, false, out);
    }
}

void wording_suggestion(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    const char *hand = hand_first(w);

    if (first == NULL)
        return;
    if (hand != NULL)
        say_template(w, first, hand, out);
    say_suggestion(w, first, out);
}

/* ---- headline and description -------------------------------------------------- */

/* The same sign may hold for two rules; said once, it is said. */
static bool is_told(const struct wording *w, const struct finding *f)
{
    for (size_t i = 0; f->rule == RULE_IS_3 && i < w->findings->count; i++) {
        const struct finding *other = &w->findings->list[i];

        if (other->rule == RULE_IS_2 && other->at_s == f->at_s)
            return true;
    }
    return false;
}

void wording_headline(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);

    if (first == NULL)
        return;
    seen_brief(w, first, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f == first || !seen_is_ours(w, f) || is_told(w, f))
            continue;
        buf_puts(out, "; ");
        seen_brief(w, f, out);
    }
}

static void say_seen(const struct wording *w, const struct finding *first,
                     struct buf *out)
{
    seen_sentence(w, first, out);
    for (size_t i = 0; i < w->findings->count; i++) {
        const struct finding *f = &w->findings->list[i];

        if (f == first || !seen_is_ours(w, f) || is_told(w, f))
            continue;
        buf_puts(out, " ");
        seen_sentence(w, f, out);
    }
}

void wording_description(const struct wording *w, struct buf *out)
{
    const struct finding *first = seen_leading(w);
    const char *hand = hand_first(w);

    if (first == NULL)
        return;
    if (first->confirmed && first->urgency == URGENCY_IMMEDIATE)
        buf_puts(out, "Phone now: this Task does not replace a call.\n");
    if (hand != NULL) {
        say_template(w, first, hand, out);
        buf_puts(out, "\n");
    }
    say_clean(out, w->access_label);
    buf_puts(out, ": ");
    say_seen(w, first, out);
    buf_puts(out, "\nSuggested: ");
    say_suggestion(w, first, out);
    buf_puts(out, "\nThis is ");
    say_by(w, out);
    buf_puts(out, ".\n" WORDING_SUPPORT);
}
