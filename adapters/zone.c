/*
 * A TZif file of version 2 or later:
 *
 *     header  block with times of 32 bits      skipped
 *     header  block with times of 64 bits      read
 *     "\n" rule "\n"                           for times after the last change
 *
 * A block: times of change, for each the number of its type, the types (six
 * bytes: offset, is it summer, abbreviation), abbreviations, leap seconds, two
 * lists of flags.
 */
#include "adapters/zone.h"

#include "adapters/zone_rule.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define ZONE_DIR "/usr/share/zoneinfo/"

enum {
    HEADER_SIZE = 44,
    TYPE_SIZE = 6,
    CHANGES_MAX = 4096, /* the longest list in use has a few hundred */
    TYPES_MAX = 256,    /* their numbers are bytes */
    TEXT_MAX = 4096,
    NAME_MAX_LEN = 64,
    FILE_MAX = 128 * 1024
};

struct change {
    int64_t at_s;
    int32_t offset_s; /* from then on */
};

struct zone {
    int32_t first_offset_s; /* before the first change */
    bool has_rule;
    struct zone_rule rule; /* from the last change on */
    size_t count;
    struct change changes[]; /* ascending */
};

/* What a header says about the block after it. */
struct block {
    size_t utc_flags, standard_flags, leaps, changes, types, text;
};

struct input {
    const unsigned char *at;
    size_t left;
};

static uint32_t get_32(const unsigned char *p)
{
    return (uint32_t)p[0] << 24 | (uint32_t)p[1] << 16 | (uint32_t)p[2] << 8 |
           p[3];
}

static int64_t get_64(const unsigned char *p)
{
    /* Two's complement, as every compiler in use here converts it. */
    return (int64_t)((uint64_t)get_32(p) << 32 | get_32(p + 4));
}

/* The next n bytes, or NULL if there are fewer. */
static const unsigned char *take(struct input *in, size_t n)
{
    const unsigned char *p = in->at;

    if (n > in->left)
        return NULL;
    in->at += n;
    in->left -= n;
    return p;
}

static enum err read_header(struct input *in, struct block *b)
{
    const unsigned char *p = take(in, HEADER_SIZE);

    if (p == NULL || memcmp(p, "TZif", 4) != 0 || p[4] < '2')
        return ERR_FORM;
    *b = (struct block){
        .utc_flags = get_32(p + 20),
        .standard_flags = get_32(p + 24),
        .leaps = get_32(p + 28),
        .changes = get_32(p + 32),
        .types = get_32(p + 36),
        .text = get_32(p + 40),
    };
    /* Limits first: the sizes worked out from these must not overflow. */
    if (b->changes > CHANGES_MAX || b->types > TYPES_MAX ||
        b->text > TEXT_MAX || b->leaps > CHANGES_MAX ||
        b->utc_flags > TYPES_MAX || b->standard_flags > TYPES_MAX)
        return ERR_FORM;
    return ERR_OK;
}

static enum err skip_block(struct input *in, const struct block *b)
{
    size_t size = b->changes * (4 + 1) + b->types * TYPE_SIZE + b->text +
                  b->leaps * (4 + 4) + b->standard_flags + b->utc_flags;

    return take(in, size) == NULL ? ERR_FORM : ERR_OK;
}

static enum err read_offset(const unsigned char *types, size_t count,
                            size_t which, int32_t *out)
{
    int64_t offset_s;

    if (which >= count)
        return ERR_FORM;
    offset_s = (int32_t)get_32(types + which * TYPE_SIZE);
    if (offset_s < -ZONE_OFFSET_MAX_S || offset_s > ZONE_OFFSET_MAX_S)
        return ERR_FORM;
    *out = (int32_t)offset_s;
    return ERR_OK;
}

static enum err read_block(struct input *in, const struct block *b,
                           struct zone *z)
{
    const unsigned char *times = take(in, b->changes * 8);
    const unsigned char *numbers = take(in, b->changes);
    const unsigned char *types = take(in, b->types * TYPE_SIZE);
    size_t rest = b->text + b->standard_flags + b->utc_flags;

    if (times == NULL || numbers == NULL || types == NULL ||
        take(in, rest) == NULL)
        return ERR_FORM;
    /* The first type holds before the first change. */
    if (read_offset(types, b->types, 0, &z->first_offset_s) != ERR_OK)
        return ERR_FORM;
    for (size_t i = 0; i < b->changes; i++) {
        struct change *c = &z->changes[i];

        c->at_s = get_64(times + i * 8);
        if (i > 0 && c->at_s <= z->changes[i - 1].at_s)
            return ERR_FORM;
        if (read_offset(types, b->types, numbers[i], &c->offset_s) != ERR_OK)
            return ERR_FORM;
    }
    z->count = b->changes;
    return ERR_OK;
}

/* "\n" rule "\n"; an empty rule says that none is known. */
static enum err read_footer(struct input *in, struct zone *z)
{
    const unsigned char *start = take(in, 1);
    const unsigned char *end;

