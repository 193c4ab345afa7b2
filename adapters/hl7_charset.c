#include "adapters/hl7_charset.h"

#include <ctype.h>
#include <errno.h>
#include <string.h>

/* key: in capitals, letters and digits alone.  listed: as table 0211 has it;
 * NULL for other spellings of the same. */
static const struct row {
    const char *key, *listed, *iconv_name;
} rows[] = {
    { "ASCII", "ASCII", "ASCII" },
    { "USASCII", NULL, "ASCII" },
    { "ISOIR6", "ISO IR6", "ASCII" },
    { "88591", "8859/1", "ISO-8859-1" },
    { "88592", "8859/2", "ISO-8859-2" },
    { "88593", "8859/3", "ISO-8859-3" },
    { "88594", "8859/4", "ISO-8859-4" },
    { "88595", "8859/5", "ISO-8859-5" },
    { "88596", "8859/6", "ISO-8859-6" },
    { "88597", "8859/7", "ISO-8859-7" },
    { "88598", "8859/8", "ISO-8859-8" },
    { "88599", "8859/9", "ISO-8859-9" },
    { "885910", NULL, "ISO-8859-10" },
    { "885911", NULL, "ISO-8859-11" },
    { "885913", NULL, "ISO-8859-13" },
    { "885914", NULL, "ISO-8859-14" },
    { "885915", "8859/15", "ISO-8859-15" },
    { "885916", NULL, "ISO-8859-16" },
    { "ISOIR100", NULL, "ISO-8859-1" },
    { "ISOIR101", NULL, "ISO-8859-2" },
    { "ISOIR109", NULL, "ISO-8859-3" },
    { "ISOIR110", NULL, "ISO-8859-4" },
    { "ISOIR144", NULL, "ISO-8859-5" },
    { "ISOIR127", NULL, "ISO-8859-6" },
    { "ISOIR126", NULL, "ISO-8859-7" },
    { "ISOIR138", NULL, "ISO-8859-8" },
    { "ISOIR148", NULL, "ISO-8859-9" },
    { "ISOIR157", NULL, "ISO-8859-10" },
    { "ISOIR203", NULL, "ISO-8859-15" },
    /* Its escape sequences are those of ISO 2022, from and to ASCII. */
    { "ISOIR87", "ISO IR87", "ISO-2022-JP" },
    { "JISX0202", "JIS X 0202", "ISO-2022-JP" },
    { "ISOIR159", "ISO IR159", "ISO-2022-JP-2" },
    { "GB180302000", "GB 18030-2000", "GB18030" },
    { "GB18030", NULL, "GB18030" },
    { "KSX1001", "KS X 1001", "EUC-KR" },
    { "CNS116431992", "CNS 11643-1992", "EUC-TW" },
    { "BIG5", "BIG-5", "BIG5" },
    /* A message that begins with the bytes "MSH" can be no other form of
     * it. */
    { "UNICODE", "UNICODE", "UTF-8" },
    { "UNICODEUTF8", "UNICODE UTF-8", "UTF-8" },
    { "UTF8", NULL, "UTF-8" },
    { "ISOIR192", NULL, "UTF-8" },
    { "CP1252", NULL, "CP1252" },
    { "WINDOWS1252", NULL, "CP1252" },
};

const char *hl7_charset_listed(size_t i)
{
    for (size_t r = 0; r < COUNT(rows); r++) {
        if (rows[r].listed != NULL && i-- == 0)
            return rows[r].listed;
    }
    return NULL;
}

enum { KEY_SIZE = 24 };

/* Capitals and digits of the name; "" if there are too many. */
static void make_key(const char *name, size_t len, char key[KEY_SIZE])
{
    size_t used = 0;

    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)name[i];

        if (c >= 0x80 || !isalnum(c))
            continue;
        if (used + 1 == KEY_SIZE) {
            used = 0;
            break;
        }
        key[used++] = (char)toupper(c);
    }
    key[used] = '\0';
}

