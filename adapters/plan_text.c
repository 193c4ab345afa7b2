/* A band plan for the operator. */
#include "adapters/plan_text.h"

#include "adapters/plan_band.h"
#include "adapters/queue_text.h"

#include <string.h>

/* ---- who, and from what --------------------------------------------------------- */

enum { LABEL_COLUMNS = 10 };

static const char *const labels[] = {
    N_("Patient"),  N_("Access"),    N_("Baseline"), N_("Method"),
    N_("Pressure"), N_("Also with"), N_("State"),    N_("Valid"),
};

/* As wide as the widest label of this language. */
static size_t label_columns(void)
{
    size_t widest = LABEL_COLUMNS;

    for (size_t i = 0; i < COUNT(labels); i++) {
        const char *label = gettext(labels[i]);
        size_t columns = queue_text_columns(label, strlen(label)) + 1;

        widest = columns > widest ? columns : widest;
    }
    return widest;
}

/* label: "", or in the catalogue's words */
static void field(struct text *t, const char *label, const char *said)
{
    text_left(t, label, label_columns());
    text_line(t, said);
}

/* A field without a label, in somebody else's words. */
static void field_said(struct text *t,
                       void (*say)(const struct plan_document *d,
                                   struct buf *out))
{
    text_left(t, "", label_columns());
    text_said(t, say);
}

static void say_access(struct text *t)
{
    const struct plan_from *from = t->d->from;

    if (t->d->patient != NULL)
        field(t, _("Patient"), t->d->patient);
    field(t, _("Access"), t->d->access != NULL ? t->d->access : _("not named"));
    /* TRANSLATORS: type of the access, its side, where it is fed */
    field(t, "",
          words_say(&t->words, _("%1$s, %2$s, %3$s"),
                    plan_say_type(from->access_type), plan_say_side(from->side),
                    plan_say_fed(from->forearm)));
    if (from->band.placed)
        field_said(t, plan_band_say);
}

static void say_flows(struct text *t)
{
    field(t, _("Baseline"), plan_say_baseline(&t->words, t->d));
    if (t->d->from->in.flow_count == 0)
        return;
    field(t, _("Method"), plan_say_method(&t->words, t->d));
    if (t->d->from->other_flow_count > 0)
        field_said(t, plan_other_say);
}

static void say_values(struct text *t)
{
    const char *with;

    if (t->d->from->in.flow_count == 0)
        return;
    field(t, _("Pressure"), plan_say_pressure(&t->words, t->d));
    with = plan_say_with(&t->words, t->d);
    if (with[0] != '\0')
        field(t, _("Also with"), with);
}

static void say_state(struct text *t)
{
    if (t->d->plan == NULL)
        return;
    field(t, _("State"),
          plan_is_complete(t->d)
              ? _("complete, but for the operator's part")
              : _("INCOMPLETE: what is missing stands below"));
    field(t, _("Valid"), plan_say_valid(&t->words, t->d));
}

static void say_support(struct text *t)
{
    text_line(t, _("Decision support: the operator measures and decides, under "
                   "local policy."));
}

static void say_head(struct text *t)
{
    text_line(t, _("BAND PLAN"));
    say_support(t);
    buf_puts(t->out, "\n");
    say_access(t);
    say_flows(t);
    say_values(t);
    say_state(t);
}

/* ---- why there is none ------------------------------------------------------------ */

static void say_refusal(struct text *t)
{
    const char *why;
    size_t i = 0;

    text_title(t, _("No plan is offered"));
    while ((why = plan_say_refusal(&t->words, t->d, &i)) != NULL)
        text_line(t, why);
    text_said(t, plan_band_case_say);
}

/* ---- the whole --------------------------------------------------------------------- */

static void say_cautions(struct text *t)
{
    const struct plan_phrases *own = plan_phrases(PLAN_PHRASES_CAUTION);
    const struct plan_phrases *all = plan_phrases(PLAN_PHRASES_ALWAYS);

    text_title(t, _("Cautions"));
    for (size_t i = 0; i < own->count; i++) {
        if ((t->d->from->cautions & own->rows[i].key) != 0)
            text_item(t, gettext(own->rows[i].text));
    }
    for (size_t i = 0; i < all->count; i++)
        text_item(t, gettext(all->rows[i].text));
}

/* What was done and what now, or what to do first; then the card. */
static void say_case(struct text *t)
{
    if (t->d->from->in.stage_count > 0)
        text_stages(t);
    else
        text_first(t);
    text_card(t);
}

static void say_plan(struct text *t)
{
    text_warnings(t);
    text_target(t);
    text_outflow(t);
    say_case(t);
    text_ladder(t);
    text_hand(t);
}

void plan_text_case(const struct plan_document *d, struct buf *out)
{
    unsigned long before = buf_lost();
    struct buf page;
    struct text t;

    buf_init(&page, PLAN_DOCUMENT_MAX);
    text_open(&t, d, &page);
    buf_puts(&page, "\n");
    say_access(&t);
    say_flows(&t);
    if (d->plan == NULL) {
        say_refusal(&t);
    } else {
        say_state(&t);
        text_warnings(&t);
        say_case(&t);
    }
    buf_puts(&page, "\n");
    say_support(&t);
    text_close(&page, out);
    buf_keep_whole(out, before);
}

void plan_text(const struct plan_document *d, struct buf *out)
{
    unsigned long before = buf_lost();
    struct buf page;
    struct text t;

    buf_init(&page, PLAN_DOCUMENT_MAX);
    text_open(&t, d, &page);
    say_head(&t);
    if (d->plan != NULL)
        say_plan(&t);
    else
        say_refusal(&t);
    text_made_from(&t);
    text_missing(&t);
    say_cautions(&t);
    text_rests_on(&t);
    text_close(&page, out);
    buf_keep_whole(out, before);
}