    if (start == NULL || *start != '\n')
        return ERR_FORM;
    start = in->at;
    end = in->left == 0 ? NULL : memchr(start, '\n', in->left);
    if (end == NULL)
        return ERR_FORM;
    z->has_rule = end > start;
    if (!z->has_rule)
        return ERR_OK;
    return zone_rule_read((const char *)start, (size_t)(end - start), &z->rule);
}

enum err zone_parse(const unsigned char *data, size_t len, struct zone **out)
{
    struct input in = { data, len };
    struct block b;
    struct zone *z;
    enum err e;

    if (read_header(&in, &b) != ERR_OK || skip_block(&in, &b) != ERR_OK ||
        read_header(&in, &b) != ERR_OK)
        return ERR_FORM;
    /* Such zones do not count POSIX seconds. */
    if (b.leaps > 0)
        return ERR_FORM;
    z = calloc(1, sizeof *z + b.changes * sizeof z->changes[0]);
    if (z == NULL)
        return ERR_MEMORY;
    e = read_block(&in, &b, z);
    if (e == ERR_OK)
        e = read_footer(&in, z);
    if (e != ERR_OK) {
        zone_free(z);
        return e;
    }
    *out = z;
    return ERR_OK;
}

void zone_free(struct zone *zone)
{
    free(zone);
}

/*
 * Names come from a configuration; still, none may lead out of the directory.
 * A dot is in no name of a zone, so ".." needs no rule of its own.
 */
static bool is_name(const char *name)
{
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                  "abcdefghijklmnopqrstuvwxyz0123456789_+-/";
    size_t len = strlen(name);

    return len > 0 && len <= NAME_MAX_LEN && name[0] != '/' &&
           name[len - 1] != '/' && strspn(name, allowed) == len;
}

static enum err open_file(const char *name, int *out)
{
    char path[sizeof ZONE_DIR + NAME_MAX_LEN];
    struct stat st;
    int fd;

    memcpy(path, ZONE_DIR, sizeof ZONE_DIR - 1);
    memcpy(path + sizeof ZONE_DIR - 1, name, strlen(name) + 1);
    fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return errno == ENOENT || errno == ENOTDIR ? ERR_UNKNOWN : ERR_IO;
    /* "Europe" is a directory, not a zone. */
    if (fstat(fd, &st) != 0 || !S_ISREG(st.st_mode)) {
        close(fd);
        return ERR_UNKNOWN;
    }
    *out = fd;
    return ERR_OK;
}

/* The whole file into data; ERR_FORM if it is larger than any zone's. */
static enum err read_file(int fd, unsigned char *data, size_t *len)
{
    size_t n = 0;

    for (;;) {
        ssize_t got = read(fd, data + n, FILE_MAX - n);

        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return ERR_IO;
        if (got == 0)
            break;
        n += (size_t)got;
        if (n == FILE_MAX)
            return ERR_FORM;
    }
    *len = n;
    return ERR_OK;
}

static enum err load_file(int fd, struct zone **out)
{
    unsigned char *data = malloc(FILE_MAX);
    size_t len = 0;
    enum err e;

    if (data == NULL)
        return ERR_MEMORY;
    e = read_file(fd, data, &len);
    if (e == ERR_OK)
        e = zone_parse(data, len, out);
    free(data);
    return e;
}

enum err zone_load(const char *name, struct zone **out)
{
    enum err e;
    int fd;

    if (strcmp(name, "UTC") == 0 || strcmp(name, "Etc/UTC") == 0) {
        *out = calloc(1, sizeof **out);
        return *out == NULL ? ERR_MEMORY : ERR_OK;
    }
    if (!is_name(name))
        return ERR_UNKNOWN;
    e = open_file(name, &fd);
    if (e != ERR_OK)
        return e;
    e = load_file(fd, out);
    close(fd);
    return e;
}

/* How many changes lie at or before at_s. */
static size_t changes_until(const struct zone *z, int64_t at_s)
{
    size_t low = 0, high = z->count;

    while (low < high) {
        size_t middle = low + (high - low) / 2;

        if (z->changes[middle].at_s <= at_s)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

int32_t zone_offset_s(const struct zone *zone, int64_t at_s)
{
    size_t n = changes_until(zone, at_s);

    if (n == zone->count && zone->has_rule)
        return zone_rule_offset_s(&zone->rule, at_s);
    return n == 0 ? zone->first_offset_s : zone->changes[n - 1].offset_s;
}

/* The first change after at_s; INT64_MAX if there is none. */
static int64_t next_change_s(const struct zone *z, int64_t at_s)
{
    size_t n = changes_until(z, at_s);

    if (n < z->count)
        return z->changes[n].at_s;
    return z->has_rule ? zone_rule_next_s(&z->rule, at_s) : INT64_MAX;
}

/*
 * Between two changes local time runs evenly.  Start where it cannot have
 * been reached and go from change to change until it is.
 */
int64_t zone_utc_s(const struct zone *zone, int64_t local_s)
{
    int64_t from_s = local_s - ZONE_OFFSET_MAX_S;

    for (;;) {
        int64_t at_s = local_s - zone_offset_s(zone, from_s);
        int64_t next_s = next_change_s(zone, from_s);

        if (at_s <= from_s)
            return from_s;
        if (at_s < next_s)
            return at_s;
        from_s = next_s;
    }
}
