/*
 * tls_stream - TLS for a stream of the event loop, the listening side
 *
 * This and tls_context.c alone know the TLS of OpenSSL.  Bytes are moved
 * between memory and memory; who owns the socket reads and writes it:
 *
 *     network --> tls_stream_take --> tls_stream_read --> plain bytes
 *     network <-- tls_stream_give <-- tls_stream_write <-- plain bytes
 *
 * TLS 1.2 and 1.3; no renegotiation, no compression, no tickets (each
 * connection proves its certificate anew).  What is kept inside is bounded by
 * what the caller hands in at a time.
 *
 * Source: RFC 8446 and RFC 5246; names of a certificate: RFC 5280, 4.2.1.6.
 */
#ifndef HEADGATE_ADAPTERS_TLS_STREAM_H
#define HEADGATE_ADAPTERS_TLS_STREAM_H

#include "adapters/buf.h"

#include <stdint.h>

struct tls_context;
struct tls_stream;

struct tls_files {
    const char *certificate; /* PEM: ours, and what leads to its root */
    const char *key;         /* PEM: its private key, without a password */
    const char *client_ca;   /* PEM: who signs clients; NULL or "": clients
                                need no certificate; else all need one, or,
                                with client_may_lack, prove the one they have */
    const char *client_crl;  /* PEM: a revocation list of each of those who sign
                                clients, and of those who sign these;
                                NULL or "": revocation is not looked at.  Needs
                                client_ca */
    bool client_may_lack;    /* a client without a certificate is taken too; a
                                false one is not */
};

enum { TLS_PATH_MAX = 1024 }; /* of client_ca and client_crl */

/*
 * tls_context_open - read the files; for all connections of a listener
 *
 * why  out: which file is wrong, and how, for a person; no part of a key
 *
 * With client_crl the certificate of a client, and those of all authorities
 * that lead to the root, are checked against the list of their issuer (RFC
 * 5280, 6.3; X509_V_FLAG_CRL_CHECK_ALL): revoked, no list of that issuer, a
 * list that is not its issuer's or that has run out: no connection.  So the
 * file needs a list of each authority of a chain.  Before each new
 * connection it is looked whether the file has changed; a new one that cannot
 * be used changes nothing, and the lists that were read before go on to count.
 *
 * ERR_CONFIG  a file cannot be read, or key and certificate do not belong
 *             together, or client_crl without client_ca
 * ERR_MEMORY
 */
MUST_CHECK enum err tls_context_open(const struct tls_files *files,
                                     struct tls_context **context,
                                     struct buf *why);
void tls_context_close(struct tls_context *context);

/*
 * tls_context_take - go on with what was read anew
 *
 * fresh takes the place of what the context had, and is gone afterwards.  New
 * connections go by it; those that are open keep what they were begun with.
 */
void tls_context_take(struct tls_context *context, struct tls_context *fresh);

/*
 * tls_trust_try - can these files be used to connect to another?
 *
 * Each may be NULL or ""; certificate and key go together.  why: as above.
 * ERR_CONFIG, ERR_MEMORY
 */
MUST_CHECK enum err tls_trust_try(const char *ca, const char *certificate,
                                  const char *key, struct buf *why);

/* Until when the lists that are in use are good, as seconds since 1970: the
 * first end of any; INT64_MAX: there is none, or none says. */
int64_t tls_context_lists_end_s(const struct tls_context *context);

/* Until when the certificate in use is good, and those that are sent with it:
 * the first end, as seconds since 1970. */
int64_t tls_context_end_s(const struct tls_context *context);

/* The same of a file of certificates in PEM; INT64_MAX: it cannot be read. */
int64_t tls_file_end_s(const char *path);

/* Between which moments all certificates of a chain are good, in seconds since
 * 1970 (RFC 5280, 4.1.2.5); INT64_MIN and INT64_MAX where none says. */
struct tls_term {
    int64_t begin_s, end_s;
};
void tls_context_term(const struct tls_context *context, struct tls_term *term);
/* Of a file of certificates in PEM; false: it cannot be read. */
bool tls_file_term(const char *path, struct tls_term *term);

/* Of a file of authorities in PEM, in any order. */
struct tls_authorities {
    size_t count;
    size_t ended;        /* by a moment that was asked for */
    int64_t first_end_s; /* INT64_MAX: there is none */
};
/* until_s: that moment.  false: it cannot be read. */
bool tls_authorities_look(const char *path, int64_t until_s,
                          struct tls_authorities *found);

/* One connection; the context must outlive it.  ERR_MEMORY. */
MUST_CHECK enum err tls_stream_new(struct tls_context *context,
                                   struct tls_stream **stream);
void tls_stream_free(struct tls_stream *stream);

/*
 * tls_stream_take - bytes that came from the network
 *
 * Copied.  Then call tls_stream_read until it says ERR_ABSENT, and send what
 * tls_stream_give has.  ERR_MEMORY.
 */
MUST_CHECK enum err tls_stream_take(struct tls_stream *stream,
                                    const char *bytes, size_t len);

/*
 * tls_stream_read - plain bytes; also goes on with the greeting
 *
 * len  out: 1 to size on ERR_OK
 *
 * ERR_ABSENT   none yet
 * ERR_STOPPED  the other side has said that it ends here
 * ERR_DENIED   the greeting failed: no certificate, a false one, or no
 *              version and cipher in common; tls_stream_give has the alert
 * ERR_FORM     what came is not TLS, or was altered
 */
MUST_CHECK enum err tls_stream_read(struct tls_stream *stream, char *out,
                                    size_t size, size_t *len);

/* The greeting is done: the other side is who it is. */
bool tls_stream_is_open(const struct tls_stream *stream);

/* Has the other side proved a certificate at all? */
bool tls_stream_has_certificate(const struct tls_stream *stream);

/* Plain bytes out.  ERR_FORM: not open, or broken; ERR_MEMORY. */
MUST_CHECK enum err tls_stream_write(struct tls_stream *stream,
                                     const char *bytes, size_t len);
/* Say that we end here. */
void tls_stream_end(struct tls_stream *stream);

/* What is to be sent to the network is moved to the end of out. */
MUST_CHECK enum err tls_stream_give(struct tls_stream *stream, struct buf *out);

/*
 * tls_stream_has_name - does the certificate of the other side, which it has
 * proved, bear this name: its common name, or a DNS name among the alternative
 * ones?  Compared without regard to ASCII case; no wildcards.
 */
bool tls_stream_has_name(const struct tls_stream *stream, const char *name);

#endif
