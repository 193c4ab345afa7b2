#include "adapters/queue_filter.h"

#include "adapters/catalogue.h"
#include "adapters/fhir_out.h"
#include "adapters/queue_text.h"
#include "planner/rules.h"

#include <string.h>
#include <strings.h>

/* ---- words ---------------------------------------------------------------- */

static const char *const state_words[] = { [QUEUE_ANY] = "",
                                           [QUEUE_OPEN] = "open",
                                           [QUEUE_TAKEN] = "taken",
                                           [QUEUE_PUT_OFF] = "put-off",
                                           [QUEUE_OVERDUE] = "overdue" };

bool queue_state_read(const char *word, enum queue_state *state)
{
    for (size_t i = QUEUE_OPEN; i < COUNT(state_words); i++) {
        if (strcmp(state_words[i], word) == 0) {
            *state = (enum queue_state)i;
            return true;
        }
    }
    return false;
}

const char *queue_rule_read(const char *word)
{
    for (int n = 0; n < RULE_COUNT; n++) {
        const char *id = rule_info(rule_by_order(n))->id;

        if (strcasecmp(id, word) == 0)
            return id;
    }
    return NULL;
}

static size_t trimmed(const char **text)
{
    size_t len;

    while (**text == ' ' || **text == '\t')
        (*text)++;
    len = strlen(*text);
    while (len > 0 && ((*text)[len - 1] == ' ' || (*text)[len - 1] == '\t'))
        len--;
    return len;
}

bool queue_is_unit(const char *a, const char *b)
{
    size_t a_len = trimmed(&a), b_len = trimmed(&b);

    return a_len == b_len && strncasecmp(a, b, a_len) == 0;
}

bool queue_asks_no_unit(const char *unit)
{
    return queue_is_unit(unit, "unit not known") ||
           queue_is_unit(unit, _("unit not known"));
}

/* ---- which rows ----------------------------------------------------------- */

bool queue_filter_any(const struct queue_filter *f)
{
    return f->unit != NULL || f->no_unit || f->state != QUEUE_ANY ||
           f->rule_count > 0 || f->access != NULL;
}

static bool has_unit(const struct queue_filter *f, const struct queue_row *row)
{
    if (f->no_unit)
        return row->unit[0] == '\0';
    return f->unit == NULL || queue_is_unit(f->unit, row->unit);
}

static bool has_state(const struct queue_filter *f, const struct queue_row *row,
                      int64_t now_s, const struct zone *zone)
{
    switch (f->state) {
    case QUEUE_ANY:
        break;
    case QUEUE_OPEN:
        return row->state != EPISODE_TAKEN && !queue_is_put_off(row, now_s);
    case QUEUE_TAKEN:
        return row->state == EPISODE_TAKEN;
    case QUEUE_PUT_OFF:
        return queue_is_put_off(row, now_s);
    case QUEUE_OVERDUE:
        return queue_is_overdue(row, now_s, zone);
    }
    return true;
}

/* Is the id one of those, with blanks between? */
static bool holds(const char *rules, const char *id)
{
    size_t len = strlen(id);

    for (const char *at = rules; *at != '\0';) {
        size_t n = strcspn(at, " ");

        if (n == len && memcmp(at, id, len) == 0)
            return true;
        at += n;
        at += strspn(at, " ");
    }
    return false;
}

static bool has_rule(const struct queue_filter *f, const struct queue_row *row)
{
    for (size_t i = 0; i < f->rule_count; i++) {
        if (holds(row->rules, f->rules[i]))
            return true;
    }
    return f->rule_count == 0;
}

static bool has_access(const struct queue_filter *f,
                       const struct queue_row *row)
{
    for (size_t i = 0; i < f->access_count; i++) {
        if (f->accesses[i] == row->access_id)
            return true;
    }
    return f->access == NULL;
}

bool queue_filter_takes(const struct queue_filter *f,
                        const struct queue_row *row, int64_t now_s,
                        const struct zone *zone)
{
    if (row->held) /* of another unit for sure, or it is shown */
        return row->unit[0] == '\0' || has_unit(f, row);
    return has_unit(f, row) && has_state(f, row, now_s, zone) &&
           has_rule(f, row) && has_access(f, row);
}

