#include "service/queue.h"

#include "adapters/queue_text.h"
#include "planner/rules.h"
#include "service/held.h"
#include "service/names.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { EMERGENCIES_MAX = 1000, ROWS_MAX = 10000 };

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
        .ground_gone =
            db_int(db, q, 4) == 0 && db_int(db, q, 2) == EPISODE_TAKEN,
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

/* What is held and may be an emergency: no rule sees it, so people must. */
static void take_held(struct db *db, struct list *l)
{
    const enum query q = Q_HELD_EMERGENCIES;
    enum quantity quantity = (enum quantity)db_int(db, q, 1);
    const char *seen = held_words(quantity, (enum sign)db_int(db, q, 2));
    const char *reason = held_reason_words(quantity, db_text(db, q, 0));
    struct queue_row *row = add_row(l);
    char text[512];

    if (row == NULL)
        return;
    snprintf(text, sizeof(text),
             "a sign of emergency that could not be placed: %s (%s)", seen,
             reason);
    *row = (struct queue_row){ .held = true,
                               .state = EPISODE_OPEN,
                               .urgency = URGENCY_IMMEDIATE,
                               .opened_s = db_int(db, q, 3) / 1000,
                               .headline = keep(l, text),
                               .suggestion = "ask the unit now",
                               .observation = keep(l, db_text(db, q, 4)),
                               .patient_name = keep(l, db_text(db, q, 5)),
                               .patient_number =
                                   keep(l, short_anchor(db_text(db, q, 6))),
                               .unit = keep(l, db_text(db, q, 7)),
                               .access = "",
                               .rules = "",
                               .group = "",
                               .task_id = "" };
}

static enum err read_held(struct db *db, int64_t held_from_s, struct list *l)
{
    const enum query q = Q_HELD_EMERGENCIES;
    enum err e = db_query(db, q, "ii", held_from_s, INT64(EMERGENCIES_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        take_held(db, l);
    return e == ERR_ABSENT ? l->err : e;
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

/* Among the immediate ones what kills first comes first. */
static const enum group in_order[] = { GROUP_BLEEDING, GROUP_HAND,
                                       GROUP_LOW_FLOW, GROUP_INFECTION };
enum {
    RANK_HELD = 0,
    RANK_IMMEDIATE = 1,
    RANK_OTHER = RANK_IMMEDIATE + COUNT(in_order),
    RANK_LATER,
    RANK_GONE, /* only waits to be closed */
    RANKS
};

static int rank(const struct queue_row *row)
{
    size_t i = 0;

    if (row->held || row->ground_gone)
        return row->held ? RANK_HELD : RANK_GONE;
    if (row->reminder || row->urgency != URGENCY_IMMEDIATE)
        return RANK_LATER;
    while (i < COUNT(in_order) &&
           strcmp(row->group, group_word(in_order[i])) != 0)
        i++;
    return RANK_IMMEDIATE + (int)i;
}

/* Within a rank as the statements gave them. */
static enum err sort_rows(struct list *l)
{
    struct queue_row *sorted;
    size_t count = 0;

    if (l->count == 0)
        return ERR_OK;
    sorted = calloc(l->count, sizeof(*sorted));
    if (sorted == NULL)
        return ERR_MEMORY;
    for (int r = 0; r < RANKS; r++) {
        for (size_t i = 0; i < l->count; i++) {
            if (rank(&l->rows[i]) == r)
                sorted[count++] = l->rows[i];
        }
    }
    free(l->rows);
    l->rows = sorted;
    l->size = l->count;
    return ERR_OK;
}

enum err queue_read(struct db *db, const struct queue_options *options,
                    int64_t held_from_s, int64_t now_s, const struct zone *zone,
                    struct buf *out)
{
    struct list l = { .err = ERR_OK };
    enum err e = read_held(db, held_from_s, &l);

    if (e == ERR_OK)
        e = read_rows(db, Q_EPISODE_QUEUE, "", &l, take_referral);

    if (e == ERR_OK)
        e = read_rows(db, Q_REPEAT_QUEUE, "i", &l, take_reminder);
    if (e == ERR_OK)
        e = sort_rows(&l);
    if (e == ERR_OK && options != NULL) {
        queue_write_table(l.rows, l.count, options, out);
        e = write_held_count(db, out);
    }
    for (size_t i = 0; e == ERR_OK && options == NULL && i < l.count; i++)
        queue_write_json(&l.rows[i], now_s, zone, out);
    list_clear(&l);
    return e == ERR_OK ? buf_ok(out) : e;
}
