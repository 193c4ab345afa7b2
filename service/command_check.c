#include "service/command.h"

#include "adapters/codes.h"
#include "adapters/fhir_codesystem.h"
#include "adapters/policy_file.h"
#include "adapters/wording.h"
#include "adapters/zone.h"
#include "service/check_codes.h"
#include "service/db.h"
#include "service/db_fault.h"
#include "service/doors.h"
#include "service/drop.h"
#include "service/file.h"
#include "service/limits.h"
#include "service/maps.h"
#include "service/modes.h"
#include "service/reload.h"
#include "service/smart.h"
#include "service/store_faults.h"
#include "service/store_there.h"
#include "service/tokens.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum {
    REFERENCE_MAX = 256 * 1024,
    CODESYSTEMS_MAX = 1024 * 1024,
    WHY_MAX = 4096,
    DROP_FOUND_MAX = 128 * 1024,
    TOKEN_MAX = 8192
};

static const char help[] =
    "usage: headgate check [--offline] [--quick] [--config FILE]\n"
    "                      [--set SECTION.KEY=VALUE]...\n"
    "       headgate check reference\n"
    "       headgate check codesystems [--config FILE]\n"
    "       headgate check --codes [--json] [--config FILE] FILE...\n\n"
    "Reads configuration, policy, time zone, code maps and store, and says\n"
    "what is wrong or what would be in force.  Where a record is set, it is\n"
    "asked what it can (--offline: it is not), and what will and will not "
    "work\n"
    "there is said in words; nothing is written there.  A store that no "
    "service has\n"
    "open is read through (--quick: only opened); it is not changed.\n"
    "'reference' prints every setting there is,\n"
    "'codesystems' the codes of this service as FHIR CodeSystems, with the\n"
    "canonical base that is configured (fhir.base).\n\n"
    "--codes reads a sample of what a sender sends (FHIR JSON or NDJSON, HL7 "
    "v2, or\n"
    "CSV with the columns system, code, unit; '-': standard input) and says "
    "what each\n"
    "code, value, method, body site and unit would be taken for, and which "
    "rows the\n"
    "code map of the site lacks. Nothing is stored, no service is needed, and "
    "no value\n"
    "of a patient is printed. Ends with status 1 if something is missing, "
    "with 2 if\n"
    "the sample cannot be used.\n\n"
    "Where no service runs on the store, queue and the other commands open it\n"
    "themselves; a store of an older version is then brought up to\n"
    "date in place, as at a start of the service.\n";

/* A file that was cut must not pass for a whole one. */
static int print(struct buf *out, enum err e)
{
    bool ok = e == ERR_OK &&
              fwrite(out->data, 1, out->len, stdout) == out->len &&
              fflush(stdout) == 0;

    buf_clear(out);
    if (!ok)
        fputs("headgate: not everything could be written\n", stderr);
    return ok ? 0 : 1;
}

static int print_reference(void)
{
    struct buf out;

    buf_init(&out, REFERENCE_MAX);
    config_reference(&out);
    return print(&out, buf_ok(&out));
}

static int print_codesystems(const struct args *args)
{
    struct config config;
    struct buf out;

    if (!args_config(args, &config))
        return 2;
    buf_init(&out, CODESYSTEMS_MAX);
    return print(&out, fhir_write_codesystems(config.fhir_base, &out));
}

static bool check_policy(const struct config *config)
{
    static struct policy policy; /* large */
    struct buf why, approver;
    enum err e;

    buf_init(&why, WHY_MAX);
    buf_init(&approver, WHY_MAX);
    e = policy_file_read(config->policy_path, &policy, &why);
    if (e != ERR_OK) {
        printf("policy   %s\n", why.data);
    } else {
        wording_approver(policy.approver, &approver);
        printf("policy   %s: version %s of %s, %s\n", config->policy_path,
               policy.version, policy.date, approver.data);
    }
    buf_clear(&approver);
    buf_clear(&why);
    return e == ERR_OK;
}

static bool check_zone(const struct config *config)
{
    struct zone *zone = NULL;
    enum err e = zone_load(config->zone, &zone);

    printf("zone     %s%s\n", config->zone,
           e == ERR_OK ? "" : ": not a zone of this system");
    zone_free(zone);
    return e == ERR_OK;
}

static bool check_maps(const struct config *config)
{
    struct codes *codes = NULL;
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = maps_load(config, &codes, &why);
    for (int i = 0; e == ERR_OK && i < config->map_count; i++)
        printf("map      %s\n", config->maps[i]);
    if (e != ERR_OK)
        printf("map      %s\n", why.data);
    buf_clear(&why);
    codes_free(codes);
    return e == ERR_OK;
}

