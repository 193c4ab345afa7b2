#include "adapters/hl7_ack_work.h"
#include "adapters/hl7_work.h"

#include <string.h>

enum { HEAD_MAX = 64 * 1024 }; /* bytes in which MSH is looked for */

/* Where MSH begins: in front, or behind a byte that is no text. */
static struct hl7_ack_span find_msh(const char *head, size_t len)
{
    len = len < HEAD_MAX ? len : HEAD_MAX;
    for (size_t i = 0; len >= 4 && i <= len - 4; i++) {
        unsigned char before = i > 0 ? (unsigned char)head[i - 1] : ' ';

        if (memcmp(head + i, "MSH", 3) == 0 &&
            (before <= ' ' || before >= 0x7f))
            return (struct hl7_ack_span){ head + i,
                                          hl7_line_end(head, len, i) - i };
    }
    return (struct hl7_ack_span){ "", 0 };
}

struct hl7_ack_head hl7_ack_look(const struct hl7_message *message,
                                 const char *head, size_t len)
{
    struct hl7_ack_head a = { .d = { '|', '^', '~', '\\', '&', '\0' } };
    struct hl7_ack_span msh = { "", 0 };

    if (message != NULL)
        msh.at = hl7_head(message, &msh.len);
    else if (head != NULL)
        msh = find_msh(head, len);
    a.msh = msh.at;
    a.mask = message != NULL ? hl7_head_mask(message) : msh.at;
    a.len = msh.len;
    a.separator = '|';
    if (msh.len > 3)
        a.separator = msh.at[3];
    if (hl7_delimiters_read(a.msh, a.len, &a.d) != ERR_OK)
        a.d = (struct hl7_delimiters){ '|', '^', '~', '\\', '&', '\0' };
    return a;
}

struct hl7_ack_span hl7_ack_field(const struct hl7_ack_head *a, int field)
{
    const char *at = a->mask, *end = at + a->len, *stop;

    for (int i = 1; i < field; i++) {
        at = hl7_part_end(at, end, a->separator);
        if (at == end)
            return (struct hl7_ack_span){ "", 0 };
        at++;
    }
    stop = hl7_part_end(at, end, a->separator);
    return (struct hl7_ack_span){ a->msh + (at - a->mask),
                                  (size_t)(stop - at) };
}
