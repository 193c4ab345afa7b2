#include "service/certificates.h"

#include "adapters/catalogue.h"
#include "service/log.h"

#include <stdio.h>
#include <time.h>

enum { DAY_SECONDS = 86400, MOMENT_SIZE = 32 };

static const int64_t soon_s = INT64_C(86400) * CERTIFICATE_SOON_DAYS;

/* Which are in use; their section is their name. */
struct in_use {
    const char *of, *certificate, *authorities;
};

enum { IN_USE = 3 };

static void list(const struct config *c, struct in_use out[IN_USE])
{
    bool listens = config_listens_hl7(c), asks = c->record_url[0] != '\0';

    out[0] = (struct in_use){ "http", c->http_tls_certificate,
                              c->http_tls_client_ca };
    out[1] = (struct in_use){ "mllp", listens ? c->mllp_tls_certificate : "",
                              listens ? c->mllp_tls_client_ca : "" };
    out[2] = (struct in_use){ "record", asks ? c->record_tls_certificate : "",
                              asks ? c->record_tls_ca : "" };
}

enum certificate_state certificate_state(const struct tls_term *term,
                                         int64_t now_s)
{
    if (term->end_s <= now_s)
        return CERTIFICATE_ENDED;
    if (term->begin_s > now_s)
        return CERTIFICATE_EARLY;
    return term->end_s - soon_s < now_s ? CERTIFICATE_SOON : CERTIFICATE_GOOD;
}

/* "2026-12-31 14:05" */
static const char *moment(int64_t at_s, char out[MOMENT_SIZE])
{
    time_t at = at_s;
    struct tm t;

    out[0] = '\0';
    if (gmtime_r(&at, &t) != NULL)
        strftime(out, MOMENT_SIZE, "%Y-%m-%d %H:%M", &t);
    return out;
}

static bool say_certificate(const struct in_use *u, int64_t now_s,
                            struct buf *out)
{
    struct tls_term term;
    char end[MOMENT_SIZE], begin[MOMENT_SIZE];
    enum certificate_state state;

    if (u->certificate[0] == '\0' || !tls_file_term(u->certificate, &term))
        return true;
    state = certificate_state(&term, now_s);
    moment(term.end_s, end);
    if (state == CERTIFICATE_ENDED)
        /* TRANSLATORS: a section of the settings, a file, date and time */
        buf_printf(out,
                   _("%s: %s ended on %s UTC: the other side refuses it; "
                     "renew it"),
                   u->of, u->certificate, end);
    else if (state == CERTIFICATE_EARLY)
        /* TRANSLATORS: a section of the settings, a file, date and time */
        buf_printf(out,
                   _("%s: %s begins on %s UTC: the other side refuses it until "
                     "then; look at the clock of this machine, too"),
                   u->of, u->certificate, moment(term.begin_s, begin));
    else if (state == CERTIFICATE_SOON)
        /* TRANSLATORS: a section of the settings, a file, date and time */
        buf_printf(out,
                   _("%s: %s is good until %s UTC, and no longer: renew it "
                     "before that"),
                   u->of, u->certificate, end);
    else
        /* TRANSLATORS: a section of the settings, a file, date and time */
        buf_printf(out, _("%s: %s is good until %s UTC"), u->of, u->certificate,
                   end);
    buf_puts(out, "\n");
    return state == CERTIFICATE_GOOD || state == CERTIFICATE_SOON;
}

static bool say_authorities(const struct in_use *u, int64_t now_s,
                            struct buf *out)
{
    struct tls_authorities now, then;

    if (u->authorities[0] == '\0' ||
        !tls_authorities_look(u->authorities, now_s, &now) ||
        !tls_authorities_look(u->authorities, now_s + soon_s, &then) ||
        then.ended == 0)
        return true;
    if (now.ended == now.count)
        /* TRANSLATORS: a section of the settings, a file */
        buf_printf(out,
                   _("%s: %s: every authority in it has ended: nobody's "
                     "certificate is taken"),
                   u->of, u->authorities);
    else
        /* TRANSLATORS: a section of the settings, a file, two counts, days */
        buf_printf(out,
                   _("%s: %s: of %zu authorities in it %zu have ended or end "
                     "within %d days"),
                   u->of, u->authorities, then.count, then.ended,
                   CERTIFICATE_SOON_DAYS);
    buf_puts(out, "\n");
    return now.ended < now.count;
}

bool certificates_check(const struct config *config, int64_t now_s,
                        struct buf *out)
{
    struct in_use all[IN_USE];
    bool ok = true;

    list(config, all);
    for (size_t i = 0; i < IN_USE; i++) {
        ok = say_certificate(&all[i], now_s, out) && ok;
        ok = say_authorities(&all[i], now_s, out) && ok;
    }
    return ok;
}

void certificates_log(const struct config *config, int64_t now_s)
{
    static const char *const words[] = { [CERTIFICATE_GOOD] = "good",
                                         [CERTIFICATE_SOON] = "ends soon",
                                         [CERTIFICATE_EARLY] = "not begun",
                                         [CERTIFICATE_ENDED] = "ended" };
    struct in_use all[IN_USE];

    list(config, all);
    for (size_t i = 0; i < IN_USE; i++) {
        struct tls_term term;
        enum certificate_state state;
        int64_t left_s;

        if (all[i].certificate[0] == '\0' ||
            !tls_file_term(all[i].certificate, &term))
            continue;
        state = certificate_state(&term, now_s);
        if (state == CERTIFICATE_GOOD)
            continue;
        left_s =
            (state == CERTIFICATE_EARLY ? term.begin_s : term.end_s) - now_s;
        log_event(LOG_WARN, "tls.certificate", KEY_TABLE("of", all[i].of),
                  KEY_TABLE("is", words[state]),
                  KEY_INT("days", left_s / DAY_SECONDS));
    }
}

enum err certificate_may_follow(const char *path, const struct tls_term *fresh,
                                const struct tls_term *held, int64_t now_s,
                                struct buf *why)
{
    enum certificate_state is = certificate_state(fresh, now_s);
    enum certificate_state was = certificate_state(held, now_s);
    char at[MOMENT_SIZE], end[MOMENT_SIZE];

    if (is < CERTIFICATE_EARLY || was >= CERTIFICATE_EARLY)
        return ERR_OK;
    moment(held->end_s, end);
    if (is == CERTIFICATE_ENDED)
        /* TRANSLATORS: a file, then two times */
        buf_printf(why,
                   _("%s: ended on %s UTC; the certificate in force is good "
                     "until %s UTC, and stays"),
                   path, moment(fresh->end_s, at), end);
    else
        /* TRANSLATORS: a file, then two times */
        buf_printf(why,
                   _("%s: begins on %s UTC; the certificate in force is good "
                     "until %s UTC, and stays"),
                   path, moment(fresh->begin_s, at), end);
    return ERR_CONFIG;
}