/* There is no store yet: can one be made? */
static bool check_folder(const char *path)
{
    char folder[CONFIG_TEXT_SIZE] = ".";
    const char *slash = strrchr(path, '/');
    bool ok;

    if (slash != NULL)
        snprintf(folder, sizeof(folder), "%.*s", (int)(slash - path + 1), path);
    ok = access(folder, W_OK | X_OK) == 0;
    printf("store    %s: %s%s\n", path,
           ok ? "will be made" : "cannot be made in its folder: ",
           ok ? "" : strerror(errno));
    return ok;
}

/* May one be made in its place? */
static bool check_missing(const struct config *config)
{
    struct buf why;
    bool made = false;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = store_there_may_make(config->store_path, config->store_make, &made,
                             &why);
    if (e != ERR_OK)
        printf("store    %s\n", why.data);
    buf_clear(&why);
    return e == ERR_OK && check_folder(config->store_path);
}

/* Rows that people added while a service ran, beside those of the files. */
static enum err check_mappings(struct db *db, const struct config *config)
{
    struct codes *codes = NULL;
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    /* what is wrong with a file itself is said elsewhere */
    if (maps_load(config, &codes, &why) != ERR_OK) {
        e = ERR_OK;
    } else {
        e = maps_learn_stored(db, codes, &why);
        if (e != ERR_OK && why.len > 0)
            printf("map      %s\n", why.data);
    }
    codes_free(codes);
    buf_clear(&why);
    return e;
}

/* What a store is that no service has open; it is not changed.  Quick: it is not
 * read through, which takes minutes for a large one. */
static enum err look_at_store(const struct config *config, bool quick,
                              int64_t *version, enum err *mapped,
                              struct buf *faults)
{
    struct db *db = NULL;
    enum err e = db_look(config->store_path, &db, version);

    if (e == ERR_OK && !quick)
        e = db_verify(db);
    if (e == ERR_OK && *version == db_schema_newest())
        *mapped = check_mappings(db, config);
    if (e == ERR_OK && *version == db_schema_newest())
        e = store_faults_shape(db, faults);
    if (e == ERR_OK && *version == db_schema_newest() && !quick)
        e = store_faults_chain(db, faults);
    db_close(db);
    return e;
}

static void say_unusable(const char *path, enum err e)
{
    struct buf why;

    buf_init(&why, WHY_MAX);
    db_open_say(path, e, &why);
    printf("store    %s\n", why.data);
    buf_clear(&why);
}

/* Each line below the word. */
static void print_lines(const char *word, const char *lines)
{
    while (*lines != '\0') {
        int len = (int)strcspn(lines, "\n");

        printf("%-8s %.*s\n", word, len, lines);
        lines += len + (lines[len] == '\n' ? 1 : 0);
    }
}

static bool check_store(const struct config *config, bool quick)
{
    const char *path = config->store_path;
    enum err e, mapped = ERR_OK;
    int64_t version = 0;
    struct buf faults;
    bool sound;

    if (access(path, F_OK) != 0)
        return check_missing(config);
    buf_init(&faults, DROP_FOUND_MAX);
    e = look_at_store(config, quick, &version, &mapped, &faults);
    print_lines("store", faults.data != NULL ? faults.data : "");
    sound = faults.len == 0;
    buf_clear(&faults);
    if (e == ERR_DENIED) {
        printf("store    %s: in use by a service\n", path);
        return true;
    }
    if (e != ERR_OK)
        say_unusable(path, e);
    else
        printf("store    %s: %s\n", path,
               version == 0 ? "empty"
               : quick      ? "can be opened"
               : sound      ? "whole"
                            : "whole as a file, but see above");
    if (e == ERR_OK && version > 0 && version < db_schema_newest())
        printf("store    of version %lld: the next start brings it to %lld, "
               "and there is no way back; make a backup before\n",
               (long long)version, (long long)db_schema_newest());
    return e == ERR_OK && mapped == ERR_OK && sound;
}

