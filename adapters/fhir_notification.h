/*
 * fhir_notification - what a server tells a subscriber: handshake, heartbeat,
 * events
 *
 * A Bundle whose first entry is the state of a Subscription: Parameters in R4,
 * SubscriptionStatus in R4B and R5.  Counters are strings in R4, and strings
 * or numbers elsewhere.  What goes with it (none, ids, whole resources) stands
 * in the focus of the events and in the further entries.
 *
 * Source: HL7 Subscriptions R5 Backport 1.1.0 (hl7.fhir.uv.subscriptions-
 * backport), profiles backport-subscription-status-r4, -notification-r4 and
 * -notification; HL7 FHIR R5, subscriptionstatus.html.
 */
#ifndef HEADGATE_ADAPTERS_FHIR_NOTIFICATION_H
#define HEADGATE_ADAPTERS_FHIR_NOTIFICATION_H

#include "adapters/fhir_page.h"

enum notification_type {
    NOTIFICATION_HANDSHAKE,
    NOTIFICATION_HEARTBEAT,
    NOTIFICATION_EVENT,
    NOTIFICATION_QUERY_STATUS,
    NOTIFICATION_QUERY_EVENT,
    NOTIFICATION_TYPE_COUNT
};

enum { NOTIFICATION_EVENTS_MAX = 1000 };

struct notification_event {
    int64_t number;    /* -1: not said */
    const char *focus; /* "Observation/7", or a whole URL; NULL: not said */
};

struct fhir_notification {
    enum notification_type type;
    const char *subscription; /* reference; NULL: not said */
    const char *status;       /* "active", "error" ...; NULL: not said */
    int64_t events;           /* since the Subscription began; -1: not said */
    struct notification_event list[NOTIFICATION_EVENTS_MAX];
    size_t count;
};

/*
 * fhir_notification_read - of a page that has been read
 *
 * Strings are borrowed from the page.
 *
 * ERR_ABSENT  it is no notification
 * ERR_FORM    its first entry is the state of a Subscription, but does not say
 *             what it is for
 * ERR_LIMIT   more than NOTIFICATION_EVENTS_MAX events
 */
MUST_CHECK enum err fhir_notification_read(const struct fhir_page *page,
                                           struct fhir_notification *out);

/* The first event that this one does not tell of, though it has happened:
 * known is how many were known before, -1 none; -1: nothing is missing. */
int64_t fhir_notification_gap(const struct fhir_notification *n, int64_t known);

#endif
