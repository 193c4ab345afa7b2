/*
 * hl7_kit - what holds of any bytes that are read as HL7 v2: as a message, as a
 * file of messages, as frames
 *
 * For fuzz_hl7.c, fuzz_mllp.c, and test_hl7_corpus.c, which replays their
 * corpora.  A broken promise stops the program in every kind of build.
 */
#ifndef HEADGATE_TESTS_HL7_KIT_H
#define HEADGATE_TESTS_HL7_KIT_H

#include "adapters/hl7_ack.h"
#include "adapters/hl7_batch.h"
#include "adapters/mllp.h"
#include "tests/source_kit.h"

#include <stdlib.h>
#include <string.h>

static void must(bool kept)
{
    if (!kept)
        abort();
}

/* ---- a message ------------------------------------------------------------ */

/* RFC 3629, section 4, read as plainly as it stands there. */
static bool is_utf8(const char *text)
{
    const unsigned char *at = (const unsigned char *)text;

    while (*at != '\0') {
        int more = *at < 0x80   ? 0
                   : *at < 0xc2 ? -1
                   : *at < 0xe0 ? 1
                   : *at < 0xf0 ? 2
                   : *at < 0xf5 ? 3
                                : -1;

        if (more < 0 || (*at == 0xe0 && at[1] < 0xa0) ||
            (*at == 0xed && at[1] > 0x9f) || (*at == 0xf0 && at[1] < 0x90) ||
            (*at == 0xf4 && at[1] > 0x8f))
            return false;
        for (at++; more > 0; more--, at++) {
            if ((*at & 0xc0) != 0x80)
                return false;
        }
    }
    return true;
}

/* The parts of one repetition; what lies beyond them is empty. */
static void walk_repetition(const struct hl7_message *m, size_t s, int f, int r)
{
    int components = (int)hl7_components(m, s, f, r);

    must(is_utf8(hl7_raw(m, s, f, r)));
    must((components == 0) == (hl7_raw(m, s, f, r)[0] == '\0'));
    for (int c = 1; c <= components; c++) {
        int subcomponents = (int)hl7_subcomponents(m, s, f, r, c);

        for (int u = 1; u <= subcomponents; u++)
            must(is_utf8(hl7_text(m, s, f, r, c, u)));
        must(hl7_text(m, s, f, r, c, subcomponents + 1)[0] == '\0');
    }
    must(hl7_text(m, s, f, r, components + 1, 1)[0] == '\0');
}

/* A segment put together again from its repetitions. */
static void rejoin(const struct hl7_message *m, size_t s, struct buf *out)
{
    const struct hl7_delimiters *d = hl7_delimiters(m);
    int fields = (int)hl7_fields(m, s);

    buf_empty(out);
    buf_puts(out, hl7_name(m, s));
    for (int f = s == 0 ? 2 : 1; f <= fields; f++) {
        buf_add(out, &d->field, 1);
        for (int r = 1; r <= (int)hl7_repetitions(m, s, f); r++) {
            if (r > 1)
                buf_add(out, &d->repetition, 1);
            buf_puts(out, hl7_raw(m, s, f, r));
        }
    }
    must(buf_ok(out) == ERR_OK);
}

/* Bytes that mean the same in every set that there is. */
static bool is_plain(const char *bytes, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if ((unsigned char)bytes[i] >= 0x7f || bytes[i] == 0x1b)
            return false;
    }
    return true;
}

/* The next line that is more than blanks, as it came. */
static size_t next_line(const char *bytes, size_t len, size_t *at)
{
    size_t from = *at, blank;

    for (;;) {
        while (from < len && (bytes[from] == '\r' || bytes[from] == '\n'))
            from++;
        *at = from;
        while (*at < len && bytes[*at] != '\r' && bytes[*at] != '\n')
            ++*at;
        for (blank = from;
             blank < *at && (bytes[blank] == ' ' || bytes[blank] == '\t');)
            blank++;
        if (blank < *at || *at == len)
            return from;
        from = *at;
    }
}

/* What is told of bytes that are not of the set is where it is told to be. */
static void walk_damage(const struct hl7_message *m, size_t s)
{
    for (size_t i = 0; i < hl7_damages(m, s); i++) {
        struct hl7_place at = hl7_damage(m, s, i);

        must(strcmp(at.segment, hl7_name(m, s)) == 0);
        must(s > 0);
        must(at.field == 0 || strstr(hl7_raw(m, s, at.field, at.repetition),
                                     "\xef\xbf\xbd") != NULL);
    }
}