/* The files of secrets: that they can be read, not what is in them. */
static bool check_tokens(const struct config *config)
{
    struct tokens *tokens = NULL;
    struct buf why, token;
    bool ok = true;

    buf_init(&why, WHY_MAX);
    buf_init(&token, TOKEN_MAX);
    if (config->http_tokens[0] != '\0') {
        ok = tokens_load(config->http_tokens, &tokens, &why) == ERR_OK;
        printf("tokens   %s\n", ok ? config->http_tokens : why.data);
    }
    buf_empty(&why);
    if (config->record_url[0] != '\0' && config->record_token_file[0] != '\0') {
        bool read =
            file_read(config->record_token_file, &token, &why) == ERR_OK;

        printf("token    %s\n", read ? config->record_token_file : why.data);
        ok = ok && read;
    }
    tokens_free(tokens);
    buf_clear(&why);
    buf_clear(&token);
    return ok;
}

static bool check_drop(const struct config *config)
{
    struct buf found;
    unsigned bad = 0;
    bool ok;

    if (config->drop_folder[0] == '\0')
        return true;
    buf_init(&found, DROP_FOUND_MAX);
    ok = drop_check(config->drop_folder, &found, &bad) == ERR_OK && bad == 0;
    print_lines("drop", found.data);
    buf_clear(&found);
    return ok;
}

/* The keys that sign for us, and those that others sign with. */
static bool check_keys(const struct config *config)
{
    struct smart_options options;
    struct doors *doors = NULL;
    struct buf why, keys;
    bool ok = true;

    buf_init(&why, WHY_MAX);
    buf_init(&keys, REFERENCE_MAX);
    if (config->record_smart_client_id[0] != '\0') {
        smart_set_options(config, NULL, &options);
        ok = smart_try(&options, &keys, &why) == ERR_OK;
        printf("key      %s\n", ok ? config->record_smart_key : why.data);
        if (ok)
            printf("key set  %s\n", keys.data);
    }
    buf_empty(&why);
    if (config->http_jwt_keys[0] != '\0') {
        bool read = doors_open(config, &doors, &why) == ERR_OK;

        printf("jwt keys %s\n", read ? config->http_jwt_keys : why.data);
        ok = ok && read;
        doors_close(doors);
    }
    buf_clear(&keys);
    buf_clear(&why);
    return ok;
}

/* What others on this machine could do; and what it gives. */
static bool check_modes(const struct config *config)
{
    struct buf found;
    unsigned errors;

    buf_init(&found, DROP_FOUND_MAX);
    errors = modes_check(config, false, &found);
    print_lines("modes", found.data);
    buf_empty(&found);
    limits_check(config, true, &found);
    print_lines("limits", found.data);
    buf_clear(&found);
    return errors == 0;
}

/* What a sample of a sender would be taken for. */
static int check_sample(const struct args *args)
{
    static struct config config; /* large */

    if (args->file_count == 0) {
        fprintf(stderr, "headgate: --codes needs a file\n\n%s", help);
        return 2;
    }
    if (!args_config(args, &config))
        return 2;
    return check_codes(&config, args->files, args->file_count, args->json);
}

int command_check(int argc, char **argv)
{
    struct args args;
    struct config config;
    bool helped, ok, asked = true;

    if (!args_read(&args, argc, argv, "foj", help, &helped))
        return helped ? 0 : 2;
    if (args.codes)
        return check_sample(&args);
    if (args.json) {
        fputs("headgate: --json goes with --codes\n", stderr);
        return 2;
    }
    if (args.file_count == 1 && strcmp(args.files[0], "reference") == 0)
        return print_reference();
    if (args.file_count == 1 && strcmp(args.files[0], "codesystems") == 0)
        return print_codesystems(&args);
    if (args.file_count > 0) {
        fprintf(stderr, "headgate: '%s' is not understood here\n\n%s",
                args.files[0], help);
        return 2;
    }
    if (!args_config(&args, &config) || !args_listener(&args, &config))
        return 2;
    ok = check_listener(&config);
    printf("record   %s\n", config.record_url[0] != '\0'
                                ? config.record_url
                                : "none: Tasks are served here");
    if (config.record_url[0] != '\0' && !args.offline) {
        fflush(stdout);
        asked = check_record(&config);
    }
    if (config.silent)
        printf("silent   on: nothing new is posted, neither here nor to a "
               "record\n");
    ok = check_policy(&config) && asked && ok;
    ok = check_zone(&config) && ok;
    ok = check_maps(&config) && ok;
    ok = check_tokens(&config) && ok;
    ok = check_keys(&config) && ok;
    ok = check_hl7(&config) && ok;
    ok = check_drop(&config) && ok;
    ok = check_modes(&config) && ok;
    ok = check_store(&config, args.quick) && ok;
    return ok ? 0 : 2;
}
