/*
 * fuzz_replay - a fuzz target over the files of its corpus, as a plain test
 *
 *     replay_csv tests/corpus/csv
 *
 * Built once with each fuzz_*.c that has a corpus; takes folders (and what is
 * in them, at any depth) and files.  A broken promise of the target aborts.
 * Ends with status 1 if there was no file at all.
 */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PATH_SIZE = 4096, BYTES_MAX = 4 * 1024 * 1024, DEPTH_MAX = 8 };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static size_t replayed;

static void run_file(const char *path)
{
    FILE *file = fopen(path, "rb");
    uint8_t *bytes = malloc(BYTES_MAX);
    uint8_t *exact;
    size_t len;

    if (file == NULL || bytes == NULL) {
        perror(path);
        exit(1);
    }
    len = fread(bytes, 1, BYTES_MAX, file);
    fclose(file);
    /* no byte more, so that a sanitizer sees who reads beyond */
    exact = malloc(len > 0 ? len : 1);
    if (exact == NULL)
        exit(1);
    memcpy(exact, bytes, len);
    free(bytes);
    printf("%s\n", path);
    fflush(stdout);
    replayed++;
    LLVMFuzzerTestOneInput(exact, len);
    free(exact);
}

static void run(const char *path, int depth)
{
    DIR *folder = opendir(path);
    struct dirent *entry;
    char inside[PATH_SIZE];

    if (folder == NULL) {
        run_file(path);
        return;
    }
    while (depth < DEPTH_MAX && (entry = readdir(folder)) != NULL) {
        int len;

        if (entry->d_name[0] == '.')
            continue;
        len = snprintf(inside, sizeof(inside), "%s/%s", path, entry->d_name);
        if (len > 0 && (size_t)len < sizeof(inside))
            run(inside, depth + 1);
    }
    closedir(folder);
}

int main(int argc, char **argv)
{
    for (int i = 1; i < argc; i++)
        run(argv[i], 0);
    printf("%zu files\n", replayed);
    return replayed > 0 ? 0 : 1;
}
