/*
 *              0x0B                0x1C                CR, anything
 *     OUTSIDE ------> INSIDE ---------------> ENDED -----------------> OUTSIDE
 *        ^             |  ^ 0x0B: begin anew                        (a message)
 *        |  0x1C       v  |
 *        +---------- DROPPING  (the frame is longer than frame_max)
 */
#include "adapters/mllp.h"

#include <string.h>

enum { START = 0x0b, END = 0x1c, CR = 0x0d, LF = 0x0a };

/* A frame that was longer than this gives its memory back. */
enum { KEEP_MAX = 64 * 1024 };

enum { OUTSIDE, INSIDE, ENDED, DROPPING };

void mllp_init(struct mllp *mllp, size_t frame_max)
{
    *mllp = (struct mllp){ .frame_max = frame_max, .state = OUTSIDE };
    buf_init(&mllp->frame, frame_max);
}

void mllp_clear(struct mllp *mllp)
{
    buf_clear(&mllp->frame);
    mllp->state = OUTSIDE;
}

bool mllp_is_open(const struct mllp *mllp)
{
    return mllp->state != OUTSIDE;
}

static void forget(struct mllp *m)
{
    if (m->frame.size > KEEP_MAX)
        buf_clear(&m->frame);
    else
        buf_empty(&m->frame);
}

static void begin(struct mllp *m)
{
    forget(m);
    m->state = INSIDE;
}

/* How many bytes there are before one that ends or begins a frame. */
static size_t plain(const char *bytes, size_t len)
{
    const char *end = memchr(bytes, END, len);
    const char *start;

    if (end != NULL)
        len = (size_t)(end - bytes);
    start = memchr(bytes, START, len);
    return start != NULL ? (size_t)(start - bytes) : len;
}

/* Bytes of the open frame.  ERR_ABSENT: go on. */
static enum err keep(struct mllp *m, const char *bytes, size_t len)
{
    size_t room = m->frame_max - m->frame.len;

    buf_add(&m->frame, bytes, len < room ? len : room);
    if (buf_ok(&m->frame) == ERR_OK && len <= room)
        return ERR_ABSENT;
    m->state = DROPPING;
    m->counts.too_long += len > room ? 1 : 0;
    return len > room ? ERR_LIMIT : buf_ok(&m->frame);
}

/* A byte that begins or ends something, in the state that it meets.  *took:
 * whether it is used up. */
static enum err turn(struct mllp *m, char byte, bool *took)
{
    *took = true;
    if (m->state == ENDED) {
        *took = byte == CR;
        m->counts.unended += byte == CR ? 0 : 1;
        m->counts.frames++;
        m->state = OUTSIDE;
        return ERR_OK;
    }
    if (byte == START) {
        m->counts.restarted += m->state == INSIDE ? 1 : 0;
        begin(m);
    } else if (byte == END && m->state == INSIDE) {
        m->state = ENDED;
    } else if (byte == END && m->state == DROPPING) {
        m->state = OUTSIDE;
        forget(m);
    } else if (m->state == OUTSIDE && byte != CR && byte != LF) {
        m->counts.outside++;
    }
    return ERR_ABSENT;
}

enum err mllp_feed(struct mllp *mllp, const char *bytes, size_t len,
                   size_t *used)
{
    enum err e = ERR_ABSENT;
    size_t at = 0;

    if (mllp->state == OUTSIDE || mllp->state == DROPPING)
        forget(mllp);
    while (at < len && e == ERR_ABSENT) {
        size_t run = 0;
        bool took = false;

        if (mllp->state == INSIDE || mllp->state == DROPPING)
            run = plain(bytes + at, len - at);
        if (run > 0 && mllp->state == INSIDE)
            e = keep(mllp, bytes + at, run);
        if (run == 0)
            e = turn(mllp, bytes[at], &took);
        at += run + (took ? 1 : 0);
    }
    *used = at;
    return e;
}

enum err mllp_settle(struct mllp *mllp)
{
    if (mllp->state != ENDED)
        return ERR_ABSENT;
    mllp->counts.frames++;
    mllp->counts.unended++;
    mllp->state = OUTSIDE;
    return ERR_OK;
}

void mllp_wrap(const char *message, size_t len, struct buf *out)
{
    static const char start = START, end[] = { END, CR };

    buf_add(out, &start, 1);
    buf_add(out, message, len);
    buf_add(out, end, sizeof(end));
}
