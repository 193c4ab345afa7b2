/*
 * tool_patch - JSON Patches, for comparison with other software
 *
 * Reads pairs of lines, what a record has and what it should have, and prints
 * for each pair the patch on one line, or "[]" where there is no difference.
 * peers/patch.mjs writes the pairs and judges the patches.
 */
#include "adapters/fhir_patch_out.h"

#include <stdio.h>
#include <stdlib.h>

enum { PATCH_MAX = 1 << 22 };

/* Without the end of the line; false at the end of the input. */
static bool next_line(char **line, size_t *size, size_t *len)
{
    ssize_t got = getline(line, size, stdin);

    *len = got > 0 ? (size_t)got : 0;
    if (*len > 0 && (*line)[*len - 1] == '\n')
        --*len;
    return got > 0;
}

int main(void)
{
    char *theirs = NULL, *merged = NULL;
    size_t theirs_size = 0, merged_size = 0, theirs_len, merged_len;
    int status = 0;

    while (status == 0 && next_line(&theirs, &theirs_size, &theirs_len) &&
           next_line(&merged, &merged_size, &merged_len)) {
        struct buf out;
        enum err e;

        buf_init(&out, PATCH_MAX);
        e = fhir_patch_write(theirs, theirs_len, merged, merged_len, &out);
        if (e == ERR_OK)
            printf("%s\n", out.len > 0 ? out.data : "[]");
        else
            status = 1;
        if (e != ERR_OK)
            fprintf(stderr, "tool_patch: %s\n", err_word(e));
        buf_clear(&out);
    }
    free(theirs);
    free(merged);
    return status;
}
