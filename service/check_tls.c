/* What headgate check says of how it is listened to, and of certificates. */
#include "service/command.h"

#include "adapters/civil.h"
#include "service/certificates.h"
#include "service/reload.h"

#include <stdio.h>
#include <string.h>
#include <time.h>

enum { WHY_MAX = 4096, LISTS_SOON_S = 7 * 86400 };

bool check_lists(const struct config *config, const char *word,
                 const char *section, int64_t end_s)
{
    int64_t left_s = end_s - (int64_t)time(NULL);
    struct civil day = civil_of_day(end_s / 86400);
    char what[256];
    struct buf why;

    if (left_s > LISTS_SOON_S)
        return true;
    snprintf(what, sizeof(what),
             "[%s] tls_crl: a revocation list %s on %04d-%02d-%02d; %s",
             section, left_s > 0 ? "ends" : "ended", day.year, day.month,
             day.day,
             left_s > 0 ? "put a newer one there before that"
                        : "nobody of that authority gets a connection");
    buf_init(&why, WHY_MAX);
    config_say(config, what, &why);
    printf("%-8s %s\n", word, why.data);
    buf_clear(&why);
    return left_s > 0;
}

/* Each line below the word. */
static void print_lines(const char *lines)
{
    while (*lines != '\0') {
        int len = (int)strcspn(lines, "\n");

        printf("%-8s %.*s\n", "tls", len, lines);
        lines += len + (lines[len] == '\n' ? 1 : 0);
    }
}

static void say_listener(const struct config *config)
{
    static const char *const clients[] = {
        "", ", asks clients for a certificate",
        ", wants a certificate of each client"
    };
    bool tls = config->http_tls_certificate[0] != '\0';

    printf(
        "listen   %s port %d%s%s%s\n", config->http_address, config->http_port,
        tls                  ? ", TLS"
        : config->http_plain ? ", plain: only a TLS proxy in front may reach it"
                             : "",
        clients[config->http_tls_client],
        config->http_anonymous ? ", without token" : "");
}

bool check_listener(const struct config *config)
{
    struct tls_context *context = NULL;
    struct buf why;
    bool ok;
    enum err e;

    say_listener(config);
    buf_init(&why, WHY_MAX);
    e = config_check_files(config, &why);
    if (e == ERR_OK)
        e = reload_open_tls(config, &context, &why);
    if (e == ERR_OK)
        e = tls_trust_try(config->record_tls_ca, config->record_tls_certificate,
                          config->record_tls_key, &why);
    ok = e == ERR_OK;
    if (ok)
        ok = certificates_check(config, (int64_t)time(NULL), &why);
    print_lines(why.data);
    if (context != NULL)
        ok = check_lists(config, "tls", "http",
                         tls_context_lists_end_s(context)) &&
             ok;
    tls_context_close(context);
    buf_clear(&why);
    return ok;
}
