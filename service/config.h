/*
 * config - the settings of the service: one INI file, overridden by --set
 *
 * Everything known about a key stands in its row in config_rows.c: type, place,
 * range, default, unit, help.  The parser, the reference file
 * config/headgate.ini and `headgate check` all read it.
 */
#ifndef HEADGATE_SERVICE_CONFIG_H
#define HEADGATE_SERVICE_CONFIG_H

#include "adapters/buf.h"
#include "adapters/hl7_profile.h"

#include <stdbool.h>

enum {
    CONFIG_TEXT_SIZE = 512,
    CONFIG_MAPS_MAX = 16,
    CONFIG_SENDERS_MAX = 64,
    CONFIG_LINES_MAX = 192,       /* settings, more than there are */
    CONFIG_SENDER_LINES_MAX = 24, /* of a sender */
    CONFIG_OVERRIDDEN = -1        /* in place of a line: by --set */
};

/* http.tls_client: is a client asked for a certificate? */
enum config_client { CLIENT_OFF, CLIENT_ASKED, CLIENT_REQUIRED };

/* [sender NAME]: what is known of a sender of HL7 v2, see hl7_senders.h. */
struct config_sender {
    struct hl7_profile profile; /* its zone is NULL here */
    char zone[64];              /* "" that of the site */
    char certificate[128]; /* name that the TLS client must prove; "" none */
    int lines[CONFIG_SENDER_LINES_MAX]; /* see struct config */
};