enum err hl7_charset_open(const char *name, size_t len,
                          struct hl7_charset *charset)
{
    char key[KEY_SIZE] = "";
    const char *at = key, *found = len == 0 ? "ASCII" : NULL;
    iconv_t converter;

    make_key(name, len, key);
    /* "8859/1" of the table is "ISO-8859-1" elsewhere. */
    if (memcmp(key, "ISO8859", 7) == 0)
        at += 3;
    for (size_t i = 0; i < COUNT(rows) && found == NULL; i++) {
        if (strcmp(rows[i].key, at) == 0)
            found = rows[i].iconv_name;
    }
    if (found == NULL)
        return ERR_UNKNOWN;
    converter = iconv_open("UTF-8", found);
    if (converter == (iconv_t)-1) /* NOLINT(performance-no-int-to-ptr) */
        return errno == ENOMEM ? ERR_MEMORY : ERR_UNKNOWN;
    *charset = (struct hl7_charset){ found, converter };
    return ERR_OK;
}

void hl7_charset_close(struct hl7_charset *charset)
{
    if (charset->name != NULL)
        iconv_close(charset->converter);
    charset->name = NULL;
}

/* iconv wants to be given bytes that it may change, and changes none. */
static char *as_input(const char *bytes)
{
    union {
        const char *given;
        char *wanted;
    } pointer = { bytes };

    return pointer.wanted;
}

/* How many bytes come before a character beyond the last of Unicode, which
 * glibc's converter lets pass (RFC 3629, section 3). */
static size_t within_unicode(const struct hl7_charset *charset,
                             const char *bytes, size_t len)
{
    if (strcmp(charset->name, "UTF-8") != 0)
        return len;
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char)bytes[i];

        if (c > 0xf4 ||
            (c == 0xf4 && i + 1 < len && (unsigned char)bytes[i + 1] > 0x8f))
            return i;
    }
    return len;
}

enum err hl7_charset_decode(struct hl7_charset *charset, const char *bytes,
                            size_t len, struct buf *out, size_t *bad)
{
    char *in = as_input(bytes);
    size_t good = within_unicode(charset, bytes, len), left = good;

    iconv(charset->converter, NULL, NULL, NULL, NULL);
    for (bool more = true; more;) {
        char piece[4096], *to = piece;
        size_t room = sizeof(piece), done;
        int why;

        /* Without input: what a converter has kept back comes out. */
        more = left > 0;
        done = iconv(charset->converter, more ? &in : NULL, &left, &to, &room);
        why = errno;

        buf_add(out, piece, sizeof(piece) - room);
        if (buf_ok(out) != ERR_OK)
            return buf_ok(out);
        /* What has no equal is refused as what has no meaning. */
        if ((done == (size_t)-1 && why != E2BIG) ||
            (done != (size_t)-1 && done > 0)) {
            *bad = good - left;
            return ERR_FORM;
        }
    }
    *bad = good;
    return good < len ? ERR_FORM : ERR_OK;
}

/* ---- whatever the bytes are ----------------------------------------------- */

struct mending {
    struct hl7_charset *charset;
    char *in;
    size_t left;
    struct buf *out, *bad;
    size_t run; /* where the last U+FFFD ends in out */
    bool torn;
};

/* As much as is good and has room; errno's word for what stopped it, or 0. */
static int step(struct mending *m, size_t len)
{
    char piece[4096], *to = piece;
    size_t room = sizeof(piece), left = len;
    size_t done = iconv(m->charset->converter, len > 0 ? &m->in : NULL, &left,
                        &to, &room);
    int why = done == (size_t)-1 ? errno : 0;

    m->left -= len - left;
    m->torn = m->torn || (why == 0 && done > 0);
    buf_add(m->out, piece, sizeof(piece) - room);
    return why;
}

