#include "adapters/jose.h"

static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                             "abcdefghijklmnopqrstuvwxyz0123456789-_";

void jose_base64_write(const void *data, size_t len, struct buf *out)
{
    const unsigned char *bytes = data;

    for (size_t i = 0; i < len; i += 3) {
        size_t left = len - i < 3 ? len - i : 3;
        unsigned long group = (unsigned long)bytes[i] << 16;
        char text[4];

        if (left > 1)
            group |= (unsigned long)bytes[i + 1] << 8;
        if (left > 2)
            group |= bytes[i + 2];
        for (size_t k = 0; k < sizeof(text); k++)
            text[k] = digits[group >> (18 - 6 * k) & 63];
        buf_add(out, text, left + 1);
    }
}

static int value_of(char c)
{
    if (c >= 'A' && c <= 'Z')
        return c - 'A';
    if (c >= 'a' && c <= 'z')
        return c - 'a' + 26;
    if (c >= '0' && c <= '9')
        return c - '0' + 52;
    if (c == '-')
        return 62;
    return c == '_' ? 63 : -1;
}

enum err jose_base64_read(const char *text, size_t len, struct buf *out)
{
    unsigned long bits = 0;
    int count = 0; /* of bits that wait */

    if (len % 4 == 1)
        return ERR_FORM;
    for (size_t i = 0; i < len; i++) {
        int value = value_of(text[i]);
        unsigned char byte;

        if (value < 0)
            return ERR_FORM;
        bits = (bits << 6 | (unsigned long)value) & 0xffff;
        count += 6;
        if (count < 8)
            continue;
        count -= 8;
        byte = (unsigned char)(bits >> count & 0xff);
        buf_add(out, &byte, 1);
    }
    /* else two texts would mean the same bytes */
    if ((bits & ((1UL << count) - 1)) != 0)
        return ERR_FORM;
    return buf_ok(out);
}