static void walk(const struct hl7_message *m, const char *bytes, size_t len)
{
    bool plain = is_plain(bytes, len);
    struct buf line;
    size_t at = 0;

    buf_init(&line, HL7_MESSAGE_MAX);
    must(hl7_segments(m) > 0 && strcmp(hl7_name(m, 0), "MSH") == 0);
    for (size_t s = 0; s < hl7_segments(m); s++) {
        struct hl7_place place = hl7_place_of(m, s);
        int fields = (int)hl7_fields(m, s);

        must(strcmp(place.segment, hl7_name(m, s)) == 0 && place.sequence > 0);
        for (int f = 1; f <= fields; f++) {
            int repetitions = (int)hl7_repetitions(m, s, f);

            for (int r = 1; r <= repetitions; r++)
                walk_repetition(m, s, f, r);
            must(hl7_raw(m, s, f, repetitions + 1)[0] == '\0');
        }
        must(hl7_field(m, s, fields + 1)[0] == '\0');
        walk_damage(m, s);
        must(!plain || hl7_damages(m, s) == 0);
        if (plain) {
            size_t from = next_line(bytes, len, &at);

            rejoin(m, s, &line);
            must(line.len == at - from &&
                 memcmp(line.data, bytes + from, line.len) == 0);
        }
    }
    must(hl7_name(m, hl7_segments(m))[0] == '\0');
    buf_clear(&line);
}

/* ---- an answer ------------------------------------------------------------ */

/* Can this field be echoed, byte for byte? */
static bool is_short(const char *field)
{
    for (size_t i = 0; field[i] != '\0'; i++) {
        if ((unsigned char)field[i] < ' ' && field[i] != '\t')
            return false;
    }
    return strlen(field) <= 200;
}

/* Our own reader reads the answer, and it is about that message. */
static void check_reading(const struct hl7_message *m, const char *charset,
                          const struct buf *out, enum hl7_answer answer)
{
    bool plain = is_plain(out->data, out->len);
    struct hl7_message *read = NULL;
    struct hl7_fault fault;
    const char *control = hl7_raw(m, 0, 10, 1);
    enum err e = hl7_read(out->data, out->len, charset, &read, &fault);

    must(e == ERR_OK || !plain);
    if (e == ERR_OK && plain) {
        size_t msa = hl7_find(read, "MSA", 0);

        must(strcmp(hl7_field(read, msa, 1), hl7_answer_word(answer)) == 0);
        must(!is_short(control) ||
             strcmp(hl7_raw(read, msa, 2, 1), control) == 0);
    }
    hl7_free(read);
}

/* What is answered to the message, or to bytes that are none. */
static void check_answer(const struct hl7_message *m, const char *charset,
                         const char *bytes, size_t len, enum hl7_answer answer)
{
    static const struct hl7_issues issues = {
        .count = 2,
        .errors = 5,
        .dropped = 3,
        .list = { { HL7_ERROR,
                    HL7_DATA_TYPE,
                    "bad-value",
                    { "OBX", 3, 5, 1, 1, 0 },
                    "Not a number: | ^ ~ & \\ # \xc3\xa4" },
                  { HL7_WARNING,
                    HL7_INTERNAL,
                    "json-syntax",
                    { "", 0, 0, 0, 0, 0 },
                    "" } }
    };
    struct buf out;

    buf_init(&out, HL7_ACK_MAX);
    hl7_ack_write(m, bytes, len, answer, "HG-1", 1795680942, &issues, &out);
    must(buf_ok(&out) == ERR_OK && out.len > 0);
    must(out.data[out.len - 1] == '\r' && memcmp(out.data, "MSH", 3) == 0);
    for (size_t i = 0; i < out.len; i++)
        must(out.data[i] != '\0' && strchr("\x0b\x1c\n", out.data[i]) == NULL);
    if (m != NULL && hl7_raw(m, 0, 18, 1)[0] == '\0')
        check_reading(m, charset, &out, answer);
    buf_clear(&out);
}

/* Read, walk and answer; true if it is a message. */
static bool check_message(const char *bytes, size_t len, const char *charset)
{
    struct hl7_message *m = NULL;
    struct hl7_fault fault = { .text = "" };
    char place[HL7_PLACE_SIZE];
    enum err e = hl7_read(bytes, len, charset, &m, &fault);

    must(e == ERR_OK || e == ERR_FORM || e == ERR_UNKNOWN || e == ERR_LIMIT);
    must((e == ERR_OK) == (m != NULL));
    must(e == ERR_OK || fault.text[0] != '\0');
    hl7_place_write(&fault.place, place);
    must(strlen(place) < HL7_PLACE_SIZE);
    if (m != NULL)
        walk(m, bytes, len);
    /* What the mark said, the answer does not say again. */
    if (len >= 3 && memcmp(bytes, "\xef\xbb\xbf", 3) == 0)
        charset = "UTF-8";
    for (int i = HL7_AA; i <= HL7_CR; i++)
        check_answer(m, charset, bytes, len, (enum hl7_answer)i);
    hl7_free(m);
    return e == ERR_OK;
}

/* ---- a file --------------------------------------------------------------- */

