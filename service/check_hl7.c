/* What headgate check says of senders of HL7 v2 and of their listener. */
#include "service/command.h"

#include "adapters/tls_stream.h"
#include "service/hl7_senders.h"

#include <stdio.h>
#include <string.h>

enum { WHY_MAX = 4096 };

static bool complain(struct buf *why)
{
    printf("mllp     %s\n", why->data);
    return false;
}

/* Character sets and zones of the senders. */
static bool check_senders(const struct config *config)
{
    struct hl7_senders *senders = NULL;
    struct buf why;
    bool ok;

    buf_init(&why, WHY_MAX);
    ok = hl7_senders_open(config, &senders, &why) == ERR_OK;
    if (!ok)
        complain(&why);
    hl7_senders_close(senders);
    buf_clear(&why);
    return ok;
}

/* Certificate, key, authorities and revocation lists, as at a start. */
static bool check_tls(const struct config *config)
{
    const struct tls_files files = { .certificate =
                                         config->mllp_tls_certificate,
                                     .key = config->mllp_tls_key,
                                     .client_ca = config->mllp_tls_client_ca,
                                     .client_crl = config->mllp_tls_crl };
    struct tls_context *context = NULL;
    struct buf why;
    bool ok;

    if (config->mllp_tls_certificate[0] == '\0')
        return true;
    buf_init(&why, WHY_MAX);
    ok = config_check_files(config, &why) == ERR_OK &&
         tls_context_open(&files, &context, &why) == ERR_OK;
    if (!ok)
        complain(&why);
    else
        ok = check_lists(config, "mllp", "mllp",
                         tls_context_lists_end_s(context));
    tls_context_close(context);
    buf_clear(&why);
    return ok;
}

/* Numbers of which nobody says whose they are may be those of two people. */
static void warn_of_numbers(const struct config *config,
                            const struct hl7_profile *p)
{
    char what[400];
    struct buf why;

    if (p->patient_authority[0] != '\0')
        return;
    snprintf(what, sizeof(what),
             "[sender %s] patient_authority: is empty, so a number in PID-3 "
             "counts whoever assigned it; %s",
             p->name,
             p->patient_system[0] != '\0'
                 ? "equal numbers of two authorities are then one person"
                 : "those of each authority are kept apart, and the record "
                   "knows none of them");
    buf_init(&why, WHY_MAX);
    config_say(config, what, &why);
    complain(&why);
    buf_clear(&why);
}

bool check_hl7(const struct config *config)
{
    static const struct hl7_profile any = { .name = "any" };
    bool described = false, ok;

    if (!config_listens_hl7(config) && config->sender_count == 0)
        return true;
    if (config_listens_hl7(config))
        printf("mllp     %s port %d%s%s\n", config->mllp_address,
               config->mllp_port,
               config->mllp_tls_certificate[0] != '\0' ? ", TLS" : "",
               config->mllp_tls_client_ca[0] != '\0'
                   ? ", with certificates of the senders"
                   : "");
    ok = check_senders(config);
    ok = check_tls(config) && ok;
    for (int i = 0; i < config->sender_count; i++) {
        const struct hl7_profile *p = &config->senders[i].profile;

        warn_of_numbers(config, p);
        described = described || strcmp(p->name, any.name) == 0;
    }
    if (config->mllp_any_sender && !described)
        warn_of_numbers(config, &any);
    return ok;
}
