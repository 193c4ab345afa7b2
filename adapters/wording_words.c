/* Texts that stand behind many others, and what stands between the members of
 * a list. */
#include "adapters/wording_work.h"

const char *words_support(void)
{
    return _("Decision support from fixed rules, not a diagnosis: a qualified "
             "clinician must examine the patient and decide, and local policy "
             "stands above it.");
}

const char *words_hand(void)
{
    return _("Hand pain, numbness, weakness, colour change or a wound needs "
             "assessment whatever the numbers show.");
}

const char *words_absence(void)
{
    return _("Absence of a flag does not mean the access or the hand is safe.");
}

const char *words_phone(void)
{
    return _("Phone now: this Task does not replace a call.");
}

const char *list_semicolon(void)
{
    /* TRANSLATORS: between the members of a list */
    return _("; ");
}

const char *list_comma(void)
{
    /* TRANSLATORS: between the members of a list */
    return _(", ");
}

const char *list_then(void)
{
    /* TRANSLATORS: between measurements, in the order of time */
    return _(", then ");
}

const char *list_and(void)
{
    /* TRANSLATORS: between the last two members of a list */
    return _(" and ");
}