struct config {
    /* [http] */
    char http_address[64];              /* 127.0.0.1 */
    int http_port;                      /* 0 picks a free one; 8480 */
    char http_tokens[CONFIG_TEXT_SIZE]; /* file: one "name sha256-hex" a line;
                                           "" none */
    bool http_anonymous; /* no token needed; loopback address only */
    char http_jwt_keys[CONFIG_TEXT_SIZE];     /* file: a JWK Set; "" no JWTs */
    char http_jwt_issuer[CONFIG_TEXT_SIZE];   /* iss of those that are taken */
    char http_jwt_audience[CONFIG_TEXT_SIZE]; /* aud of those that are taken */
    int http_body_max;                        /* bytes; 4194304 */
    int http_bodies_max;                      /* bytes; 67108864 */
    int http_connections_max;                 /* 256 */
    int http_request_timeout_ms;              /* 30000 */
    int http_idle_timeout_ms;                 /* 60000 */
    bool http_plain; /* beyond loopback without TLS; false */
    char http_tls_certificate[CONFIG_TEXT_SIZE]; /* PEM, chain; "" plain */
    char http_tls_key[CONFIG_TEXT_SIZE];         /* PEM */
    int http_tls_client;                         /* enum config_client */
    char http_tls_client_ca[CONFIG_TEXT_SIZE];   /* PEM */
    char http_tls_crl[CONFIG_TEXT_SIZE];         /* PEM; "" not looked at */
    char http_proxy[CONFIG_TEXT_SIZE]; /* prefixes whose X-Forwarded-* count;
                                          "" none */
    int http_connections_per_client;   /* 64; 0 any number */
    int http_rate;                     /* requests a second; 0 any number */
    int http_rate_burst;               /* at once, after a pause; 100 */
    int http_failures_max;             /* false tokens a minute; 0 any number */
    /* [fhir] */
    char fhir_base[CONFIG_TEXT_SIZE]; /* canonical base of our CodeSystems:
                                         https://headgate.example/fhir */
    int fhir_entries_max;             /* of a Bundle; 5000 */
    bool fhir_task_if_match; /* a change of a Task needs If-Match; false */
    bool fhir_strict_access; /* refuse a direct POST whose access is unclear */
    char zone[64];           /* site.zone: UTC */
    char language[16];       /* site.language: en */
    int paper;               /* site.paper: enum canvas_paper */
    bool merge_implied; /* site.merge_implied: let the first real access of a
                           patient take over an implied one; true */
    /* [service] */
    bool store_make; /* a store that is not there is made; true */
    bool silent;     /* compute and keep, and post nothing; false */
    /* [store] */
    char store_path[CONFIG_TEXT_SIZE]; /* headgate.db */
    /* days that headgate store prune leaves; 0: for ever */
    int keep_outbox_d, keep_decisions_d, keep_quarantine_d, keep_hl7_d,
        keep_loads_d, keep_readings_d;
    /* [policy] */
    char policy_path[CONFIG_TEXT_SIZE];
    /* [codes]: map = FILE, may be repeated */
    char maps[CONFIG_MAPS_MAX][CONFIG_TEXT_SIZE];
    int map_count;
    /* [record] */
    char record_url[CONFIG_TEXT_SIZE]; /* FHIR base of the clinical record;
                                          "" none */
    char record_token_file[CONFIG_TEXT_SIZE]; /* bearer token in a file; "" */
    /* or, as a SMART backend service; "" client id: not so */
    char record_smart_client_id[CONFIG_TEXT_SIZE];
    char record_smart_key[CONFIG_TEXT_SIZE];      /* PEM file */
    char record_smart_key_next[CONFIG_TEXT_SIZE]; /* PEM file; "" none */
    char record_smart_scopes[CONFIG_TEXT_SIZE];
    char record_smart_token_url[CONFIG_TEXT_SIZE]; /* "" as the record says */
    int record_timeout_ms;                         /* 15000 */
    char record_tls_ca[CONFIG_TEXT_SIZE]; /* PEM; "" those of the system */
    char record_tls_certificate[CONFIG_TEXT_SIZE]; /* PEM, ours; "" none */
    char record_tls_key[CONFIG_TEXT_SIZE];         /* PEM */
    bool record_documents;        /* DocumentReference of a plan; true */
    bool record_worksheet;        /* the worksheet in it; true */
    int record_document_max;      /* bytes of one, before base64; 262144 */
    bool record_service_request;  /* a proposal of each Task; false */
    bool record_flag;             /* on the chart, while it stands; false */
    bool record_narrative;        /* Tasks with a text; true */
    bool record_provenance;       /* of each Task; true */
    bool record_unit_list;        /* a List for each unit; false */
    int record_unit_list_pause_s; /* between two versions of one; 60 */
    /* what comes in from it; waits in seconds, 0: not so */
    int record_poll_s;                        /* 0 */
    char record_poll_types[CONFIG_TEXT_SIZE]; /* types with commas between */
    char record_poll_codes[CONFIG_TEXT_SIZE]; /* "" all */
    char record_poll_from[64];                /* date; "" from now on */
    int record_poll_overlap_s;                /* 150 */
    int record_poll_count;                    /* rows of a page; 200 */
    int record_poll_deletes_s;                /* 900 */
    int record_follow_s;                      /* 60 */
    int record_recheck_s;                     /* 21600 */
    bool record_subscribe;                    /* false */
    char record_hook_url[CONFIG_TEXT_SIZE];
    char record_hook_token_file[CONFIG_TEXT_SIZE];
    bool record_hook_payload; /* the record is to send the resource; false */
    int record_subscription_days; /* 30 */
    int record_bulk_every_h;      /* hours; 0 */
    char record_bulk_group[72];   /* "" all patients */
    /* [outbox] */
    int outbox_retry_first_ms; /* 1000; keys outbox.retry_first */
    int outbox_retry_last_ms;  /* 300000; outbox.retry_last */
    int outbox_parallel;       /* deliveries in flight; 8 */
    int outbox_unclear_tries;  /* answers 500 before it is put aside; 5 */
    /* [mllp]: messages of HL7 v2; a port alone opens the listener too, and
     * enabled = false shuts it, see config_listens_hl7 */
    bool mllp_enabled;                           /* false */
    char mllp_address[64];                       /* 127.0.0.1 */
    int mllp_port;                               /* 0 picks a free one */
    char mllp_tls_certificate[CONFIG_TEXT_SIZE]; /* PEM, chain; "" plain */
    char mllp_tls_key[CONFIG_TEXT_SIZE];         /* PEM */
    char mllp_tls_client_ca[CONFIG_TEXT_SIZE];   /* PEM; "" none is asked for */
    char mllp_tls_crl[CONFIG_TEXT_SIZE];         /* PEM; "" not looked at */
    char mllp_allow[CONFIG_TEXT_SIZE];           /* see mllp_allow.h; "" all */
    int mllp_frame_max;                          /* bytes; 1048576 */
    int mllp_connections_max;                    /* 256 */
    int mllp_idle_timeout_ms;                    /* 600000 */
    int mllp_message_timeout_ms;                 /* 30000 */
    int mllp_settle_ms;                          /* 500 */
    int mllp_keep_alive_s;                       /* 60; 0 none */
    char mllp_receiver[CONFIG_TEXT_SIZE]; /* MSH-5 that are ours; "" any */
    bool mllp_any_sender;                 /* false */
    /* [sender NAME], in the order of their first line */
    struct config_sender senders[CONFIG_SENDERS_MAX];
    int sender_count;
    /* [report]: the weekly page per unit, see report_files.h */
    char report_folder[CONFIG_TEXT_SIZE]; /* "" none */
    int report_weekday;                   /* 1 Monday .. 7 Sunday; 1 */
    int report_hour;                      /* at the site; 6 */
    int report_silent_d; /* a feed is silent after it; 0: by its habit */
    /* [drop]: files that are taken from a folder, see drop.h */
    char drop_folder[CONFIG_TEXT_SIZE]; /* "" none */
    int drop_settle_s;                  /* 5 */
    int drop_poll_s;                    /* 10 */
    bool drop_error_lines;              /* true */
    /* [log] */
    char log_level[8]; /* debug info warn error */
    /* [demo]: nothing here */
    /* Where it was said, for complaints: the file ("" none), and the line of
     * each setting in the order of its row; 0: it is the default. */
    char path[CONFIG_TEXT_SIZE];
    int lines[CONFIG_LINES_MAX];
};

