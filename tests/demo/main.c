/*
 * headgate-demo - print the year of the invented network
 *
 *     headgate-demo [--end YYYY-MM-DD] [--seed N] [--ndjson | --bundles N]
 *     headgate-demo --truth | --expected
 */
#include "tests/demo/demo.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { OUTPUT_MAX = 256 * 1024 * 1024, BUNDLE_MAX = 100000 };

struct options {
    int64_t end_day;
    uint64_t seed;
    uint64_t bundle;                /* 0: one resource a line */
    void (*print)(struct buf *out); /* NULL: the feed */
};

static int usage(void)
{
    fputs("usage: headgate-demo [--end YYYY-MM-DD] [--seed N] [--ndjson]\n"
          "                     [--bundles N]\n"
          "       headgate-demo --truth | --expected\n"
          "\n"
          "  --end       the last day of the year (default: today, UTC)\n"
          "  --seed      another noise, the same stories\n"
          "  --ndjson    one FHIR R4 resource a line (default)\n"
          "  --bundles   one collection Bundle of N resources a line\n"
          "  --truth     the scenario as a Markdown table\n"
          "  --expected  what the rules should say, as JSON\n",
          stderr);
    return 2;
}

static bool number(const char *text, uint64_t most, uint64_t *out)
{
    char *end;
    unsigned long long value;

    if (text[0] < '0' || text[0] > '9')
        return false;
    errno = 0;
    value = strtoull(text, &end, 10);
    if (errno != 0 || *end != '\0' || value > most)
        return false;
    *out = value;
    return true;
}

/* An option with a value; *ok says whether the value is of use. */
static bool valued(struct options *o, const char *name, const char *value,
                   bool *ok)
{
    if (strcmp(name, "--end") == 0)
        *ok = value != NULL && demo_day(value, &o->end_day) == ERR_OK;
    else if (strcmp(name, "--seed") == 0)
        *ok = value != NULL && number(value, UINT64_MAX, &o->seed);
    else if (strcmp(name, "--bundles") == 0)
        *ok = value != NULL && number(value, BUNDLE_MAX, &o->bundle) &&
              o->bundle > 0;
    else
        return false;
    return true;
}

static bool parse(int argc, char **argv, struct options *o)
{
    for (int i = 1; i < argc; i++) {
        bool ok = true;

        if (valued(o, argv[i], i + 1 < argc ? argv[i + 1] : NULL, &ok))
            i++;
        else if (strcmp(argv[i], "--ndjson") == 0)
            o->bundle = 0;
        else if (strcmp(argv[i], "--truth") == 0)
            o->print = demo_truth;
        else if (strcmp(argv[i], "--expected") == 0)
            o->print = demo_expected;
        else
            ok = false;
        if (!ok)
            return false;
    }
    return true;
}

static enum err fill(const struct options *o, struct buf *out)
{
    struct demo *demo;
    enum err e;

    if (o->print != NULL) {
        o->print(out);
        return buf_ok(out);
    }
    e = demo_new(o->end_day, o->seed, &demo);
    if (e != ERR_OK)
        return e;
    demo_feed(demo, (size_t)o->bundle, out);
    demo_free(demo);
    return buf_ok(out);
}

int main(int argc, char **argv)
{
    struct options o = { .end_day = (int64_t)time(NULL) / 86400,
                         .seed = DEMO_SEED };
    struct buf out;
    enum err e;

    if (!parse(argc, argv, &o))
        return usage();
    buf_init(&out, OUTPUT_MAX);
    e = fill(&o, &out);
    if (e == ERR_OK && (fwrite(out.data, 1, out.len, stdout) != out.len ||
                        fflush(stdout) != 0))
        e = ERR_IO;
    buf_clear(&out);
    if (e != ERR_OK)
        fprintf(stderr, "headgate-demo: %s\n", err_word(e));
    return e == ERR_OK ? 0 : 1;
}
