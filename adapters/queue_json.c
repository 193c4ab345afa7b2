/* The queue for programs: NDJSON.  The list for people is in queue_write.c. */
#include "adapters/queue_write.h"

#include "adapters/fhir_out.h"
#include "adapters/fhir_time.h"
#include "adapters/queue_text.h"

#include <stdio.h>
#include <string.h>

static void json_null(struct buf *out, const char *key)
{
    fhir_out_raw(out, key, "null", 4);
}

static void json_text(struct buf *out, const char *key, const char *text)
{
    size_t before = out->len;

    fhir_out_text(out, key, text);
    if (out->len == before)
        json_null(out, key);
}

static void json_rules(struct buf *out, const char *rules)
{
    char id[16];

    fhir_out_open(out, "rules", '[');
    for (const char *at = rules; *at != '\0';) {
        size_t len = strcspn(at, " ");

        snprintf(id, sizeof(id), "%.*s", (int)(len < 15 ? len : 15), at);
        fhir_out_text(out, NULL, id);
        at += len;
        at += strspn(at, " ");
    }
    fhir_out_close(out, ']');
}

static void json_due(struct buf *out, const struct queue_row *row,
                     int64_t now_s, const struct zone *zone)
{
    char date[FHIR_TIME_SIZE];

    if (row->due_s == 0) {
        json_null(out, "due");
        json_null(out, "due_days");
        return;
    }
    fhir_date_write(row->due_s, zone, date);
    fhir_out_text(out, "due", date);
    fhir_out_int(out, "due_days", queue_days(row->due_s, now_s, zone));
}

static const char *state_word(const struct queue_row *row, int64_t now_s)
{
    if (queue_is_put_off(row, now_s))
        return "put-off";
    return row->state == EPISODE_TAKEN ? "taken" : "open";
}

/* What people have done with it. */
static void json_people(const struct queue_row *row, const struct zone *zone,
                        struct buf *out)
{
    char until[FHIR_TIME_SIZE] = "";

    if (row->put_off_until_s != 0)
        fhir_date_write(row->put_off_until_s, zone, until);
    json_text(out, "owner", row->owner != NULL ? row->owner : "");
    json_text(out, "put_off_until", until);
    json_text(out, "put_off_by",
              row->put_off_by != NULL ? row->put_off_by : "");
    fhir_out_bool(out, "escalated", row->escalated);
}

static void json_death(const struct queue_row *row, struct buf *out)
{
    json_text(out, "replaced_by",
              row->replaced_by != NULL ? row->replaced_by : "");
    fhir_out_bool(out, "recorded_deceased", row->died != NULL);
    json_text(out, "deceased", row->died != NULL ? row->died : "");
    fhir_out_bool(out, "death_doubtful", queue_is_death_doubtful(row));
}

void queue_write_json(const struct queue_row *row, int64_t now_s,
                      const struct zone *zone, struct buf *out)
{
    char opened[FHIR_TIME_SIZE] = "";

    if (row->opened_s != 0)
        fhir_time_write(row->opened_s, opened);
    buf_puts(out, "{");
    fhir_out_text(out, "kind",
                  row->held       ? "held-emergency"
                  : row->reminder ? "reminder"
                                  : "referral");
    json_text(out, "urgency", row->reminder ? "" : urgency_word(row->urgency));
    fhir_out_text(out, "state", state_word(row, now_s));
    json_text(out, "patient", row->patient_name);
    json_text(out, "patient_number", row->patient_number);
    json_text(out, "unit", row->unit);
    json_text(out, "access", row->access);
    json_text(out, "seen", row->headline);
    json_text(out, "suggestion", row->suggestion);
    json_rules(out, row->rules);
    json_text(out, "group", row->group);
    json_text(out, "opened", opened);
    if (row->opened_s != 0)
        fhir_out_int(out, "open_days", -queue_days(row->opened_s, now_s, zone));
    else
        json_null(out, "open_days");
    json_due(out, row, now_s, zone);
    json_text(out, "task", row->task_id);
    fhir_out_bool(out, "silent", row->silent);
    fhir_out_bool(out, "ground_gone", row->ground_gone);
    json_text(out, "observation",
              row->observation != NULL ? row->observation : "");
    if (row->input != 0)
        fhir_out_int(out, "input", row->input);
    else
        json_null(out, "input");
    json_people(row, zone, out);
    json_death(row, out);
    buf_puts(out, "}\n");
}