/* Returns how many messages were found; the same in pieces of any size. */
static size_t check_batch(const char *bytes, size_t len, size_t piece)
{
    struct source s = { bytes, len, 0, piece, SIZE_MAX };
    struct hl7_batch *batch;
    struct hl7_batch_message m = { .number = 0 };
    uint64_t behind = 0, number = 0, line = 1;
    size_t found = 0;
    enum err e;

    must(hl7_batch_new(source_read, &s, 0, &batch) == ERR_OK);
    while ((e = hl7_batch_next(batch, &m)) != ERR_ABSENT) {
        must(e == ERR_OK || e == ERR_FORM || e == ERR_LIMIT);
        must((e == ERR_OK) == (m.bytes != NULL));
        must((e == ERR_OK) == (m.problem == NULL));
        /* Each stands behind the one before, and none is passed over. */
        must(m.offset >= behind && m.end > m.offset && m.end <= len);
        must(m.line >= line && m.number >= number && m.number <= number + 1);
        if (e == ERR_OK) {
            must(m.number == number + 1 && m.len <= HL7_MESSAGE_MAX);
            must(m.len <= m.end - m.offset);
            must(memcmp(m.bytes, bytes + m.offset, m.len) == 0);
            must(m.len >= 3 && memcmp(m.bytes, "MSH", 3) == 0);
            found++;
        }
        behind = m.end;
        number = m.number;
        line = m.line;
    }
    hl7_batch_free(batch);
    return found;
}

/* ---- frames --------------------------------------------------------------- */

/* All the frames of the bytes, given in pieces; each is added to out with a
 * sign for how it ended. */
static void check_frames(const char *bytes, size_t len, const char *pieces,
                         size_t piece_count, size_t frame_max, struct buf *out)
{
    struct mllp mllp;
    size_t at = 0, turn = 0;

    mllp_init(&mllp, frame_max);
    while (at < len) {
        size_t used = 0, given = len - at;
        size_t most =
            piece_count == 0
                ? given
                : (size_t)(unsigned char)pieces[turn++ % piece_count] + 1;
        enum err e;

        given = given < most ? given : most;
        e = mllp_feed(&mllp, bytes + at, given, &used);
        must(e == ERR_OK || e == ERR_ABSENT || e == ERR_LIMIT);
        must(used <= given && mllp.frame.len <= frame_max);
        must(e != ERR_ABSENT || used == given);
        must(used > 0 || e == ERR_OK);
        must(e != ERR_OK || !mllp_is_open(&mllp));
        at += used;
        if (e == ERR_ABSENT)
            continue;
        buf_add(out, mllp.frame.data, e == ERR_OK ? mllp.frame.len : 0);
        buf_add(out, e == ERR_OK ? "\x1c" : "\x0b", 1);
    }
    must(at == len);
    if (mllp_settle(&mllp) == ERR_OK) {
        buf_add(out, mllp.frame.data, mllp.frame.len);
        buf_add(out, "\x1c", 1);
        must(!mllp_is_open(&mllp));
    }
    must(mllp.counts.unended <= mllp.counts.frames);
    mllp_clear(&mllp);
}

/* In these pieces as at once. */
static void check_mllp(const char *bytes, size_t len, const char *pieces,
                       size_t piece_count, size_t frame_max)
{
    struct buf whole, pieced;

    buf_init(&whole, 2 * len + 2);
    buf_init(&pieced, 2 * len + 2);
    check_frames(bytes, len, "", 0, frame_max, &whole);
    check_frames(bytes, len, pieces, piece_count, frame_max, &pieced);
    must(buf_ok(&whole) == ERR_OK && buf_ok(&pieced) == ERR_OK);
    must(whole.len == pieced.len &&
         memcmp(whole.data, pieced.data, whole.len) == 0);
    buf_clear(&whole);
    buf_clear(&pieced);
}

/* ---- the targets ---------------------------------------------------------- */

/* Any bytes as a message and as a file; in which set an empty MSH-18 is, and in
 * pieces of which size the file comes, follows from how many there are. */
static void check_hl7(const char *bytes, size_t len)
{
    static const char *const charsets[] = { "ASCII", "8859/1", "UNICODE UTF-8",
                                            "ISO IR87", "BIG-5" };

    check_message(bytes, len, charsets[len % COUNT(charsets)]);
    must(check_batch(bytes, len, SIZE_MAX) ==
         check_batch(bytes, len, len % 97 + 1));
}

/* Any bytes as a stream of frames: the first says how many of those behind the
 * second are sizes of pieces, the second how long a frame may be. */
static void check_stream(const char *bytes, size_t len)
{
    size_t count = len > 0 ? (unsigned char)bytes[0] % 8U : 0;

    if (len < 2 + count)
        return;
    check_mllp(bytes + 2 + count, len - 2 - count, bytes + 2, count,
               (size_t)(unsigned char)bytes[1] + 1);
}

#endif
