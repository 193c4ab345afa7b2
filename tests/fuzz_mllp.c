/*
 * fuzz_mllp - libFuzzer target: any bytes as a stream of frames
 *
 * Beyond not crashing: all bytes are used up, no frame is longer than it may
 * be, and in pieces of any size come the same frames as at once.
 */
#include "tests/hl7_kit.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    check_stream((const char *)data, size);
    return 0;
}
