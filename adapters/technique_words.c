/* The words of what was learnt of a technique. */
#include "adapters/catalogue.h"
#include "adapters/technique_write.h"

const char *technique_use_phrase(enum technique_use use)
{
    static const char *const phrases[TECHNIQUE_USE_COUNT] = {
        [TECHNIQUE_USED] = N_("used"),
        [TECHNIQUE_UNMEASURED] = N_("no flow was measured after the band"),
        [TECHNIQUE_GRAFT] = N_("a graft: its wall folds otherwise"),
        [TECHNIQUE_CONFLICT] = N_("its measurements contradict each other"),
        [TECHNIQUE_UNFIT] = N_("a value is outside what can be planned with"),
        [TECHNIQUE_NO_BASELINE] = N_("no usable flow before the band"),
        [TECHNIQUE_OLD_BASELINE] =
            N_("the flow before the band is not of the same procedure"),
        [TECHNIQUE_ORDER] = N_("the order of ties and flows is not known"),
        [TECHNIQUE_SIZE] = N_("the diameter of a dowel is not known"),
        [TECHNIQUE_STEPS] = N_("more steps than can be followed"),
        [TECHNIQUE_OTHER_FORM] = N_("a band that is no narrow ligature"),
        [TECHNIQUE_BANDED] = N_("an earlier band on this access"),
        [TECHNIQUE_ROOM] = N_("enough newer ones"),
    };

    return (unsigned)use < TECHNIQUE_USE_COUNT ? phrases[use] : "?";
}

const char *technique_caution(size_t i)
{
    static const char *const cautions[] = {
        N_("Learnt is how much tighter than its dowel a band acts in the model "
           "of "
           "headgate.  It is no measurement of a lumen."),
        N_("It holds for the technique and the materials of this site, and no "
           "longer after a change of either."),
        N_("A site's own numbers make predictions narrower.  Few cases, or "
           "cases "
           "that were chosen, make them wrong."),
        N_("Grafts are not learnt from, and are planned with the default."),
        N_("New finished procedures change what is proposed.  What is in use "
           "stays until a person switches it."),
        N_("Decision support: the operator measures and decides; local policy "
           "says whether the site's own numbers are used."),
    };

    return i < COUNT(cautions) ? cautions[i] : NULL;
}

const char *technique_held_phrase(size_t i, unsigned *bit)
{
    static const struct {
        unsigned bit;
        const char *text;
    } rows[] = {
        { TECHNIQUE_HELD_OFFSET, N_("the mean offset") },
        { TECHNIQUE_HELD_OFFSET_SD, N_("the spread of the offset") },
        { TECHNIQUE_HELD_KNOT, N_("the spread of knots") },
        { TECHNIQUE_HELD_STRETCH, N_("the mean gain of a stretch") },
        { TECHNIQUE_HELD_STRETCH_SD, N_("the spread of that gain") },
    };

    if (i >= COUNT(rows))
        return NULL;
    *bit = rows[i].bit;
    return rows[i].text;
}

static double number_of(const struct prior *p, size_t i)
{
    const double numbers[TECHNIQUE_NUMBERS] = { p->offset_mm.mean,
                                                p->offset_mm.sd, p->knot_sd_mm,
                                                p->stretch_mm.mean,
                                                p->stretch_mm.sd };

    return numbers[i];
}

struct technique_line technique_line(const struct technique_document *d,
                                     size_t i)
{
    static const struct {
        const char *word, *title;
    } names[TECHNIQUE_NUMBERS] = {
        { "offset_mm", N_("Tighter than the dowel, mean") },
        { "offset_sd_mm", N_("  from case to case, SD") },
        { "knot_sd_mm", N_("From knot to knot, SD") },
        { "stretch_mm", N_("Gained by a stretch, mean") },
        { "stretch_sd_mm", N_("  from stretch to stretch, SD") },
    };
    const struct technique *t = d->technique;
    const struct technique_number proposed[TECHNIQUE_NUMBERS] = {
        t->offset_mm, t->offset_sd_mm, t->knot_sd_mm, t->stretch_mm,
        t->stretch_sd_mm
    };

    return (struct technique_line){ names[i].word, names[i].title,
                                    number_of(d->base, i),
                                    number_of(d->in_use, i), proposed[i] };
}
