/*
 * tls_work - what the two halves of TLS share
 *
 *     tls_context.c  certificates, keys, revocation lists, of a whole listener
 *     tls_stream.c   one connection
 */
#ifndef HEADGATE_ADAPTERS_TLS_WORK_H
#define HEADGATE_ADAPTERS_TLS_WORK_H

#include "adapters/tls_stream.h"

#include <openssl/err.h>
#include <openssl/ssl.h>

enum { TLS_STAMP_SIZE = 96 };

struct tls_context {
    SSL_CTX *ctx;
    char ca[TLS_PATH_MAX], crl[TLS_PATH_MAX]; /* "" none */
    char crl_read[TLS_STAMP_SIZE]; /* stamp of the file that was read */
    int64_t lists_end_s;
};

/* Read the lists again if their file has changed. */
void tls_context_renew_lists(struct tls_context *c);

#endif
