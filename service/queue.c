#include "service/queue.h"

#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"
#include "planner/rules.h"
#include "service/names.h"
#include "service/remarks.h"

#include <stdlib.h>
#include <string.h>

enum { HELD_SHOWN_MAX = 1000, ROWS_MAX = 10000 };

/* Rows, and the copies of all text they point to. */
struct list {
    struct queue_row *rows;
    size_t count, size;
    char **texts;
    size_t text_count, text_size;
    enum err err;
};

static void list_clear(struct list *l)
{
    for (size_t i = 0; i < l->text_count; i++)
        free(l->texts[i]);
    free(l->texts);
    free(l->rows);
}

static void *grow(void *array, size_t *size, size_t each)
{
    size_t bigger = *size > 0 ? 2 * *size : 64;
    void *more = realloc(array, bigger * each);

    if (more != NULL)
        *size = bigger;
    return more;
}

static const char *keep(struct list *l, const char *text)
{
    size_t len = text != NULL ? strlen(text) + 1 : 0;
    char *copy;

    if (len <= 1 || l->err != ERR_OK)
        return "";
    if (l->text_count == l->text_size) {
        char **more = grow(l->texts, &l->text_size, sizeof(*l->texts));

        if (more == NULL) {
            l->err = ERR_MEMORY;
            return "";
        }
        l->texts = more;
    }
    copy = malloc(len);
    if (copy == NULL) {
        l->err = ERR_MEMORY;
        return "";
    }
    memcpy(copy, text, len);
    l->texts[l->text_count++] = copy;
    return copy;
}

static struct queue_row *add_row(struct list *l)
{
    if (l->count == l->size) {
        struct queue_row *more = grow(l->rows, &l->size, sizeof(*l->rows));

        if (more == NULL) {
            l->err = ERR_MEMORY;
            return NULL;
        }
        l->rows = more;
    }
    return &l->rows[l->count++];
}

static const char *rules_text(struct list *l, unsigned rules)
{
    struct buf b;
    const char *text;

    buf_init(&b, 512);
    rules_words(rules, &b);
    text = keep(l, b.data);
    buf_clear(&b);
    return text;
}

static void take_referral(struct db *db, struct list *l)
{
    const enum query q = Q_EPISODE_QUEUE;
    struct queue_row *row = add_row(l);

    if (row == NULL)
        return;
    *row = (struct queue_row){
        .group = group_word((enum group)db_int(db, q, 1)),
        .state = (enum episode_state)db_int(db, q, 2),
        .urgency = (enum urgency)db_int(db, q, 3),
        .rules = rules_text(l, (unsigned)db_int(db, q, 4)),
        .opened_s = db_int(db, q, 5),
        .due_s = db_int(db, q, 6),
        .headline = keep(l, db_text(db, q, 7)),
        .suggestion = keep(l, db_text(db, q, 8)),
        .task_id = keep(l, db_text(db, q, 9)),
        .access = keep(l, access_words(db_text(db, q, 10), db_text(db, q, 11))),
        .patient_name = keep(l, db_text(db, q, 12)),
        .patient_number = keep(l, short_anchor(db_text(db, q, 13))),
        .unit = keep(l, db_text(db, q, 14)),
        .silent = db_int(db, q, 15) != 0
    };
}

static void take_reminder(struct db *db, struct list *l)
{
    const enum query q = Q_REPEAT_QUEUE;
    struct queue_row *row = add_row(l);

    if (row == NULL)
        return;
    *row = (struct queue_row){
        .reminder = true,
        .group = group_word((enum group)db_int(db, q, 1)),
        .state = (enum episode_state)db_int(db, q, 2),
        .urgency = URGENCY_ROUTINE,
        .rules = "",
        .due_s = db_int(db, q, 3),
        .headline = keep(l, db_text(db, q, 4)),
        .suggestion = "",
        .task_id = keep(l, db_text(db, q, 5)),
        .access = keep(l, access_words(db_text(db, q, 6), db_text(db, q, 7))),
        .patient_name = keep(l, db_text(db, q, 8)),
        .patient_number = keep(l, short_anchor(db_text(db, q, 9))),
        .unit = keep(l, db_text(db, q, 10)),
        .silent = db_int(db, q, 11) != 0
    };
}

/* Visits that are due come after what is to be measured again. */
static enum err read_rows(struct db *db, enum query q, const char *format,
                          struct list *l,
                          void (*take)(struct db *, struct list *))
{
    enum err e = db_query(db, q, format, INT64(GROUP_FOLLOW_UP));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        if (l->count < ROWS_MAX)
            take(db, l);
    }
    return e == ERR_ABSENT ? l->err : e;
}

/* A sign of emergency may be among what nobody could place. */
static enum err write_held_count(struct db *db, struct buf *out)
{
    const enum query q = Q_HELD_BY_QUANTITY;
    long long held = 0, signs = 0;
    enum err e = db_query(db, q, "");

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        enum quantity quantity = (enum quantity)db_int(db, q, 0);

        held += db_int(db, q, 1);
        if (quantity_info(quantity)->kind != VALUE_NUMBER)
            signs += db_int(db, q, 1);
    }
    if (held > 0)
        buf_printf(out,
                   "%lld held back and not used, %lld of them signs of hand "
                   "or access: see headgate quarantine.\n",
                   held, signs);
    return e == ERR_ABSENT ? ERR_OK : e;
}

enum err queue_read(struct db *db, const struct queue_options *options,
                    int64_t now_s, const struct zone *zone, struct buf *out)
{
    struct list l = { .err = ERR_OK };
    enum err e = read_rows(db, Q_EPISODE_QUEUE, "", &l, take_referral);

    if (e == ERR_OK)
        e = read_rows(db, Q_REPEAT_QUEUE, "i", &l, take_reminder);
    if (e == ERR_OK && options != NULL) {
        queue_write_table(l.rows, l.count, options, out);
        e = write_held_count(db, out);
    }
    for (size_t i = 0; e == ERR_OK && options == NULL && i < l.count; i++)
        queue_write_json(&l.rows[i], now_s, zone, out);
    list_clear(&l);
    return e == ERR_OK ? buf_ok(out) : e;
}

/* What each reason means to a person who is to mend it. */
static const char *reason_text(const char *reason)
{
    static const struct {
        const char *reason, *text;
    } table[] = {
        { "unit", "the unit is missing or does not fit the quantity" },
        { "code", "the codes contradict each other or are not mapped" },
        { "implausible", "the value cannot be right as sent" },
        { "side", "the side is missing or contradicts the access" },
        { "access", "it is not clear which access is meant" },
        { "time", "the time lies in the future" },
    };

    for (size_t i = 0; i < COUNT(table); i++) {
        if (strcmp(table[i].reason, reason) == 0)
            return table[i].text;
    }
    return reason;
}

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
    buf_printf(out, ": %s: %s", quantity_info(quantity)->display,
               reason_text(db_text(db, q, 2)));
    say(out, "; ", db_text(db, q, 4));
    buf_printf(out, "  (Observation/%s)\n", db_text(db, q, 6));
}

enum err held_read(struct db *db, const struct zone *zone, struct buf *out)
{
    enum err e = db_query(db, Q_HELD_LIST, "i", INT64(HELD_SHOWN_MAX));

    while (e == ERR_OK && (e = db_next(db, Q_HELD_LIST)) == ERR_OK)
        write_held(db, zone, out);
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
