#include "service/command_check_work.h"

#include "adapters/codes.h"
#include "adapters/policy_file.h"
#include "adapters/wording.h"
#include "adapters/zone.h"
#include "service/doors.h"
#include "service/drop.h"
#include "service/file.h"
#include "service/limits.h"
#include "service/maps.h"
#include "service/modes.h"
#include "service/smart.h"
#include "service/tokens.h"

#include <stdio.h>

enum { TOKEN_MAX = 8192, KEYS_MAX = 256 * 1024 };

bool check_policy(const struct config *config)
{
    static struct policy policy; /* large */
    struct buf why, approver;
    enum err e;

    buf_init(&why, CHECK_WHY_MAX);
    buf_init(&approver, CHECK_WHY_MAX);
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

bool check_zone(const struct config *config)
{
    struct zone *zone = NULL;
    enum err e = zone_load(config->zone, &zone);

    printf("zone     %s%s\n", config->zone,
           e == ERR_OK ? "" : ": not a zone of this system");
    zone_free(zone);
    return e == ERR_OK;
}

bool check_maps(const struct config *config)
{
    struct codes *codes = NULL;
    struct buf why;
    enum err e;

    buf_init(&why, CHECK_WHY_MAX);
    e = maps_load(config, &codes, &why);
    for (int i = 0; e == ERR_OK && i < config->map_count; i++)
        printf("map      %s\n", config->maps[i]);
    if (e != ERR_OK)
        printf("map      %s\n", why.data);
    buf_clear(&why);
    codes_free(codes);
    return e == ERR_OK;
}

bool check_tokens(const struct config *config)
{
    struct tokens *tokens = NULL;
    struct buf why, token;
    bool ok = true;

    buf_init(&why, CHECK_WHY_MAX);
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

bool check_keys(const struct config *config)
{
    struct smart_options options;
    struct doors *doors = NULL;
    struct buf why, keys;
    bool ok = true;

    buf_init(&why, CHECK_WHY_MAX);
    buf_init(&keys, KEYS_MAX);
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

bool check_drop(const struct config *config)
{
    struct buf found;
    unsigned bad = 0;
    bool ok;

    if (config->drop_folder[0] == '\0')
        return true;
    buf_init(&found, CHECK_FOUND_MAX);
    ok = drop_check(config->drop_folder, &found, &bad) == ERR_OK && bad == 0;
    check_print_lines("drop", found.data);
    buf_clear(&found);
    return ok;
}

bool check_modes(const struct config *config)
{
    struct buf found;
    unsigned errors;

    buf_init(&found, CHECK_FOUND_MAX);
    errors = modes_check(config, false, &found);
    check_print_lines("modes", found.data);
    buf_empty(&found);
    limits_check(config, true, &found);
    check_print_lines("limits", found.data);
    buf_clear(&found);
    return errors == 0;
}
