/*
 * headgate-cohort - print invented patients as they are measured, or the truth
 *
 *     headgate-cohort [--patients N] [--days N] [--end YYYY-MM-DD] [--seed N]
 *                     [--truth]
 */
#include "tests/cohort/cohort.h"
#include "tests/demo/demo.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

enum { LINE_MAX_BYTES = 16 * 1024 * 1024 };

struct options {
    struct cohort_options cohort;
    bool truth;
};

static int usage(void)
{
    fputs("usage: headgate-cohort [--patients N] [--days N] "
          "[--end YYYY-MM-DD]\n"
          "                       [--seed N] [--truth]\n"
          "\n"
          "  --patients  how many (default: 300)\n"
          "  --days      for how long they are observed (default: 730)\n"
          "  --end       the day after the last (default: today, UTC)\n"
          "  --seed      other patients of the same kind\n"
          "  --truth     what is true, as JSON lines, in place of the "
          "readings\n",
          stderr);
    return 2;
}

static bool number(const char *text, uint64_t least, uint64_t most,
                   uint64_t *out)
{
    char *end;
    unsigned long long value;

    if (text == NULL || text[0] < '0' || text[0] > '9')
        return false;
    errno = 0;
    value = strtoull(text, &end, 10);
    if (errno != 0 || *end != '\0' || value < least || value > most)
        return false;
    *out = value;
    return true;
}

static bool valued(struct options *o, const char *name, const char *value)
{
    uint64_t n = 0;
    bool ok;

    if (strcmp(name, "--end") == 0)
        return value != NULL && demo_day(value, &o->cohort.end_day) == ERR_OK;
    if (strcmp(name, "--seed") == 0)
        return number(value, 0, UINT64_MAX, &o->cohort.seed);
    if (strcmp(name, "--patients") == 0) {
        ok = number(value, 1, COHORT_PATIENTS_MAX, &n);
        o->cohort.patients = (int)n;
        return ok;
    }
    if (strcmp(name, "--days") == 0) {
        ok = number(value, COHORT_DAYS_MIN, COHORT_DAYS_MAX, &n);
        o->cohort.days = (int)n;
        return ok;
    }
    return false;
}

static bool parse(int argc, char **argv, struct options *o)
{
    for (int i = 1; i < argc; i++) {
        if (strcmp(argv[i], "--truth") == 0) {
            o->truth = true;
            continue;
        }
        if (!valued(o, argv[i], i + 1 < argc ? argv[i + 1] : NULL))
            return false;
        i++;
    }
    return true;
}

int main(int argc, char **argv)
{
    struct options o = { .cohort = { .seed = COHORT_SEED,
                                     .patients = COHORT_PATIENTS,
                                     .days = COHORT_DAYS,
                                     .end_day = (int64_t)time(NULL) / 86400 } };
    struct cohort *cohort;
    struct buf work;
    enum err e;

    if (!parse(argc, argv, &o))
        return usage();
    e = cohort_new(&o.cohort, &cohort);
    if (e == ERR_OK) {
        buf_init(&work, LINE_MAX_BYTES);
        e = o.truth ? cohort_truth(cohort, &work, stdout)
                    : cohort_feed(cohort, &work, stdout);
        if (fflush(stdout) != 0)
            e = ERR_IO;
        buf_clear(&work);
        cohort_free(cohort);
    }
    if (e != ERR_OK)
        fprintf(stderr, "headgate-cohort: %s\n", err_word(e));
    return e == ERR_OK ? 0 : 1;
}
