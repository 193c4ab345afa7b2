/* What the sender is told about where his readings went. */
#include "service/readings_work.h"

#include "service/held.h"

#include <stdio.h>
#include <string.h>

static void note_unread(struct fhir_item *item, const char *words,
                        enum hold hold)
{
    struct outcome *o = &item->outcome;

    if (hold == HOLD_VALUE)
        outcome_add(o, SEV_WARNING, "held", "Observation",
                    "%s may be a sign of emergency, and its value cannot be "
                    "read: kept, not used: phone now if it is one",
                    words);
    else if (hold == HOLD_TIME)
        outcome_add(o, SEV_WARNING, "held", "Observation",
                    "%s is a sign of emergency, and its time is far from now: "
                    "kept, not used: phone now if this is real, and look at "
                    "the clock of the sender",
                    words);
    else
        outcome_add(o, SEV_WARNING, "held", "Observation",
                    "%s: a sign of emergency stands under this key, or was "
                    "corrected, and this is no correction: kept, not used. "
                    "Phone now if it is real; a sign goes by a corrected or "
                    "withdrawn result alone",
                    words);
}

/* What is kept back and may be real: the sender can still reach for a phone. */
void readings_note_emergency(struct fhir_item *item,
                             const struct fhir_reading *r, enum hold hold,
                             bool strict)
{
    const struct reading *of = &r->reading;
    bool unclear = hold == HOLD_ACCESS;
    const char *words = held_words(of->quantity, of->sign);

    if (hold == HOLD_VALUE || hold == HOLD_OTHERWISE || hold == HOLD_TIME) {
        note_unread(item, words, hold);
        return;
    }

    outcome_add(&item->outcome, strict && unclear ? SEV_ERROR : SEV_WARNING,
                unclear             ? "access-ambiguous"
                : hold == HOLD_SIDE ? "access-side"
                                    : "held",
                "Observation",
                "%s is a sign of emergency, and %s: %s: phone now if this is "
                "real",
                words,
                unclear             ? "which access it belongs to is not clear"
                : hold == HOLD_SIDE ? "its side does not fit the access: "
                                      "examine the hand"
                                    : "it cannot be used as it was sent",
                strict && unclear ? "refused" : "kept, not used");
}

static void note_side(struct fhir_item *item, const struct fhir_reading *r)
{
    const struct quantity_info *info = quantity_info(r->reading.quantity);

    if (info->scope == SCOPE_ARM && info->kind == VALUE_CODE)
        outcome_add(&item->outcome, SEV_WARNING, "access-side",
                    "Observation.bodySite",
                    "The side of %s does not fit the access: examine the hand; "
                    "phone if it is weak, numb or cold (kept, not used)",
                    info->code);
    else
        outcome_add(&item->outcome, SEV_WARNING, "access-side",
                    "Observation.focus",
                    "The side of %s does not agree with its access, or is "
                    "needed and not said: kept, not used",
                    info->code);
}

void readings_note_access(struct fhir_item *item,
                          const struct access_answer *answer,
                          const struct fhir_reading *r, bool strict)
{
    struct outcome *o = &item->outcome;
    const char *place = "Observation.focus";
    const char *what = quantity_info(r->reading.quantity)->code;

    if (answer->provisional)
        outcome_add(o, SEV_WARNING, "access-provisional", place,
                    "The access named has not come yet; it is known under "
                    "that name, type unknown, until its BodyStructure comes");
    if (answer->provisional && answer->similar)
        outcome_add(o, SEV_WARNING, "identity", place,
                    "The access is named as another one of this patient is, "
                    "but for case, blanks, marks or leading zeros; taken for "
                    "one of its own: correct the name, or merge the two");
    else if (answer->provisional && answer->beside)
        outcome_add(o, SEV_WARNING, "identity", place,
                    "The access named is a new one, beside one that is known "
                    "of this patient: if it is the same, correct the name, or "
                    "merge the two");
    else if (answer->provisional)
        return;
    else if (answer->hold == HOLD_SIDE)
        note_side(item, r);
    else if (answer->hold == HOLD_ACCESS)
        outcome_add(
            o, strict ? SEV_ERROR : SEV_WARNING, "access-ambiguous", place,
            "Which access %s belongs to is not clear: kept, not used", what);
    else if (answer->other_arm)
        outcome_add(o, SEV_INFORMATION, "access-side", place,
                    "%s is of the arm without an access: kept, not used", what);
    else if (answer->assumed)
        outcome_add(o, SEV_WARNING, "access-assumed", place,
                    "The access was taken from what is known of the patient; "
                    "the Observation names none");
}

bool readings_said(const struct outcome *o, const char *word)
{
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, word) == 0)
            return true;
    }
    return false;
}

/* The limits for low flow depend on whether it is a fistula or a graft. */
enum err readings_note_type(struct db *db, struct fhir_item *item,
                            int64_t owner, const struct reading *r)
{
    struct access a;
    enum err e;

    if (r->quantity != Q_ACCESS_FLOW ||
        readings_said(&item->outcome, "type-unknown"))
        return ERR_OK;
    e = access_get(db, owner, &a);
    if (e == ERR_OK && a.merged != 0)
        e = access_get(db, a.merged, &a);
    if (e == ERR_OK && a.type == SIGN_TYPE_UNKNOWN)
        outcome_add(&item->outcome, SEV_WARNING, "type-unknown", "Observation",
                    "The type of this access is not known: of the limits that "
                    "depend on it only those that all types share are applied");
    return e;
}

/* That a preliminary result confirms nothing is no answer to an emergency. */
void readings_note_preliminary(struct fhir_item *item, const struct reading *r)
{
    struct outcome *o = &item->outcome;

    if (r->status != READING_PRELIMINARY || !reading_is_emergency(r))
        return;
    for (size_t i = 0; i < o->count; i++) {
        if (strcmp(o->issues[i].word, "preliminary") == 0)
            snprintf(o->issues[i].text, sizeof(o->issues[i].text),
                     "Preliminary: a sign of emergency is reviewed at once all "
                     "the same");
    }
}
