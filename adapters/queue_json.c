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
    fhir_out_text(out, "state", row->state == EPISODE_TAKEN ? "taken" : "open");
    json_text(out, "patient", row->patient_name);
    json_text(out, "patient_number", row->patient_number);
    json_text(out, "unit", row->unit);
    json_text(out, "access", row->access);
    json_text(out, "seen", row->headline);
    json_text(out, "suggestion", row->suggestion);
    json_rules(out, row->rules);
    json_text(out, "group", row->group);
    json_text(out, "opened", opened);
    json_due(out, row, now_s, zone);
    json_text(out, "task", row->task_id);
    fhir_out_bool(out, "silent", row->silent);
    fhir_out_bool(out, "ground_gone", row->ground_gone);
    json_text(out, "observation",
              row->observation != NULL ? row->observation : "");
    buf_puts(out, "}\n");
}