/*
 * config_load - defaults, then the file (path may be NULL), then the
 * overrides ("section.key=value", count of them), in this order
 *
 * Relative paths in the file are relative to the file's folder; those of
 * overrides to the working directory.  store.path and policy.path that are
 * not set: "headgate.db" and "policy.ini" beside the configuration file.
 *
 * why  out: what is wrong and where, for a person: "config/x.ini:12:
 *      [http] port: 70000 is not between 0 and 65535"
 *
 * ERR_IO, ERR_CONFIG (unknown key, bad value, missing file of a map, settings
 * that contradict each other)
 */
MUST_CHECK enum err config_load(const char *path, const char *const *overrides,
                                int count, struct config *config,
                                struct buf *why);

/*
 * config_check_listener - what a service must have settled before it listens;
 * whoever asks another service, or runs past data, need not
 *
 * path  of the file, for why; NULL: none
 *
 * ERR_CONFIG  an anonymous listener that is not on loopback, no token file and
 *             not anonymous, or one without TLS that is not on loopback and not
 *             said to be meant so (http.plain)
 */
MUST_CHECK enum err config_check_listener(const struct config *config,
                                          const char *path, struct buf *why);

/*
 * config_say - a complaint about settings, with its place before it
 *
 * what  begins with the section and the key or keys: "[mllp] allow: ...",
 *       "[sender hall] charset: ..."
 * why   out: "x.ini:12: [mllp] allow: ..."; without the line if none of the
 *       keys is in the file, "--set: " if it was overridden, "settings: "
 *       without a file
 */
void config_say(const struct config *config, const char *what, struct buf *why);

/*
 * config_check_files - can the files of TLS be read, for HTTP, MLLP and the
 * record?
 *
 * why  out: which setting names one that cannot be, where, and the system's
 *      word for it
 * ERR_CONFIG
 */
MUST_CHECK enum err config_check_files(const struct config *config,
                                       struct buf *why);

/*
 * config_take_live - take over what may change while a service runs
 *
 * Such settings are copied from fresh to now; of all others that differ the
 * name is added to kept, one a line, and they stay.  Returns how many stay.
 */
int config_take_live(struct config *now, const struct config *fresh,
                     struct buf *kept);

/* Is there to be a listener for HL7 v2? */
bool config_listens_hl7(const struct config *config);

/* Write the reference file: every key with its help, range and default. */
void config_reference(struct buf *out);

#endif
