#include "adapters/hl7_batch_work.h"

#include <stdlib.h>
#include <string.h>

enum err hl7_batch_new(feed_read_fn read, void *arg, uint64_t offset,
                       struct hl7_batch **out)
{
    struct hl7_batch *b = calloc(1, sizeof(*b));

    if (b == NULL)
        return ERR_MEMORY;
    b->data = malloc(HL7_BATCH_WINDOW);
    if (b->data == NULL) {
        free(b);
        return ERR_MEMORY;
    }
    b->read = read;
    b->arg = arg;
    b->offset = offset;
    b->line = 1;
    *out = b;
    return ERR_OK;
}

void hl7_batch_free(struct hl7_batch *batch)
{
    if (batch == NULL)
        return;
    free(batch->data);
    free(batch);
}

/* ---- lines ---------------------------------------------------------------- */

/* Of a line that is not wanted. */
static enum hl7_batch_ending drop_line(struct hl7_batch *b)
{
    bool drop = true;
    enum hl7_batch_ending ending = hl7_batch_pass_line(b, &drop);

    hl7_batch_take(b);
    return ending;
}

/* Blanks, and the ends of lines and of the frame that is open. */
static void pass_blank(struct hl7_batch *b)
{
    while (hl7_batch_has(b, 1)) {
        char c = b->data[b->at];

        if (c == '\r' || c == '\n') {
            hl7_batch_pass_end(b);
        } else if (c == ' ' || c == '\t' ||
                   (c == HL7_BATCH_END && b->in_frame)) {
            b->in_frame = b->in_frame && c != HL7_BATCH_END;
            b->at++;
        } else {
            break;
        }
        hl7_batch_take(b);
    }
}

/* ---- what is found -------------------------------------------------------- */

/* What begins at `at`, for the caller. */
static void point_at(const struct hl7_batch *b, struct hl7_batch_message *m)
{
    *m = (struct hl7_batch_message){ .number = b->number,
                                     .line = b->line,
                                     .offset = b->offset,
                                     .end = b->offset };
}

/* The end of the last segment and what is blank behind it: the end alone. */
static size_t trim(const char *bytes, size_t len)
{
    size_t text = len, end;

    while (text > 0 && strchr(" \t\r\n", bytes[text - 1]) != NULL &&
           bytes[text - 1] != '\0')
        text--;
    end = text;
    while (end < len && (bytes[end] == ' ' || bytes[end] == '\t'))
        end++;
    if (end + 1 < len && bytes[end] == '\r' && bytes[end + 1] == '\n')
        return end + 2;
    return end < len ? end + 1 : len;
}

/* Look at lines until something else begins; how it ended. */
static enum hl7_batch_ending pass_message(struct hl7_batch *b, bool *drop)
{
    for (;;) {
        enum hl7_batch_ending ending = hl7_batch_pass_line(b, drop);
        enum hl7_batch_kind next;

        if (ending != LINE_OVER)
            return ending;
        next = hl7_batch_kind_at(b);
        if (next == KIND_END)
            return FILE_OVER;
        if (next == KIND_FRAME)
            return FRAME_BEGINS;
        if (next != KIND_OTHER)
            return LINE_OVER;
    }
}

static enum err read_message(struct hl7_batch *b, struct hl7_batch_message *m)
{
    bool drop = false, framed = b->in_frame;
    enum hl7_batch_ending ending;
    size_t len;

    b->number++;
    b->members++;
    point_at(b, m);
    ending = pass_message(b, &drop);
    len = b->at - b->from - (ending == FRAME_OVER && !drop ? 1 : 0);
    m->bytes = b->data + b->from;
    m->len = trim(m->bytes, len);
    m->cut = ending == FILE_OVER && m->len > 0 &&
             m->bytes[m->len - 1] != '\r' && m->bytes[m->len - 1] != '\n';
    hl7_batch_take(b);
    m->end = b->offset;
    if (drop || m->len > HL7_MESSAGE_MAX)
        m->problem = "the message is longer than is taken";
    else if (framed && (ending == FRAME_BEGINS || ending == FILE_OVER))
        m->problem = "the frame of the message does not end";
    if (m->problem == NULL)
        return ERR_OK;
    m->bytes = NULL;
    return drop || m->len > HL7_MESSAGE_MAX ? ERR_LIMIT : ERR_FORM;
}

