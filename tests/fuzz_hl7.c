/*
 * fuzz_hl7 - libFuzzer target: any bytes as a message of HL7 v2, and as a file
 *
 * Beyond not crashing: every value is UTF-8, what is beyond the last is empty,
 * segments put together again are those that came; every message and every
 * failure has an answer of bounded size, which can be read where the message
 * could; a file gives the same messages in pieces of any size, each behind the
 * one before.
 */
#include "tests/hl7_kit.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    check_hl7((const char *)data, size);
    return 0;
}
