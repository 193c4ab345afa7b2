/*
 * hex - bytes as hexadecimal digits (RFC 4648, 8), of small letters; read with
 * small ones or capitals
 */
#ifndef HEADGATE_ADAPTERS_HEX_H
#define HEADGATE_ADAPTERS_HEX_H

#include <stdbool.h>
#include <stddef.h>

/* text: room for 2 * count + 1. */
void hex_write(const unsigned char *bytes, size_t count, char *text);

/* So many bytes, of exactly 2 * count digits; false: they are not. */
bool hex_read(const char *text, size_t len, unsigned char *bytes, size_t count);

/* 0 to 15; -1: no digit. */
int hex_digit(char c);

#endif
