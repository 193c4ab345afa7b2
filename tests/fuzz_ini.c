/*
 * fuzz_ini - libFuzzer target: any bytes as a configuration, and as a policy
 *
 * Link with service, adapters, planner and their libraries, all built with
 * -fsanitize=fuzzer,address,undefined; start from tests/corpus/ini.
 *
 * The settings are read from a file by its path, so the bytes are put into
 * one that has no name any more, and read through /proc/self/fd.
 *
 * Beyond not crashing: what is refused says why and leaves what was there
 * before; what is taken is within the ranges that the reference states, and is
 * taken again alike; a policy that is taken passes the check of the planner.
 */
#include "adapters/policy_file.h"
#include "service/config.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char path[64];
static int file = -1;

/* A broken promise must stop the fuzzer in every kind of build. */
static void must(bool kept)
{
    if (!kept)
        abort();
}

static void put(const uint8_t *data, size_t size)
{
    char name[] = "/tmp/headgate-fuzz-XXXXXX";

    if (file < 0) {
        file = mkstemp(name);
        must(file >= 0 && unlink(name) == 0);
        snprintf(path, sizeof(path), "/proc/self/fd/%d", file);
    }
    must(ftruncate(file, 0) == 0);
    must(pwrite(file, data, size, 0) == (ssize_t)size);
}

static void check_config(void)
{
    static struct config first, second; /* large */
    struct buf why;
    enum err e;

    buf_init(&why, 1 << 16);
    memset(&first, 0x5a, sizeof(first));
    memcpy(&second, &first, sizeof(first));
    e = config_load(path, NULL, 0, &first, &why);
    if (e != ERR_OK) {
        must(e == ERR_CONFIG || e == ERR_IO);
        must(why.len > 0 && memcmp(&first, &second, sizeof(first)) == 0);
    } else {
        must(first.http_port >= 0 && first.http_port <= 65535);
        must(first.map_count >= 0 && first.map_count <= CONFIG_MAPS_MAX);
        must(first.fhir_entries_max >= 1 && first.outbox_parallel >= 1);
        must(first.outbox_retry_first_ms <= first.outbox_retry_last_ms);
        must(config_load(path, NULL, 0, &second, &why) == ERR_OK);
        must(strcmp(first.store_path, second.store_path) == 0);
        must(first.map_count == second.map_count);
        if (config_check_listener(&first, path, &why) != ERR_OK)
            must(why.len > 0);
    }
    buf_clear(&why);
}

static void check_policy(void)
{
    static struct policy policy; /* large */
    struct buf why;

    buf_init(&why, 1 << 16);
    if (policy_file_read(path, &policy, &why) != ERR_OK)
        must(why.len > 0);
    else
        must(policy.version[0] != '\0');
    buf_clear(&why);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    put(data, size);
    check_config();
    check_policy();
    return 0;
}