static void add_bad(struct mending *m, bool torn)
{
    struct hl7_bad bad = { .at = (uint32_t)m->out->len, .torn = torn };

    buf_add(m->bad, &bad, sizeof(bad));
}

/* The next byte is not of the set. */
static void replace(struct mending *m)
{
    if (m->out->len == 0 || m->run != m->out->len) {
        add_bad(m, false);
        buf_puts(m->out, "\xef\xbf\xbd");
        m->run = m->out->len;
    }
    m->in++;
    m->left--;
}

/* Is it another set now?  In each of these the backslash is another character
 * or half of one; of those that do not shift, none is asked. */
static bool is_shifted(struct hl7_charset *charset)
{
    char piece[8] = "", *to = piece, *in = as_input("\\");
    size_t room = sizeof(piece), left = 1;

    if (strncmp(charset->name, "ISO-2022", 8) != 0)
        return false;
    iconv(charset->converter, &in, &left, &to, &room);
    return room != sizeof(piece) - 1 || piece[0] != '\\';
}

enum err hl7_charset_mend(struct hl7_charset *charset, const char *bytes,
                          size_t len, struct buf *out, struct buf *bad,
                          struct hl7_mended *mended)
{
    struct mending m = { charset, as_input(bytes), len, out, bad, 0, false };
    size_t good = within_unicode(charset, bytes, len), before = bad->len;

    *mended = (struct hl7_mended){ .first = len };
    iconv(charset->converter, NULL, NULL, NULL, NULL);
    while (m.left > 0 && buf_ok(out) == ERR_OK) {
        size_t at = len - m.left;

        if (at < good && step(&m, good - at) != EILSEQ && len - m.left != at)
            continue;
        at = len - m.left;
        if (bad->len == before)
            mended->first = at;
        replace(&m);
        if (at >= good)
            good = at + 1 + within_unicode(charset, m.in, m.left);
    }
    m.torn = is_shifted(charset) || m.torn;
    step(&m, 0); /* what a converter has kept back, and the first state */
    mended->torn = m.torn;
    if (m.torn)
        add_bad(&m, true);
    return buf_ok(out) != ERR_OK ? buf_ok(out) : buf_ok(bad);
}

/* ---- where the delimiters are --------------------------------------------- */

/* Take one character, or what changes the set; how many bytes, 0: none. */
static size_t take_one(struct hl7_charset *charset, const char *bytes,
                       size_t len, bool *plain)
{
    for (size_t n = 1; n <= len; n++) {
        char piece[16], *to = piece, *in = as_input(bytes);
        size_t left = n, room = sizeof(piece);
        size_t done = iconv(charset->converter, &in, &left, &to, &room);

        *plain = n == 1 && room == sizeof(piece) - 1 && piece[0] == bytes[0] &&
                 (unsigned char)bytes[0] < 0x80;
        /* What might have been an escape sequence and was none has come out as
         * the characters that it looks like: the first of them is one. */
        if (n > 1 && left < n && sizeof(piece) - room == n - left &&
            (unsigned char)bytes[0] < 0x80 &&
            memcmp(piece, bytes, n - left) == 0) {
            *plain = true;
            return 1;
        }
        if (left < n)
            return n - left;
        if (done != (size_t)-1 || errno != EINVAL)
            break;
    }
    return 0;
}

enum err hl7_charset_mask(struct hl7_charset *charset, const char *bytes,
                          size_t len, struct buf *out)
{
    size_t taken;

    iconv(charset->converter, NULL, NULL, NULL, NULL);
    for (size_t at = 0; at < len; at += taken) {
        bool plain = false;

        taken = take_one(charset, bytes + at, len - at, &plain);
        if (taken == 0) /* it is whole only with what stands behind */
            taken = 1;
        for (size_t i = 0; i < taken; i++)
            buf_add(out, plain ? bytes + at : "x", 1);
    }
    return buf_ok(out);
}
