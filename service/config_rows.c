#include "service/config_rows.h"

#include "service/config.h"

#define AT(field)   offsetof(struct config, field)
#define ROOM(field) (sizeof(((struct config *)0)->field) - 1)

/* clang-format off: one row, one fact */
static const struct config_row rows[] = {
    /* key, type, where, least, most, default, unit, help */
    { "http.address", T_ADDRESS, AT(http_address), 1, ROOM(http_address),
      "127.0.0.1", "",
      "Address to listen on, in numbers; \"::\" takes IPv4 and IPv6 from "
      "everywhere." },
    { "http.port", T_INT, AT(http_port), 0, 65535, "8480", "",
      "Port to listen on; 0 picks a free one, which the ready line names." },
    { "http.tokens", T_PATH, AT(http_tokens), 0, ROOM(http_tokens), "", "",
      "File of the tokens that may be used, one \"name sha256-hex\" a line, "
      "with scopes behind if a client may not do everything. Needed, or "
      "http.jwt_keys, unless http.anonymous is true." },
    { "http.anonymous", T_BOOL, AT(http_anonymous), 0, 1, "false", "",
      "Serve without a token. Only on a loopback address." },
    { "http.jwt_keys", T_PATH, AT(http_jwt_keys), 0, ROOM(http_jwt_keys), "",
      "",
      "Key set (JWK Set, a JSON file) of the authorisation server whose "
      "signed access tokens (JWT; RS384, ES384) are taken. It is read again "
      "while the service runs. Empty: none are taken." },
    { "http.jwt_issuer", T_TEXT, AT(http_jwt_issuer), 0, ROOM(http_jwt_issuer),
      "", "", "Issuer (iss) that such a token must name, exactly." },
    { "http.jwt_audience", T_TEXT, AT(http_jwt_audience), 0,
      ROOM(http_jwt_audience), "", "",
      "Audience (aud) that such a token must name: this service, as the "
      "authorisation server knows it." },
    { "http.body_max", T_INT, AT(http_body_max), 1024, 8388608, "4194304",
      "bytes", "Longest body of a request; a longer one is answered 413." },
    { "http.bodies_max", T_INT, AT(http_bodies_max), 8388608, 1073741824,
      "67108864", "bytes",
      "All bodies together that are being received or not yet answered; of "
      "each what goes beyond 64 KiB counts. A large body for which there is no "
      "room is answered 503 with Retry-After." },
    { "http.connections_max", T_INT, AT(http_connections_max), 1, 10000, "256",
      "", "Connections at one time." },
    { "http.request_timeout", T_INT, AT(http_request_timeout_ms), 100, 3600000,
      "30000", "ms", "From the first byte of a request to its last." },
    { "http.idle_timeout", T_INT, AT(http_idle_timeout_ms), 100, 3600000,
      "60000", "ms", "How long a connection may stay without a request." },
    { "http.tls_certificate", T_PATH, AT(http_tls_certificate), 0,
      ROOM(http_tls_certificate), "", "",
      "Certificate of this service, and what leads to its root (PEM); with "
      "it HTTP is spoken by TLS 1.2 or 1.3 alone. Empty: plain." },
    { "http.tls_key", T_PATH, AT(http_tls_key), 0, ROOM(http_tls_key), "", "",
      "Private key of that certificate (PEM, without a password)." },
    { "http.tls_client", T_CHOICE, AT(http_tls_client), 0, 0, "off",
      "off asked required",
      "Whether clients are asked for a certificate. asked: one who has none is "
      "served too, for the time of a change. A certificate lets nobody in "
      "alone: a token is needed besides." },
    { "http.tls_client_ca", T_PATH, AT(http_tls_client_ca), 0,
      ROOM(http_tls_client_ca), "", "",
      "Authorities that sign the certificates of clients (PEM)." },
    { "http.tls_crl", T_PATH, AT(http_tls_crl), 0, ROOM(http_tls_crl), "", "",
      "Revocation lists (PEM, several in one file): one of each authority "
      "that a certificate of a client leads to, the root included; where one "
      "is missing or has run out, nobody of that authority connects. A new "
      "file counts without a restart. Empty: revocation is not looked at." },
    { "http.plain", T_BOOL, AT(http_plain), 0, 1, "false", "",
      "Listen beyond loopback without TLS: a TLS proxy stands in front, and "
      "nobody else reaches this address." },
    { "http.proxy", T_TEXT, AT(http_proxy), 0, ROOM(http_proxy), "", "",
      "Addresses and prefixes of proxies (10.0.0.7, 10.1.0.0/24), with commas "
      "between. What they say of the client counts (X-Forwarded-Proto, "
      "X-Forwarded-Host, X-Forwarded-For); of all others it does not." },
    { "http.connections_per_client", T_INT, AT(http_connections_per_client), 0,
      10000, "64", "",
      "Connections of one address at one time, of IPv6 of its first 64 bits: "
      "a quarter of http.connections_max or less, so that nobody takes every "
      "place. Those of http.proxy are not counted. 0: any number." },
    { "http.rate", T_INT, AT(http_rate), 0, 100000, "0", "requests a second",
      "Most requests of one client for long: by its token, or by its address "
      "if it has none. More are answered 429. 0: any number." },
    { "http.rate_burst", T_INT, AT(http_rate_burst), 1, 1000000, "100",
      "requests",
      "Requests that such a client may send at once after a "
      "pause." },
    { "http.failures_max", T_INT, AT(http_failures_max), 0, 100000, "60",
      "a minute",
      "False tokens of one address. More of them are answered 429; a token "
      "that is right always passes. 0: any number." },

    { "fhir.base", T_URL, AT(fhir_base), 1, ROOM(fhir_base),
      "https://headgate.example/fhir", "",
      "Canonical base of the code systems of this service. Choose it once: "
      "it stands in everything that is sent out." },
    { "fhir.entries_max", T_INT, AT(fhir_entries_max), 1, 100000, "5000", "",
      "Most entries of one Bundle." },
    { "fhir.strict_access", T_BOOL, AT(fhir_strict_access), 0, 1, "false", "",
      "Refuse a direct POST whose access is unclear, instead of keeping it "
      "for a person to sort out." },
    { "fhir.task_if_match", T_BOOL, AT(fhir_task_if_match), 0, 1, "false", "",
      "Refuse (428) a change of a Task that does not say with If-Match which "
      "version was changed, so that nobody overwrites what a colleague has "
      "just written." },

    { "site.zone", T_ZONE, AT(zone), 1, ROOM(zone), "UTC", "",
      "Time zone of the site, \"Europe/Berlin\": for times that come without "
      "one, and for dates." },
    { "site.language", T_TEXT, AT(language), 2, ROOM(language), "en", "",
      "Language of what people read on the worksheet and in the queue: en, de. "
      "What is not translated appears in English." },
    { "site.paper", T_CHOICE, AT(paper), 0, 0, "A4", "A4 letter",
      "Paper of the worksheet." },
    { "site.merge_implied", T_BOOL, AT(merge_implied), 0, 1, "true", "",
      "Let the first access that is reported for a patient take over what "
      "was kept under an implied one." },

    { "service.silent", T_BOOL, AT(silent), 0, 1, "false", "",
      "Silent mode, for a site that tries the rules out: everything is "
      "computed and kept, and nothing is posted. Tasks are not served and do "
      "not go to the record; headgate queue and headgate decisions show them. "
      "Tasks posted before stay served and are kept up to date here; the "
      "record gets the changes when silent mode ends. At the first start "
      "without it, what still holds is posted." },

    { "store.path", T_PATH, AT(store_path), 1, ROOM(store_path), "headgate.db",
      "", "The database. Not set: beside this file." },
    { "store.make", T_BOOL, AT(store_make), 0, 1, "true", "",
      "A store that is not there is made. Set it to false once there is one: "
      "where its disk is not mounted the service then does not start, instead "
      "of beginning with nothing, in which nobody is watched." },
    { "store.keep_outbox_days", T_INT, AT(keep_outbox_d), 0, 36500, "0", "d",
      "headgate store prune: days that deliveries of closed Tasks are kept "
      "after the last change of the Task. 0, here and below: for ever." },
    { "store.keep_decisions_days", T_INT, AT(keep_decisions_d), 0, 36500, "0",
      "d",
      "The same for decisions on what is closed. The last of each suggestion "
      "stays." },
    { "store.keep_quarantine_days", T_INT, AT(keep_quarantine_d), 0, 36500, "0",
      "d",
      "The same for what people or later messages have settled in quarantine. "
      "After 180 days it goes by itself." },
    { "store.keep_hl7_days", T_INT, AT(keep_hl7_d), 0, 36500, "0", "d",
      "The same for messages of HL7 v2 as they came; their readings stay. One "
      "that is sent again after that is read again." },
    { "store.keep_loads_days", T_INT, AT(keep_loads_d), 0, 36500, "0", "d",
      "The same for what is known of exports that were fetched (headgate fetch "
      "--bulk). The last one stays." },
    { "store.keep_readings_days", T_INT, AT(keep_readings_d), 0, 36500, "0",
      "d",
      "The same for readings. What the rules look back on (general.lookback_d "
      "of the policy), what an open suggestion rests on, and what was read at "
      "an access with a band stay whatever is set here." },

    { "policy.path", T_PATH, AT(policy_path), 1, ROOM(policy_path),
      "policy.ini", "",
      "The limits in force, approved by the site. Not set: beside this file." },

    { "codes.map", T_MAP, AT(maps), 0, CONFIG_TEXT_SIZE - 1, "", "",
      "Map of the site's own codes: a ConceptMap (.json) or a table (.csv). "
      "Repeat the line for each further map." },

    { "record.url", T_URL, AT(record_url), 0, ROOM(record_url), "", "",
      "FHIR base of the clinical record that gets the Tasks. Empty: none; "
      "the Task endpoint of this service is the queue." },
    { "record.token_file", T_PATH, AT(record_token_file), 0,
      ROOM(record_token_file), "", "",
      "File with the bearer token for the record. Not together with "
      "record.smart_client_id." },
    { "record.smart_client_id", T_TEXT, AT(record_smart_client_id), 0,
      ROOM(record_smart_client_id), "", "",
      "Name under which the record's authorisation server knows this service "
      "(SMART Backend Services): tokens are fetched with a signed statement. "
      "Empty: not so." },
    { "record.smart_key", T_PATH, AT(record_smart_key), 0,
      ROOM(record_smart_key), "", "",
      "File with the private key that signs, in PEM: RSA of 2048 bits or "
      "more (RS384), or of the curve P-384 (ES384). Its public part is served "
      "under /.well-known/jwks.json." },
    { "record.smart_key_next", T_PATH, AT(record_smart_key_next), 0,
      ROOM(record_smart_key_next), "", "",
      "File with the key that will follow; its public part is served already. "
      "To change keys, name it here, wait until the record has read the key "
      "set again, then name it in record.smart_key." },
    { "record.smart_scopes", T_TEXT, AT(record_smart_scopes), 0,
      ROOM(record_smart_scopes), "", "",
      "Scopes that are asked for, with a blank between; needed with "
      "smart_client_id. Tasks need system/Task.crus; finding what the record "
      "calls a patient and an access system/Patient.s and "
      "system/BodyStructure.s; reading measurements system/Observation.rs; "
      "what goes beside a Task system/Provenance.cs, "
      "system/DocumentReference.crus and the like, see RECORD.md." },
    { "record.smart_token_url", T_URL, AT(record_smart_token_url), 0,
      ROOM(record_smart_token_url), "", "",
      "Token address of the authorisation server. Empty: the one that the "
      "record names in .well-known/smart-configuration, which must then be on "
      "the record's own host. Named here, it may be anywhere." },
    { "record.timeout", T_INT, AT(record_timeout_ms), 100, 600000, "15000",
      "ms", "How long an answer of the record may take." },
    { "record.tls_ca", T_PATH, AT(record_tls_ca), 0, ROOM(record_tls_ca), "",
      "",
      "Authorities that sign the certificate of the record and of its "
      "authorisation server (PEM), in place of those of the system. Empty: "
      "those of the system." },
    { "record.tls_certificate", T_PATH, AT(record_tls_certificate), 0,
      ROOM(record_tls_certificate), "", "",
      "Certificate by which this service proves itself to the record (PEM). "
      "Empty: none." },
    { "record.tls_key", T_PATH, AT(record_tls_key), 0, ROOM(record_tls_key), "",
      "", "Private key of that certificate (PEM, without a password)." },
    { "record.documents", T_BOOL, AT(record_documents), 0, 1, "true", "",
      "Beside a Task with a band plan, make a DocumentReference of it: the "
      "plan as a text to read, and as data. It is renewed with the plan, and "
      "marked as superseded when the plan is withdrawn." },
    { "record.worksheet", T_BOOL, AT(record_worksheet), 0, 1, "true", "",
      "With it, in the same DocumentReference, the worksheet: plan and history "
      "on one page, PDF." },
    { "record.document_max", T_INT, AT(record_document_max), 1024, 1048576,
      "262144", "bytes",
      "Most bytes of a document. Beyond it the data are left out first, then "
      "the worksheet; where the text alone is too long there is no document, "
      "and a note in the Task says so." },
    { "record.service_request", T_BOOL, AT(record_service_request), 0, 1,
      "false", "",
      "Make a ServiceRequest of each new Task: a draft and a proposal, never "
      "an order. It becomes the focus of the Task, for records that show only "
      "Tasks on a request; the access is then an input of the Task." },
    { "record.flag", T_BOOL, AT(record_flag), 0, 1, "false", "",
      "Put a Flag on the patient's chart while a suggestion on high flow, on "
      "the hand or after a band stands. It ends with the finding, or when a "
      "person ends the Task." },
    { "record.narrative", T_BOOL, AT(record_narrative), 0, 1, "true", "",
      "Write what a Task says also as its narrative (Task.text), for records "
      "that show narratives. Once somebody has taken a Task in hand, a "
      "narrative that is not of headgate is left alone." },
    { "record.provenance", T_BOOL, AT(record_provenance), 0, 1, "true", "",
      "Beside each new Task, make a Provenance: the readings that it rests on, "
      "with their versions, the rule and the policy." },
    { "record.unit_list", T_BOOL, AT(record_unit_list), 0, 1, "false", "",
      "Keep a List of each dialysis unit in the record: for whom a suggestion "
      "or a reminder is open, why and since when. It is served at /fhir/List "
      "in any case." },
    { "record.unit_list_pause", T_INT, AT(record_unit_list_pause_s), 1, 3600,
      "60", "s",
      "Least time between two versions of such a list, here and in the "
      "record." },

    { "record.poll", T_INT, AT(record_poll_s), 0, 86400, "0", "s",
      "How often the record is asked for readings that are new or changed. "
      "0: not by itself; a call of the record (POST /hook) asks at once." },
    { "record.poll_types", T_TEXT, AT(record_poll_types), 1,
      ROOM(record_poll_types), "Patient,BodyStructure,Observation", "",
      "Types that are asked for, in this order. People and accesses first: "
      "what is measured refers to them." },
    { "record.poll_codes", T_TEXT, AT(record_poll_codes), 0,
      ROOM(record_poll_codes), "", "",
      "Codes of the Observations that are asked for, \"system|code\" with "
      "commas between. Empty: all; then everything that the record measures "
      "is kept here, so name the codes where it holds much else." },
    { "record.poll_from", T_TEXT, AT(record_poll_from), 0,
      ROOM(record_poll_from), "", "",
      "Date of the record's own clock from which the first poll reads what "
      "changed. Empty: from the first start on." },
    { "record.poll_overlap", T_INT, AT(record_poll_overlap_s), 0, 86400, "150",
      "s",
      "How far each poll reaches back before the newest that is known: what a "
      "record finishes late carries an earlier time. What is known already "
      "costs a row of an answer and nothing else." },
    { "record.poll_count", T_INT, AT(record_poll_count), 1, 5000, "200", "",
      "Resources that are asked for in one answer." },
    { "record.poll_deletes", T_INT, AT(record_poll_deletes_s), 0, 86400, "900",
      "s",
      "How often the record's history is asked for Observations that were "
      "deleted, where it offers that; they are then withdrawn here. 0: never; "
      "then only entered-in-error withdraws." },
    { "record.follow", T_INT, AT(record_follow_s), 0, 86400, "60", "s",
      "How often the record is asked which of our Tasks somebody changed. "
      "0: never; decisions made there are then seen late, or not at all." },
    { "record.recheck", T_INT, AT(record_recheck_s), 60, 604800, "21600", "s",
      "After which time an open Task is read there though nothing has shown a "
      "change: a search does not show what was deleted." },
    { "record.subscribe", T_BOOL, AT(record_subscribe), 0, 1, "false", "",
      "Ask the record to call this service when there is something new (a "
      "Subscription with a rest-hook). Polls stay needed: calls get lost." },
    { "record.hook_url", T_URL, AT(record_hook_url), 0, ROOM(record_hook_url),
      "", "",
      "Address under which the record reaches this service, with /hook at "
      "its end." },
    { "record.hook_token_file", T_PATH, AT(record_hook_token_file), 0,
      ROOM(record_hook_token_file), "", "",
      "File with the bearer token that the record is to send with its calls; "
      "one of http.tokens with the scope headgate/hook.u. The record keeps it "
      "in the Subscription." },
    { "record.hook_payload", T_BOOL, AT(record_hook_payload), 0, 1, "false", "",
      "Ask the record to send the resource with its call. Else it only calls, "
      "and is polled then." },
    { "record.subscription_days", T_INT, AT(record_subscription_days), 1, 3650,
      "30", "days",
      "How long a Subscription is asked for; it is renewed when half of that "
      "is over." },
    { "record.bulk_every", T_INT, AT(record_bulk_every_h), 0, 8784, "0",
      "hours",
      "How often everything that changed is exported from the record (Bulk "
      "Data). 0: only by headgate fetch --bulk." },
    { "record.bulk_group", T_TEXT, AT(record_bulk_group), 0,
      ROOM(record_bulk_group), "", "",
      "Id of the Group at the record whose members are exported. Empty: all "
      "patients." },

    { "outbox.retry_first", T_INT, AT(outbox_retry_first_ms), 10, 600000,
      "1000", "ms",
      "Wait before the first retry; doubles up to outbox.retry_last." },
    { "outbox.retry_last", T_INT, AT(outbox_retry_last_ms), 10, 86400000,
      "300000", "ms", "Longest wait between two tries." },
    { "outbox.parallel", T_INT, AT(outbox_parallel), 1, 64, "8", "",
      "Deliveries under way at one time." },
    { "outbox.unclear_tries", T_INT, AT(outbox_unclear_tries), 1, 100, "5", "",
      "Unclear answers in a row (409, 412, 500, or no Task where one is due) "
      "before a Task is put aside until the next start of the service. The "
      "waits between them grow from a minute to two hours." },

    { "mllp.enabled", T_BOOL, AT(mllp_enabled), 0, 1, "false", "",
      "Listen for messages of HL7 v2 (ORU^R01) over MLLP. Where this is not "
      "given, a port other than 0 says the same; false switches it off "
      "whatever the port is. MLLP knows no password: who may send is settled "
      "by the "
      "address, by allow, by client certificates, and by the sections "
      "[sender NAME] below." },
    { "mllp.address", T_ADDRESS, AT(mllp_address), 1, ROOM(mllp_address),
      "127.0.0.1", "",
      "Address to listen on, in numbers; \"::\" takes IPv4 and IPv6 from "
      "everywhere. Beyond loopback only together with allow, or with "
      "tls_client_ca." },
    { "mllp.port", T_INT, AT(mllp_port), 0, 65535, "0", "",
      "Port to listen on; 2575 is registered for HL7. 0 with enabled = true "
      "picks a free one, which is named before the ready line." },
    { "mllp.tls_certificate", T_PATH, AT(mllp_tls_certificate), 0,
      ROOM(mllp_tls_certificate), "", "",
      "File with the certificate of this service and its chain, in PEM. "
      "Empty: connections are not encrypted." },
    { "mllp.tls_key", T_PATH, AT(mllp_tls_key), 0, ROOM(mllp_tls_key), "", "",
      "File with the private key of that certificate, in PEM." },
    { "mllp.tls_client_ca", T_PATH, AT(mllp_tls_client_ca), 0,
      ROOM(mllp_tls_client_ca), "", "",
      "File with the certificates, in PEM, that sign those of the senders. "
      "With it a sender without a certificate gets no connection." },
    { "mllp.tls_crl", T_PATH, AT(mllp_tls_crl), 0, ROOM(mllp_tls_crl), "", "",
      "File with the revocation lists, in PEM, of the authorities in "
      "tls_client_ca and of all between these and a sender: a certificate "
      "that is on one gets no connection, nor does one of whose authorities "
      "any has no list in it, or one that has run out. "
      "A changed file is read with the next connection. Empty: revocation is "
      "not looked at." },
    { "mllp.allow", T_TEXT, AT(mllp_allow), 0, ROOM(mllp_allow), "", "",
      "Addresses that may connect, with commas between: 10.20.0.0/16, "
      "192.0.2.7, 2001:db8::/32. Empty: all." },
    { "mllp.frame_max", T_INT, AT(mllp_frame_max), 1024, 1048576, "1048576",
      "bytes", "Longest message; a longer one is answered AR and dropped." },
    { "mllp.connections_max", T_INT, AT(mllp_connections_max), 1, 10000, "256",
      "", "Connections at one time." },
    { "mllp.idle_timeout", T_INT, AT(mllp_idle_timeout_ms), 100, 86400000,
      "600000", "ms",
      "How long a connection may stay without a message; then it is closed, "
      "and a sender connects again with its next message." },
    { "mllp.message_timeout", T_INT, AT(mllp_message_timeout_ms), 100, 3600000,
      "30000", "ms",
      "From the first byte of a message to its last, for the greeting of TLS, "
      "and for taking an answer." },
    { "mllp.settle", T_INT, AT(mllp_settle_ms), 10, 60000, "500", "ms",
      "A message whose last byte (CR behind the end mark) has not come is "
      "taken as whole after so long without another." },
    { "mllp.keep_alive", T_INT, AT(mllp_keep_alive_s), 0, 86400, "60", "s",
      "After how long without traffic the system asks whether the other side "
      "is still there (TCP keep-alive). 0: never." },
    { "mllp.receiver", T_TEXT, AT(mllp_receiver), 0, ROOM(mllp_receiver), "",
      "",
      "Names by which senders call this service (MSH-5), with commas between; "
      "a message for another receiver is answered AR. Empty: any." },
    { "mllp.any_sender", T_BOOL, AT(mllp_any_sender), 0, 1, "false", "",
      "Take messages of senders that no section [sender NAME] describes, under "
      "the name \"any\", by what [sender any] says, or by the defaults of "
      "such a section." },

    { "drop.folder", T_PATH, AT(drop_folder), 0, ROOM(drop_folder), "", "",
      "Folder whose files are taken: NDJSON, Bundles, resources, files of "
      "HL7 v2. A file in FOLDER/NAME is of the sender NAME ([sender NAME] for "
      "HL7 v2). It is moved to taken, then to done, or to failed if anything "
      "in it was refused. Nothing is deleted. Empty: none." },
    { "drop.settle", T_INT, AT(drop_settle_s), 0, 3600, "5", "s",
      "How long a file must not have changed before it is taken. Better than "
      "to rely on it: write under a name that ends in .part, then rename." },
    { "drop.poll", T_INT, AT(drop_poll_s), 1, 86400, "10", "s",
      "How often the folder is looked into." },
    { "drop.error_lines", T_BOOL, AT(drop_error_lines), 0, 1, "true", "",
      "Beside a file in failed, list what was refused of it, one "
      "OperationOutcome a line (FILE.errors.ndjson)." },

    { "report.folder", T_PATH, AT(report_folder), 0, ROOM(report_folder), "",
      "",
      "Folder into which a page is written each week for each unit: what of "
      "its data could not be used, why, and what would mend it. There is "
      "nothing of a patient in it. Empty: none; headgate report shows the "
      "same." },
    { "report.weekday", T_INT, AT(report_weekday), 1, 7, "1", "",
      "Day on which the page of the week before is written: 1 is Monday." },
    { "report.hour", T_INT, AT(report_hour), 0, 23, "6", "h",
      "Hour of that day, at the site, from which on it is written." },
    { "report.silent_days", T_INT, AT(report_silent_d), 0, 120, "0", "d",
      "Days without data after which a feed is said to be silent (headgate "
      "queue, metrics, log). 0: a quarter more than the longest pause that "
      "this feed usually makes." },

    { "log.level", T_LEVEL, AT(log_level), 1, ROOM(log_level), "info", "",
      "Least level that is written: debug, info, warn or error. debug: a line "
      "for each request, message, poll and delivery, without patients." },
};
/* clang-format on */

_Static_assert(COUNT(rows) <= CONFIG_ROWS_MAX, "raise CONFIG_ROWS_MAX");

const struct config_row *config_rows(size_t *count)
{
    *count = COUNT(rows);
    return rows;
}
