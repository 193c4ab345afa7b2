/*
 * hl7_answer - what a sender of HL7 v2 is told
 *
 * Original mode (neither MSH-15 nor MSH-16): exactly one answer, AA, AE or AR.
 * Enhanced mode: CA, CE or CR if MSH-15 wants it, and behind it AA, AE or AR if
 * MSH-16 wants it; of what was not kept only the first of the two.
 *
 *     kept, good                CA   AA
 *     kept, in quarantine       CA   as the sender's profile says
 *     rejected                  CR   (AR where no CR is wanted)
 *     not kept, fault here      CE   (AE with code 207)
 *
 * Source: HL7 v2.5.1, 2.9.2 and 2.9.3, tables 0008 and 0155.
 */
#ifndef HEADGATE_SERVICE_HL7_ANSWER_H
#define HEADGATE_SERVICE_HL7_ANSWER_H

#include "service/hl7_intake.h"

/* Unique control ids (MSH-10) for answers: what tells this process from all
 * others, and a number.  Loop thread. */
struct hl7_ids {
    char seed[9];
    uint64_t count;
};
void hl7_ids_start(struct hl7_ids *ids);

/* Answers by their code, for the metrics. */
struct hl7_counters {
    uint64_t answers[HL7_CR + 1];
    uint64_t unanswered; /* none was wanted, or none could be given */
    uint64_t repeated;   /* messages that had come before */
    /* see hl7_counts */
    uint64_t line_feeds, unknown_escapes, blank_segments, damage;
};

/*
 * hl7_answer_write - what is to be sent, in MLLP frames
 *
 * e  of the store; other than ERR_OK: nothing was kept, or (ERR_IO, ERR_STOPPED)
 *    it is not known whether it was
 */
void hl7_answer_write(const struct hl7_intake *in, enum err e,
                      struct hl7_ids *ids, int64_t now_ms,
                      struct hl7_counters *counters, struct buf *out);

/* The application's answer alone, without a frame (POST /hl7). */
void hl7_answer_plain(const struct hl7_intake *in, struct hl7_ids *ids,
                      int64_t now_ms, struct hl7_counters *counters,
                      struct buf *out);

/*
 * hl7_answer_json - the same for a program
 *
 *     { "answer": "AA", "control": "1", "sender": "hall-north",
 *       "message": 17, "repeated": false, "quarantined": false,
 *       "stored": 1, "there": 0, "held": 0, "refused": 0,
 *       "issues": [ { "severity": "error", "code": "103", "word": "unit",
 *                     "place": "OBX[3]-6", "text": "..." } ], "dropped": 0 }
 *
 * message: its number here; null where it was not kept (rejected).
 */
void hl7_answer_json(const struct hl7_intake *in, struct buf *out);

/* What was let pass, into the counters. */
void hl7_answer_count(const struct hl7_intake *in,
                      struct hl7_counters *counters);

#endif
