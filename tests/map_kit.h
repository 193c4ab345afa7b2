/*
 * map_kit - the maps that come with the program and are off
 */
#ifndef HEADGATE_TESTS_MAP_KIT_H
#define HEADGATE_TESTS_MAP_KIT_H

#include "adapters/codes.h"
#include "service/file.h"
#include "tests/test.h"

/* Add config/maps/NAME, as "map = maps/NAME" does. */
static void map_add(struct codes *codes, const char *name)
{
    struct buf text, why;
    char path[512];

    buf_init(&text, 1 << 20);
    buf_init(&why, 4096);
    snprintf(path, sizeof(path), SOURCE_DIR "/config/maps/%s", name);
    if (file_read(path, &text, &why) != ERR_OK ||
        codes_add_csv(codes, text.data, text.len, &why) != ERR_OK)
        fail_msg("%s: %s", path, why.data);
    buf_clear(&why);
    buf_clear(&text);
}

#endif
