#include "adapters/hl7_batch_work.h"

#include <string.h>

/* ---- the window ----------------------------------------------------------- */

void hl7_batch_take(struct hl7_batch *b)
{
    b->offset += b->at - b->from;
    b->from = b->at;
}

/* Read once; what has been taken makes room.  The window has room: a message
 * is given up before it fills it. */
static void fill(struct hl7_batch *b)
{
    size_t got = 0;

    if (b->from > 0) {
        memmove(b->data, b->data + b->from, b->to - b->from);
        b->at -= b->from;
        b->to -= b->from;
        b->from = 0;
    }
    b->failed =
        b->read(b->arg, b->data + b->to, HL7_BATCH_WINDOW - b->to, &got);
    b->to += b->failed == ERR_OK ? got : 0;
    b->ended = b->failed != ERR_OK || got == 0;
}

bool hl7_batch_has(struct hl7_batch *b, size_t n)
{
    while (b->to - b->at < n && !b->ended)
        fill(b);
    return b->to - b->at >= n;
}

bool hl7_batch_is_at(struct hl7_batch *b, const char *bytes, size_t len)
{
    return hl7_batch_has(b, len) && memcmp(b->data + b->at, bytes, len) == 0;
}

/* ---- what begins at the beginning of a line ------------------------------- */

bool hl7_batch_is_segment(const char *at, size_t len, const char *name)
{
    char c = '\r';

    if (len < 3 || memcmp(at, name, 3) != 0)
        return false;
    if (len > 3)
        c = at[3];
    return !((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') ||
             (c >= 'a' && c <= 'z'));
}

enum hl7_batch_kind hl7_batch_kind_at(struct hl7_batch *b)
{
    static const struct {
        const char *name;
        enum hl7_batch_kind kind;
    } rows[] = { { "MSH", KIND_MESSAGE },
                 { "FHS", KIND_FHS },
                 { "BHS", KIND_BHS },
                 { "BTS", KIND_BTS },
                 { "FTS", KIND_FTS } };

    if (!hl7_batch_has(b, 1))
        return KIND_END;
    if (b->data[b->at] == HL7_BATCH_START)
        return KIND_FRAME;
    hl7_batch_has(b, 4);
    for (size_t i = 0; i < COUNT(rows); i++) {
        if (hl7_batch_is_segment(b->data + b->at, b->to - b->at, rows[i].name))
            return rows[i].kind;
    }
    return KIND_OTHER;
}

/* ---- lines ---------------------------------------------------------------- */

bool hl7_batch_ends_line(char c)
{
    return c == '\r' || c == '\n' || c == HL7_BATCH_START || c == HL7_BATCH_END;
}

void hl7_batch_pass_end(struct hl7_batch *b)
{
    bool cr = b->data[b->at++] == '\r';

    b->line++;
    if (cr && hl7_batch_is_at(b, "\n", 1))
        b->at++;
}

enum hl7_batch_ending hl7_batch_pass_line(struct hl7_batch *b, bool *drop)
{
    for (;;) {
        while (b->at < b->to && !hl7_batch_ends_line(b->data[b->at]))
            b->at++;
        *drop = *drop || b->at - b->from > HL7_MESSAGE_MAX;
        if (*drop)
            hl7_batch_take(b);
        if (b->at < b->to)
            break;
        if (!hl7_batch_has(b, 1))
            return FILE_OVER;
    }
    if (b->data[b->at] == HL7_BATCH_START)
        return FRAME_BEGINS;
    if (b->data[b->at] == HL7_BATCH_END) {
        b->at++;
        b->in_frame = false;
        return FRAME_OVER;
    }
    hl7_batch_pass_end(b);
    return LINE_OVER;
}
