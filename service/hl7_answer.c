#include "service/hl7_answer.h"

#include "adapters/fhir_out.h"
#include "adapters/mllp.h"
#include "service/resources.h"

#include <stdio.h>

enum { CONTROL_SIZE = 24 };

void hl7_ids_start(struct hl7_ids *ids)
{
    char random[FID_SIZE];

    new_fid(random);
    snprintf(ids->seed, sizeof(ids->seed), "%.8s", random + sizeof(random) - 9);
    ids->count = 0;
}

/* At most 20 characters, as MSH-10 of 2.5.1 has it. */
static void next_id(struct hl7_ids *ids, char out[CONTROL_SIZE])
{
    snprintf(out, CONTROL_SIZE, "%s%012llu", ids->seed,
             (unsigned long long)(ids->count++ % 1000000000000u));
}

static void put(const struct hl7_intake *in, enum hl7_answer answer,
                const struct hl7_issues *issues, struct hl7_ids *ids,
                int64_t now_ms, struct hl7_counters *counters, struct buf *out)
{
    char control[CONTROL_SIZE];

    next_id(ids, control);
    counters->answers[answer]++;
    hl7_ack_write(in->message, in->bytes, in->len, answer, control,
                  now_ms / 1000, issues, out);
}

static void put_frame(const struct hl7_intake *in, enum hl7_answer answer,
                      const struct hl7_issues *issues, struct hl7_ids *ids,
                      int64_t now_ms, struct hl7_counters *counters,
                      struct buf *out)
{
    struct buf text;

    buf_init(&text, HL7_ACK_MAX);
    put(in, answer, issues, ids, now_ms, counters, &text);
    mllp_wrap(text.data, text.len, out);
    buf_clear(&text);
}

/* What is not kept through no fault of the sender's. */
static void say_fault(struct hl7_issues *issues, enum err e)
{
    static const struct hl7_place whole = { .segment = "" };

    *issues = (struct hl7_issues){ .count = 0 };
    hl7_issue_add(issues, HL7_ERROR, HL7_INTERNAL, "not-ready", &whole, "%s",
                  e == ERR_LIMIT ? "The quarantine is full; nothing was kept, "
                                   "send it again later"
                  : e == ERR_IO || e == ERR_STOPPED
                      ? "It is not known whether this was kept; send it again"
                      : "Nothing was kept; send it again later");
}

void hl7_answer_write(const struct hl7_intake *in, enum err e,
                      struct hl7_ids *ids, int64_t now_ms,
                      struct hl7_counters *counters, struct buf *out)
{
    const struct hl7_wants *wants = &in->wants;
    const struct hl7_issues *issues = &in->issues;
    struct hl7_issues fault;
    bool kept = e == ERR_OK && in->id != 0;
    enum hl7_answer accept = kept ? HL7_CA : e == ERR_OK ? HL7_CR : HL7_CE;
    enum hl7_answer answer = e == ERR_OK ? in->answer : HL7_AE;
    bool accepts, applies;

    if (e != ERR_OK) {
        say_fault(&fault, e);
        issues = &fault;
    }
    accepts = wants->enhanced && hl7_is_wanted(wants->accept, kept);
    applies = wants->enhanced
                  ? (kept || !accepts) &&
                        hl7_is_wanted(wants->application, answer == HL7_AA)
                  : true;
    if (accepts)
        put_frame(in, accept, kept ? NULL : issues, ids, now_ms, counters, out);
    if (applies)
        put_frame(in, answer, issues, ids, now_ms, counters, out);
    if (!accepts && !applies)
        counters->unanswered++;
}

void hl7_answer_plain(const struct hl7_intake *in, struct hl7_ids *ids,
                      int64_t now_ms, struct hl7_counters *counters,
                      struct buf *out)
{
    put(in, in->answer, &in->issues, ids, now_ms, counters, out);
}

void hl7_answer_count(const struct hl7_intake *in,
                      struct hl7_counters *counters)
{
    counters->repeated += in->repeated ? 1 : 0;
    if (in->message == NULL)
        return;
    counters->line_feeds += hl7_counts(in->message)->line_feeds;
    counters->unknown_escapes += hl7_counts(in->message)->unknown_escapes;
    counters->blank_segments += hl7_counts(in->message)->blank_segments;
    counters->damage += hl7_counts(in->message)->damage;
}

/* ---- for a program -------------------------------------------------------- */

static void put_issue(const struct hl7_issue *issue, struct buf *out)
{
    static const char *const severities[] = { "information", "warning",
                                              "error" };
    char place[HL7_PLACE_SIZE], code[16];

    hl7_place_write(&issue->place, place);
    snprintf(code, sizeof(code), "%d", (int)issue->code);
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "severity", severities[issue->severity]);
    fhir_out_text(out, "code", code);
    fhir_out_text(out, "word", issue->word);
    fhir_out_text(out, "place", place);
    fhir_out_text(out, "text", issue->text);
    fhir_out_close(out, '}');
}

void hl7_answer_json(const struct hl7_intake *in, struct buf *out)
{
    fhir_out_open(out, NULL, '{');
    fhir_out_text(out, "answer", hl7_answer_word(in->answer));
    fhir_out_text(out, "control", in->control);
    fhir_out_text(out, "sender",
                  in->profile != NULL ? in->profile->name : NULL);
    if (in->id != 0)
        fhir_out_int(out, "message", in->id);
    else
        fhir_out_raw(out, "message", "null", 4);
    fhir_out_bool(out, "repeated", in->repeated);
    fhir_out_bool(out, "quarantined", in->quarantined);
    fhir_out_int(out, "stored", in->stored);
    fhir_out_int(out, "there", in->there);
    fhir_out_int(out, "held", in->held);
    fhir_out_int(out, "refused", in->refused);
    fhir_out_open(out, "issues", '[');
    for (size_t i = 0; i < in->issues.count; i++)
        put_issue(&in->issues.list[i], out);
    fhir_out_close(out, ']');
    fhir_out_int(out, "dropped", (long long)in->issues.dropped);
    fhir_out_close(out, '}');
}
