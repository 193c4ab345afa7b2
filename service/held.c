#include "service/held.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "service/audit_whom.h"
#include "service/names.h"
#include "service/remarks.h"
#include "service/resources.h"

#include <string.h>

enum { HELD_SHOWN_MAX = 1000 };

const char *held_words(enum quantity quantity, enum sign sign)
{
    return sign != SIGN_NONE ? sign_info(sign)->display
                             : quantity_info(quantity)->display;
}

static bool is_hand_sign(enum quantity quantity)
{
    const struct quantity_info *info = quantity_info(quantity);

    return info->scope == SCOPE_ARM && info->kind == VALUE_CODE;
}

const char *held_reason_words(enum quantity quantity, const char *reason)
{
    static const struct {
        const char *reason, *text;
    } table[] = {
        { "unit", N_("the unit is missing or does not fit the quantity") },
        { "code", N_("the codes contradict each other or are not mapped") },
        { "implausible", N_("the value cannot be right as sent") },
        { "side", N_("the side is missing or contradicts the access") },
        { "access", N_("it is not clear which access is meant") },
        { "time",
          N_("the time lies in the future, or is far from when it came") },
        { "value", N_("its value cannot be read") },
        { "not-computed",
          N_("it is not the kind of value that its code needs") },
        { "otherwise",
          N_("it says otherwise than a sign of emergency before it, "
             "or came behind the correction of its own result") },
    };

    /* the other hand may be in danger too, and nobody looks for it there */
    if (strcmp(reason, "side") == 0 && is_hand_sign(quantity))
        return N_("the side does not fit the access: examine the hand; phone "
                  "if it is weak, numb or cold");
    /* one that lies in the future counts as seen now, and is not held */
    if (strcmp(reason, "time") == 0 &&
        reading_may_be_emergency(quantity, SIGN_NONE))
        return N_("its time is far from when it came: is the sender's clock "
                  "right?");
    for (size_t i = 0; i < COUNT(table); i++) {
        if (strcmp(table[i].reason, reason) == 0)
            return table[i].text;
    }
    return reason;
}

enum err held_add(struct db *db, int64_t patient, const struct fhir_reading *fr,
                  const struct reading *r, enum hold hold, bool live,
                  int64_t now_ms)
{
    /* what stands is an emergency, whatever the newer report says */
    bool urgent = hold == HOLD_OTHERWISE || fhir_reading_is_urgent(fr);

    return db_run(db, Q_HELD_ADD, "iiiisisiiiiii", r->id, INT64(r->slot),
                  partition_of(patient), patient, hold_word(hold),
                  INT64(r->quantity), fr->hint, now_ms, INT64(r->sign),
                  r->end_s, INT64(urgent), INT64(r->version), INT64(live));
}

enum err held_of_patient(struct db *db, int64_t patient,
                         struct held_count *count)
{
    const enum query q = Q_HELD_OF_PATIENT;
    enum err e = db_first(db, q, "i", patient);

    if (e != ERR_OK)
        return e;
    count->readings = db_int(db, q, 0);
    count->emergencies = db_int(db, q, 1);
    db_done(db, q);
    return ERR_OK;
}

/* ---- the list ------------------------------------------------------------- */

/* What comes from a record must not steer the terminal. */
static void say(struct buf *out, const char *before, const char *text)
{
    if (text == NULL || text[0] == '\0')
        return;
    buf_puts(out, before);
    queue_text_clean(out, text);
}

static void write_held(struct db *db, const struct zone *zone, struct buf *out)
{
    const enum query q = Q_HELD_LIST;
    enum quantity quantity = (enum quantity)db_int(db, q, 3);
    const char *name = db_text(db, q, 7);
    char date[FHIR_TIME_SIZE];

    fhir_date_write(db_int(db, q, 5) / 1000, zone, date);
    buf_printf(out, "%s  ", date);
    say(out, "", name != NULL ? name : "name not known");
    say(out, ", ", short_anchor(db_text(db, q, 8)));
    say(out, ", ", db_text(db, q, 9));
    buf_printf(out, ": %s", quantity_info(quantity)->display);
    if (db_int(db, q, 11) != 0) /* 1; an older store may not say */
        buf_printf(out, ", A SIGN OF EMERGENCY (%s)",
                   held_words(quantity, (enum sign)db_int(db, q, 10)));
    buf_printf(out, ": %s", held_reason_words(quantity, db_text(db, q, 2)));
    say(out, "; ", db_text(db, q, 4));
    buf_printf(out, "  (Observation/%s)\n", db_text(db, q, 6));
}

enum err held_read(struct db *db, const struct zone *zone, struct buf *out)
{
    enum err e = db_query(db, Q_HELD_LIST, "i", INT64(HELD_SHOWN_MAX));

    while (e == ERR_OK && (e = db_next(db, Q_HELD_LIST)) == ERR_OK) {
        write_held(db, zone, out);
        e = audit_saw(db, AUDIT_SAW_RESOURCE, db_int(db, Q_HELD_LIST, 0));
    }
    if (e != ERR_ABSENT)
        return e;
    if (out->len == 0)
        buf_puts(out, "Nothing is held back.\n");
    e = db_first(db, Q_HELD_COUNT, "");
    if (e == ERR_OK && db_int(db, Q_HELD_COUNT, 0) > HELD_SHOWN_MAX)
        buf_printf(out, "... and %lld more\n",
                   (long long)(db_int(db, Q_HELD_COUNT, 0) - HELD_SHOWN_MAX));
    db_done(db, Q_HELD_COUNT);
    if (e == ERR_OK)
        e = remarks_read(db, out);
    return e == ERR_OK ? buf_ok(out) : e;
}
