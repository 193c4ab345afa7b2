#include "service/quarantine_urgent.h"

#include "adapters/fhir_glance.h"
#include "service/log.h"

enum { CODE_MAX = 4096, COMPONENTS_MAX = 16, CODINGS_MAX = 8 };

/* Of one turn: the next comes within a minute. */
enum { ESCALATED_AT_ONCE = 64 };

bool quarantine_asks_urgent(const struct codes *codes, const char *system,
                            const char *code)
{
    struct code_entry entry = codes_find(codes, system, code, CODES_NEWEST);

    return entry.meaning != CODE_UNKNOWN &&
           reading_may_be_emergency(entry.quantity,
                                    entry.meaning == CODE_QUESTION ? entry.sign
                                                                   : SIGN_NONE);
}

bool quarantine_is_urgent(const struct codes *codes, const char *body,
                          size_t len)
{
    struct buf system, code;
    bool urgent = false;

    if (body == NULL || len == 0)
        return false;
    buf_init(&system, CODE_MAX);
    buf_init(&code, CODE_MAX);
    for (int slot = 0; slot <= COMPONENTS_MAX && !urgent; slot++) {
        enum err e = ERR_OK;
        size_t i;

        for (i = 0; i < CODINGS_MAX && e == ERR_OK && !urgent; i++) {
            buf_empty(&system);
            buf_empty(&code);
            e = fhir_glance_coding(body, len, slot, i, &system, &code);
            urgent = e == ERR_OK &&
                     quarantine_asks_urgent(codes, system.data, code.data);
        }
        if (slot > 0 && i == 1 && e != ERR_OK)
            break; /* there are no more components */
    }
    buf_clear(&system);
    buf_clear(&code);
    return urgent;
}

/* ---- nobody has seen to it ------------------------------------------------ */

struct late {
    int64_t row, slot;
    bool input; /* a whole input */
};

static enum err escalate(struct db *db, const struct late *l)
{
    enum err e = l->input ? db_run(db, Q_QUARANTINE_ESCALATE, "i", l->row)
                          : db_run(db, Q_HELD_ESCALATE, "ii", l->row, l->slot);

    if (e == ERR_OK)
        log_event(LOG_WARN, "held.escalated", KEY_INT("row", l->row),
                  KEY_INT("input", l->input));
    return e;
}

/* As the queue has it: what was measured before is not put to people. */
static int64_t from_s(const struct policy *policy, int64_t now_ms)
{
    return now_ms / 1000 - (int64_t)policy_count(policy, P_HISTORIC_D) * DAY_S;
}

enum err quarantine_urgent_escalate(struct db *db, const struct policy *policy,
                                    int64_t now_ms)
{
    const enum query q = Q_HELD_LATE;
    const int64_t hours = policy_count(policy, P_ESCALATE_IMMEDIATE_H);
    struct late late[ESCALATED_AT_ONCE];
    size_t count = 0;
    enum err e =
        db_query(db, q, "iii", from_s(policy, now_ms),
                 now_ms - hours * HOUR_S * 1000, INT64(ESCALATED_AT_ONCE));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        late[count++] = (struct late){ .row = db_int(db, q, 0),
                                       .slot = db_int(db, q, 1),
                                       .input = db_int(db, q, 2) != 0 };
    e = e == ERR_ABSENT ? ERR_OK : e;
    for (size_t i = 0; e == ERR_OK && i < count; i++)
        e = escalate(db, &late[i]);
    return e;
}

enum err quarantine_urgent_count(struct db *db, const struct policy *policy,
                                 int64_t now_ms, int64_t *count)
{
    const enum query q = Q_HELD_ESCALATED;
    enum err e = db_first(db, q, "i", from_s(policy, now_ms));

    *count = e == ERR_OK ? db_int(db, q, 0) : 0;
    db_done(db, q);
    return e;
}
