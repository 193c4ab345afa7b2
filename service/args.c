#include "service/command.h"

#include <stdio.h>
#include <string.h>

static bool takes_value(const char *name, int i, int argc)
{
    if (i + 1 < argc)
        return true;
    fprintf(stderr, "headgate: %s needs a value\n", name);
    return false;
}

/* One option that has a value; *i is moved past it.  -1: not one of them. */
static int read_valued(struct args *a, int *i, int argc, char **argv,
                       const char *allowed)
{
    const char *name = argv[*i];
    bool to = strchr(allowed, 't') != NULL;
    bool past = strchr(allowed, 'b') != NULL;
    bool since = strchr(allowed, 's') != NULL;
    const char **place = strcmp(name, "--config") == 0             ? &a->config
                         : to && strcmp(name, "--to") == 0         ? &a->to
                         : to && strcmp(name, "--token-file") == 0 ? &a->token
                         : past && strcmp(name, "--policy") == 0   ? &a->policy
                         : past && strcmp(name, "--against") == 0  ? &a->against
                         : past && strcmp(name, "--until") == 0    ? &a->until
                         : since && strcmp(name, "--since") == 0   ? &a->since
                                                                   : NULL;

    if (place == NULL && strcmp(name, "--set") != 0)
        return -1;
    if (!takes_value(name, *i, argc))
        return 0;
    if (place != NULL) {
        *place = argv[++*i];
        return 1;
    }
    if (a->set_count == ARGS_SETS_MAX) {
        fprintf(stderr, "headgate: more than %d times --set\n", ARGS_SETS_MAX);
        return 0;
    }
    a->sets[a->set_count++] = argv[++*i];
    return 1;
}

bool args_read(struct args *a, int argc, char **argv, const char *allowed,
               const char *help, bool *helped)
{
    memset(a, 0, sizeof(*a));
    *helped = false;
    for (int i = 1; i < argc; i++) {
        int read = read_valued(a, &i, argc, argv, allowed);

        if (read == 1)
            continue;
        if (read == 0)
            return false;
        if (strcmp(argv[i], "--help") == 0) {
            fputs(help, stdout);
            *helped = true;
            return false;
        }
        if (strcmp(argv[i], "--json") == 0 && strchr(allowed, 'j') != NULL) {
            a->json = true;
        } else if ((argv[i][0] != '-' || argv[i][1] == '\0') &&
                   strchr(allowed, 'f') != NULL &&
                   a->file_count < ARGS_FILES_MAX) {
            a->files[a->file_count++] = argv[i];
        } else {
            fprintf(stderr, "headgate: '%s' is not understood here\n\n%s",
                    argv[i], help);
            return false;
        }
    }
    return true;
}

bool args_config(const struct args *a, struct config *config)
{
    struct buf why;
    enum err e;

    buf_init(&why, 4096);
    e = config_load(a->config, a->sets, a->set_count, config, &why);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    return e == ERR_OK;
}