size_t queue_filter_apply(const struct queue_filter *f, struct queue_row *rows,
                          size_t count, int64_t now_s, const struct zone *zone,
                          struct queue_hidden *hidden)
{
    size_t shown = 0;

    *hidden = (struct queue_hidden){ .rows = 0 };
    for (size_t i = 0; i < count; i++) {
        if (queue_filter_takes(f, &rows[i], now_s, zone)) {
            rows[shown++] = rows[i];
            continue;
        }
        hidden->rows++;
        hidden->phone_now += !rows[i].reminder && !rows[i].ground_gone &&
                                     rows[i].urgency == URGENCY_IMMEDIATE
                                 ? 1
                                 : 0;
        hidden->overdue += queue_is_overdue(&rows[i], now_s, zone) ? 1 : 0;
    }
    return shown;
}

/* ---- what is said --------------------------------------------------------- */

static const char *state_said(enum queue_state state)
{
    switch (state) {
    case QUEUE_OPEN:
        return _("State: open. ");
    case QUEUE_TAKEN:
        return _("State: in hand. ");
    case QUEUE_PUT_OFF:
        return _("State: put off. ");
    case QUEUE_OVERDUE:
        return _("State: overdue. ");
    case QUEUE_ANY:
        break;
    }
    return "";
}

/* What was asked for, made fit for a terminal; into words, which it returns. */
static const char *clean(struct buf *words, const char *text)
{
    buf_empty(words);
    queue_text_clean(words, text);
    return words->data != NULL ? words->data : "";
}

static void say_rules(const struct queue_filter *f, struct buf *out)
{
    struct buf list;

    buf_init(&list, 512);
    for (size_t i = 0; i < f->rule_count; i++)
        buf_printf(&list, "%s%s", i > 0 ? " " : "", f->rules[i]);
    buf_printf(out, _("Rules: %s. "), list.data != NULL ? list.data : "");
    buf_clear(&list);
}

void queue_filter_say(const struct queue_filter *f,
                      const struct queue_hidden *hidden, struct buf *out)
{
    struct buf words;

    buf_init(&words, (size_t)4 * QUEUE_TEXT_MAX);
    buf_puts(out, _("ONLY A PART IS SHOWN. "));
    if (f->unit != NULL)
        buf_printf(out, _("Unit: %s. "), clean(&words, f->unit));
    if (f->no_unit)
        buf_puts(out, _("Unit: not known. "));
    buf_puts(out, state_said(f->state));
    if (f->rule_count > 0)
        say_rules(f, out);
    if (f->access != NULL)
        buf_printf(out, _("Access: %s. "), clean(&words, f->access));
    buf_printf(out, _("Not shown: %1$zu; to phone now: %2$zu; overdue: %3$zu."),
               hidden->rows, hidden->phone_now, hidden->overdue);
    buf_clear(&words);
}

static void text_or_null(struct buf *out, const char *key, const char *text)
{
    if (text != NULL && text[0] != '\0')
        fhir_out_text(out, key, text);
    else
        fhir_out_raw(out, key, "null", 4);
}

void queue_filter_json(const struct queue_filter *f,
                       const struct queue_hidden *hidden, struct buf *out)
{
    buf_puts(out, "{");
    fhir_out_text(out, "kind", "not-shown");
    fhir_out_int(out, "count", (long long)hidden->rows);
    fhir_out_int(out, "phone_now", (long long)hidden->phone_now);
    fhir_out_int(out, "overdue", (long long)hidden->overdue);
    text_or_null(out, "unit", f->unit);
    fhir_out_bool(out, "unit_not_known", f->no_unit);
    text_or_null(out, "state", state_words[f->state]);
    fhir_out_open(out, "rules", '[');
    for (size_t i = 0; i < f->rule_count; i++)
        fhir_out_text(out, NULL, f->rules[i]);
    fhir_out_close(out, ']');
    text_or_null(out, "access", f->access);
    buf_puts(out, "}\n");
}
