#include "service/remarks.h"

#include "adapters/queue_text.h"
#include "adapters/wording.h"
#include "planner/series.h"
#include "service/names.h"
#include "service/resources.h"

enum { REMARKS_MAX = 8, SHOWN_MAX = 200, TEXT_MAX = 2048 };

/* What concerns the patient as a whole is said once. */
static bool is_ours(const struct history *h, enum quantity q)
{
    return !h->other_leads || quantity_info(q)->scope != SCOPE_PATIENT;
}

static enum err note(struct db *db, int64_t access, size_t n,
                     const struct history *h, const struct zone *zone,
                     const struct contradiction *c)
{
    struct buf text;
    enum err e;

    buf_init(&text, TEXT_MAX);
    wording_contradiction(h, zone, c, &text);
    e = buf_ok(&text);
    if (e == ERR_OK)
        e = db_run(db, Q_REMARK_ADD, "iiiis", access, (int64_t)n,
                   partition_of(access), c->sent.at_s, text.data);
    buf_clear(&text);
    return e;
}

enum err remarks_clear(struct db *db, int64_t access)
{
    return db_run(db, Q_REMARK_CLEAR, "i", access);
}

enum err remarks_note(struct db *db, int64_t access, const struct history *h,
                      const struct policy *policy, const struct zone *zone)
{
    struct contradiction list[REMARKS_MAX];
    int64_t since_s =
        h->now_s - (int64_t)policy_count(policy, P_HISTORIC_D) * DAY_S;
    size_t count = series_contradictions(h, policy, since_s, list, REMARKS_MAX);
    enum err e = remarks_clear(db, access);

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        if (is_ours(h, list[i].quantity))
            e = note(db, access, i, h, zone, &list[i]);
    }
    return e;
}

/* What comes from a record must not steer the terminal. */
static void say(struct buf *out, const char *before, const char *text)
{
    if (text == NULL || text[0] == '\0')
        return;
    buf_puts(out, before);
    queue_text_clean(out, text);
}

static void write_remark(struct db *db, struct buf *out)
{
    const enum query q = Q_REMARK_LIST;
    const char *name = db_text(db, q, 1);

    say(out, "", name != NULL ? name : "name not known");
    say(out, ", ", short_anchor(db_text(db, q, 2)));
    say(out, ", ", db_text(db, q, 3));
    say(out, ", ", access_words(db_text(db, q, 4), db_text(db, q, 5)));
    say(out, ": ", db_text(db, q, 0));
    buf_puts(out, "\n");
}

enum err remarks_read(struct db *db, struct buf *out)
{
    const enum query q = Q_REMARK_LIST;
    enum err e = db_query(db, q, "i", INT64(SHOWN_MAX));
    bool any = false;

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (!any)
            buf_puts(out, "\nContradictory, kept and not used:\n");
        any = true;
        write_remark(db, out);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}