static enum err pass_other(struct hl7_batch *b, struct hl7_batch_message *m)
{
    point_at(b, m);
    m->problem = "text that belongs to no message";
    while (drop_line(b) == LINE_OVER && hl7_batch_kind_at(b) == KIND_OTHER) {
    }
    m->end = b->offset;
    return ERR_FORM;
}

/* ---- the segments of a batch ---------------------------------------------- */

/* The first field of a trailer.  False: it is empty. */
static bool read_count(struct hl7_batch *b, uint64_t *count)
{
    size_t at;
    char field;

    hl7_batch_has(b, 32);
    at = b->at + 3;
    if (at >= b->to || hl7_batch_ends_line(b->data[at]))
        return false;
    field = b->data[at++];
    *count = UINT64_MAX; /* no number of messages */
    if (at >= b->to || b->data[at] == field || hl7_batch_ends_line(b->data[at]))
        return false;
    for (*count = 0; at < b->to && b->data[at] >= '0' && b->data[at] <= '9';
         at++) {
        if (*count > UINT32_MAX)
            break;
        *count = *count * 10 + (uint64_t)(b->data[at] - '0');
    }
    if (at < b->to && b->data[at] != field && !hl7_batch_ends_line(b->data[at]))
        *count = UINT64_MAX;
    return true;
}

/* BTS or FTS.  counted: what it should say, if it is to be looked at. */
static enum err read_trailer(struct hl7_batch *b, bool look, uint64_t counted,
                             const char *problem, struct hl7_batch_message *m)
{
    uint64_t said = 0;
    bool wrong = look && read_count(b, &said) && said != counted;

    point_at(b, m);
    drop_line(b);
    m->end = b->offset;
    m->problem = problem;
    return wrong ? ERR_FORM : ERR_OK;
}

/* A segment of a batch or file.  ERR_FORM: its count is wrong. */
static enum err read_batch(struct hl7_batch *b, enum hl7_batch_kind kind,
                           struct hl7_batch_message *m)
{
    enum err e = ERR_OK;

    if (kind == KIND_BTS) {
        e = read_trailer(b, b->has_batch, b->members,
                         "the batch's trailer (BTS-1) counts other messages "
                         "than were read",
                         m);
        b->has_batch = false;
        return e;
    }
    if (kind == KIND_FTS) {
        /* A file may hold messages without a header of a batch. */
        e = read_trailer(b, b->has_file && b->batches > 0, b->batches,
                         "the file's trailer (FTS-1) counts other batches than "
                         "were read",
                         m);
        b->has_file = false;
        return e;
    }
    if (kind == KIND_FHS) {
        b->has_file = true;
        b->batches = 0;
    } else {
        b->has_batch = true;
        b->batches++;
    }
    b->members = 0;
    drop_line(b);
    return e;
}

/* One thing after the other until there is one to tell of. */
static enum err next_thing(struct hl7_batch *b, struct hl7_batch_message *m)
{
    enum err e = ERR_OK;

    while (e == ERR_OK) {
        enum hl7_batch_kind kind;

        pass_blank(b);
        kind = hl7_batch_kind_at(b);
        if (kind == KIND_END)
            return ERR_ABSENT;
        if (kind == KIND_MESSAGE)
            return read_message(b, m);
        if (kind == KIND_OTHER)
            return pass_other(b, m);
        if (kind == KIND_FRAME) {
            b->in_frame = true;
            b->at++;
            hl7_batch_take(b);
        } else {
            e = read_batch(b, kind, m);
        }
    }
    return e;
}

enum err hl7_batch_next(struct hl7_batch *batch,
                        struct hl7_batch_message *message)
{
    enum err e;

    if (!batch->begun && batch->offset == 0 &&
        hl7_batch_is_at(batch, "\xef\xbb\xbf", 3)) {
        batch->at += 3;
        hl7_batch_take(batch);
    }
    batch->begun = true;
    e = next_thing(batch, message);
    return batch->failed != ERR_OK ? batch->failed : e;
}

bool hl7_batch_looks(const char *bytes, size_t len)
{
    if (len >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0) {
        bytes += 3;
        len -= 3;
    }
    while (len > 0 &&
           (*bytes == ' ' || *bytes == '\t' || *bytes == HL7_BATCH_START ||
            *bytes == '\r' || *bytes == '\n')) {
        bytes++;
        len--;
    }
    return len > 3 &&
           (hl7_batch_is_segment(bytes, len, "MSH") ||
            hl7_batch_is_segment(bytes, len, "FHS") ||
            hl7_batch_is_segment(bytes, len, "BHS")) &&
           bytes[3] > ' ' && bytes[3] < 0x7f;
}
