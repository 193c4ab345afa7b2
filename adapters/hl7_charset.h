/*
 * hl7_charset - the character sets that a message of HL7 v2 can be in
 *
 * Nothing is guessed: a byte that the set does not have is an error with its
 * place, or U+FFFD with its place, and never some other character.
 *
 * Source: HL7 table 0211 (values of MSH-18).  Spellings that senders use
 * besides ("UTF-8", "ISO-8859-1", "ISO IR100") are common practice, no
 * source; the numbers of ISO's register are those that iconv knows too.
 */
#ifndef HEADGATE_ADAPTERS_HL7_CHARSET_H
#define HEADGATE_ADAPTERS_HL7_CHARSET_H

#include "adapters/buf.h"

#include <iconv.h>
#include <stdbool.h>
#include <stdint.h>

struct hl7_charset {
    const char *name; /* for iconv, "UTF-8"; static */
    iconv_t converter;
};

/*
 * hl7_charset_open - by its name in MSH-18
 *
 * Upper and lower case, blanks and punctuation make no difference.  "" is
 * ASCII.
 *
 * ERR_UNKNOWN  no such name, one whose messages cannot begin with the bytes
 *              "MSH" (UTF-16), or one that this machine's iconv lacks
 */
MUST_CHECK enum err hl7_charset_open(const char *name, size_t len,
                                     struct hl7_charset *charset);
void hl7_charset_close(struct hl7_charset *charset);

/*
 * hl7_charset_decode - bytes of the set, appended to out in UTF-8
 *
 * bad  out: on ERR_FORM how many bytes are good before the first that is not
 *
 * ERR_FORM, ERR_LIMIT (of out), ERR_MEMORY
 */
MUST_CHECK enum err hl7_charset_decode(struct hl7_charset *charset,
                                       const char *bytes, size_t len,
                                       struct buf *out, size_t *bad);

/* What was not in order in a line. */
struct hl7_mended {
    size_t first; /* how many bytes are good before the first that is not */
    bool torn;    /* a shift to another set never ended, or a character has no
                     equal: where the delimiters were is not sure */
};

/* One U+FFFD in what was decoded. */
struct hl7_bad {
    uint32_t at; /* offset in the text; of a torn line, its end */
    bool torn;
};

/*
 * hl7_charset_mend - one line of the set, whatever is in it, in UTF-8
 *
 * Bytes that are not of the set, those in a row together, become one U+FFFD;
 * what stands behind them is decoded as it would be without them.  A shift
 * (ISO 2022) begins and ends within the line: each segment begins in the set
 * itself, so that one that is not ended spoils one segment (RFC 1468 has it
 * so for lines).
 *
 * bad     a struct hl7_bad for each U+FFFD that was put, and one for a torn
 *         line, is appended
 * mended  out
 *
 * ERR_LIMIT (of out or bad), ERR_MEMORY
 */
MUST_CHECK enum err hl7_charset_mend(struct hl7_charset *charset,
                                     const char *bytes, size_t len,
                                     struct buf *out, struct buf *bad,
                                     struct hl7_mended *mended);

/*
 * hl7_charset_mask - bytes with those of longer characters struck out
 *
 * In some sets a byte of a character may be that of a delimiter.  What is
 * appended to out is as long as bytes, with "x" for each byte that is not an
 * ASCII character by itself: there the delimiters can be looked for.
 *
 * bytes  the begin of what hl7_charset_decode has decoded
 *
 * ERR_LIMIT (of out), ERR_MEMORY
 */
MUST_CHECK enum err hl7_charset_mask(struct hl7_charset *charset,
                                     const char *bytes, size_t len,
                                     struct buf *out);

/* Row i of what is known: the name as table 0211 has it; NULL: beyond the
 * last.  Other spellings are not listed. */
const char *hl7_charset_listed(size_t i);

#endif
