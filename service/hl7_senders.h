/*
 * hl7_senders - who sends HL7 v2, and what is known of each
 *
 * The profiles of the sections [sender NAME], with their zones.  A message is
 * of the one sender whose application and facility (MSH-3.1, MSH-4.1), where
 * the section names them, are those of the message, and whose certificate,
 * where it names one, its connection has proved.  No message can be of two
 * (the settings are refused then), unless one certificate bears several names;
 * then it is of none.
 *
 * Nothing changes after the opening: any thread may look.
 */
#ifndef HEADGATE_SERVICE_HL7_SENDERS_H
#define HEADGATE_SERVICE_HL7_SENDERS_H

#include "service/config.h"

struct hl7_senders;

/* Who is at the other end of a connection: does it bear this name? */
typedef bool (*hl7_bears_fn)(const void *arg, const char *name);

/* The head of a message, before it is taken apart, in the bytes that came. */
struct hl7_sender_head {
    char application[64], facility[64]; /* MSH-3.1, MSH-4.1; "" too long */
    char control[200];                  /* MSH-10 */
    bool too_long; /* application or facility is longer than any profile's */
};

/*
 * hl7_senders_open - by [sender NAME], site.zone and mllp.any_sender
 *
 * ERR_CONFIG  a zone or character set is not known: see why
 * ERR_MEMORY
 */
MUST_CHECK enum err hl7_senders_open(const struct config *config,
                                     struct hl7_senders **senders,
                                     struct buf *why);
void hl7_senders_close(struct hl7_senders *senders);

/* ERR_FORM: it does not begin with MSH and delimiters. */
MUST_CHECK enum err hl7_senders_peek(const char *bytes, size_t len,
                                     struct hl7_sender_head *head);

/*
 * hl7_senders_find - whose message is it?
 *
 * bears  NULL: it is known by other means that the sender may send (a token, a
 *        person); certificates do not count
 *
 * NULL: nobody's that is known; the profile "any" if mllp.any_sender is set
 * and none matches.
 */
const struct hl7_profile *hl7_senders_find(const struct hl7_senders *senders,
                                           const struct hl7_sender_head *head,
                                           hl7_bears_fn bears, const void *arg);

/* By the section's name, or "any" if that is set; NULL. */
const struct hl7_profile *hl7_senders_named(const struct hl7_senders *senders,
                                            const char *name);

/* Is this message for us (MSH-5.1)?  names: of mllp.receiver; "" any. */
bool hl7_receiver_is_ours(const char *names, const char *receiver);

#endif
