/* What came of an erasure, for people. */
#include "adapters/catalogue.h"
#include "service/patient_erase.h"

static void say_numbers(const struct erase_rows *r, struct buf *out,
                        enum erase_left_kind kind)
{
    const struct erase_left *left = &r->left;
    int64_t count = left->counts[kind];

    for (int64_t i = 0; i < count && i < LEFT_LISTED_MAX; i++)
        buf_printf(out, " %lld", (long long)left->ids[kind][i]);
    if (count > LEFT_LISTED_MAX)
        /* TRANSLATORS: behind a list of numbers that is cut short */
        buf_printf(out, _(" and %lld more"),
                   (long long)(count - LEFT_LISTED_MAX));
    buf_puts(out, "\n");
}

static void say_kinds(const struct erase_rows *r, struct buf *out)
{
    const int64_t *n = r->left.counts;

    if (n[LEFT_ITEMS] > 0) {
        buf_printf(out,
                   /* TRANSLATORS: the numbers follow */
                   _("%lld in quarantine (headgate quarantine show NUMBER):"),
                   (long long)n[LEFT_ITEMS]);
        say_numbers(r, out, LEFT_ITEMS);
    }
    if (n[LEFT_MESSAGES] > 0) {
        buf_printf(out,
                   /* TRANSLATORS: the numbers follow */
                   _("%lld messages of HL7 v2, by their number in the store:"),
                   (long long)n[LEFT_MESSAGES]);
        say_numbers(r, out, LEFT_MESSAGES);
    }
    if (n[LEFT_JOURNAL] > 0) {
        buf_printf(out,
                   /* TRANSLATORS: the numbers follow */
                   _("%lld messages of the journal, by their number in the "
                     "store:"),
                   (long long)n[LEFT_JOURNAL]);
        say_numbers(r, out, LEFT_JOURNAL);
    }
}

/* Never that nothing is left, where something may be. */
static void say_left(const struct erase_rows *r, struct buf *out)
{
    if (patient_erase_left(&r->left) == 0) {
        buf_printf(out, "%s\n",
                   _("The file of the store was written anew: nothing that "
                     "names the patient by number and system, or by id, is "
                     "left in it."));
        return;
    }
    buf_printf(
        out, "%s\n",
        _("NOT ALL OF IT MAY BE GONE.  What follows has the patient's "
          "number but may be of somebody else, or has somebody else in "
          "it, too, and was left as it is; a person has to look at it:"));
    say_kinds(r, out);
    buf_printf(out, "%s\n",
               _("The file of the store was written anew: of the rest nothing "
                 "is left in it."));
}

void patient_erase_say(const struct erase_rows *r, struct buf *out)
{
    const int64_t *n = r->counts;

    buf_printf(out,
               /* TRANSLATORS: each %lld a number, in the order of the words */
               _("Removed: %lld resources (%lld readings, %lld suggestions), "
                 "%lld decisions, %lld deliveries, %lld messages of HL7 v2, "
                 "%lld inputs in quarantine; in %lld messages what was of the "
                 "patient."),
               (long long)n[ERASE_RESOURCES], (long long)n[ERASE_READINGS],
               (long long)n[ERASE_TASKS], (long long)n[ERASE_DECISIONS],
               (long long)n[ERASE_OUTBOX], (long long)n[ERASE_MESSAGES],
               (long long)n[ERASE_ITEMS], (long long)n[ERASE_JOURNAL]);
    buf_puts(out, "\n");
    say_left(r, out);
    buf_puts(out,
             _("What has gone to the clinical record stays there, and so do "
               "backups, files in the drop folder and what the senders have: "
               "they are to be dealt with where they are.  The audit trail "
               "keeps numbers and ids, and no datum of the patient."));
    buf_puts(out, "\n");
}
