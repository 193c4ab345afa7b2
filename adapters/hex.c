#include "adapters/hex.h"

#include <string.h>

void hex_write(const unsigned char *bytes, size_t count, char *text)
{
    static const char digits[] = "0123456789abcdef";

    for (size_t i = 0; i < count; i++) {
        text[2 * i] = digits[bytes[i] >> 4];
        text[2 * i + 1] = digits[bytes[i] & 15];
    }
    text[2 * count] = '\0';
}

int hex_digit(char c)
{
    static const char digits[] = "0123456789abcdef0123456789ABCDEF";
    const char *at = c != '\0' ? strchr(digits, c) : NULL;

    return at != NULL ? (int)((at - digits) % 16) : -1;
}

bool hex_read(const char *text, size_t len, unsigned char *bytes, size_t count)
{
    if (len != 2 * count)
        return false;
    for (size_t i = 0; i < count; i++) {
        int high = hex_digit(text[2 * i]), low = hex_digit(text[2 * i + 1]);

        if (high < 0 || low < 0)
            return false;
        bytes[i] = (unsigned char)(high * 16 + low);
    }
    return true;
}
