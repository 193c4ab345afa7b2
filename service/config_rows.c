#include "service/config_rows.h"

#include "service/config.h"

#include <string.h>

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
      "File of the tokens that may be used, one \"name sha256-hex\" a line. "
      "Needed unless http.anonymous is true." },
    { "http.anonymous", T_BOOL, AT(http_anonymous), 0, 1, "false", "",
      "Serve without a token. Only on a loopback address." },
    { "http.body_max", T_INT, AT(http_body_max), 1024, 8388608, "4194304",
      "bytes", "Longest body of a request; a longer one is answered 413." },
    { "http.connections_max", T_INT, AT(http_connections_max), 1, 10000, "256",
      "", "Connections at one time." },
    { "http.request_timeout", T_INT, AT(http_request_timeout_ms), 100, 3600000,
      "30000", "ms", "From the first byte of a request to its last." },
    { "http.idle_timeout", T_INT, AT(http_idle_timeout_ms), 100, 3600000,
      "60000", "ms", "How long a connection may stay without a request." },

    { "fhir.base", T_URL, AT(fhir_base), 1, ROOM(fhir_base),
      "https://headgate.example/fhir", "",
      "Canonical base of the code systems of this service. Choose it once: "
      "it stands in everything that is sent out." },
    { "fhir.entries_max", T_INT, AT(fhir_entries_max), 1, 100000, "5000", "",
      "Most entries of one Bundle." },
    { "fhir.strict_access", T_BOOL, AT(fhir_strict_access), 0, 1, "false", "",
      "Refuse a direct POST whose access is unclear, instead of keeping it "
      "for a person to sort out." },

    { "site.zone", T_ZONE, AT(zone), 1, ROOM(zone), "UTC", "",
      "Time zone of the site, \"Europe/Berlin\": for times that come without "
      "one, and for dates." },
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

    { "policy.path", T_PATH, AT(policy_path), 1, ROOM(policy_path),
      "policy.ini", "",
      "The limits in force, approved by the site. Not set: beside this file." },

    { "codes.map", T_MAP, AT(maps), 0, CONFIG_TEXT_SIZE - 1, "", "",
      "ConceptMap of the site's own codes, a JSON file. Repeat the line for "
      "each further map." },

    { "record.url", T_URL, AT(record_url), 0, ROOM(record_url), "", "",
      "FHIR base of the clinical record that gets the Tasks. Empty: none; "
      "the Task endpoint of this service is the queue." },
    { "record.token_file", T_PATH, AT(record_token_file), 0,
      ROOM(record_token_file), "", "",
      "File with the bearer token for the record." },
    { "record.timeout", T_INT, AT(record_timeout_ms), 100, 600000, "15000",
      "ms", "How long an answer of the record may take." },

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
      "Reserved for HL7 v2 messages. This version does not listen for them: "
      "true is refused." },
    { "mllp.port", T_INT, AT(mllp_port), 0, 65535, "0", "",
      "Reserved, the port for HL7 v2 messages. This version does not listen "
      "for them: a port other than 0 is refused." },

    { "log.level", T_LEVEL, AT(log_level), 1, ROOM(log_level), "info", "",
      "Least level that is written: debug, info, warn or error." },
};
/* clang-format on */

_Static_assert(COUNT(rows) <= CONFIG_ROWS_MAX, "raise CONFIG_ROWS_MAX");

const struct config_row *config_rows(size_t *count)
{
    *count = COUNT(rows);
    return rows;
}

enum { COMMENT_COLUMNS = 78 };

/* Help as comment lines of limited width. */
static void write_comment(struct buf *out, const char *text)
{
    size_t column = 0;

    while (*text != '\0') {
        size_t len = strcspn(text, " ");

        if (column > 0 && column + 1 + len > COMMENT_COLUMNS) {
            buf_puts(out, "\n");
            column = 0;
        }
        buf_puts(out, column == 0 ? "; " : " ");
        buf_add(out, text, len);
        column += len + (column == 0 ? 2 : 1);
        text += len;
        text += strspn(text, " ");
    }
    buf_puts(out, "\n");
}

static void write_form(struct buf *out, const struct config_row *row)
{
    switch (row->type) {
    case T_INT:
        buf_printf(out, "; %ld to %ld%s%s\n", row->least, row->most,
                   row->unit[0] != '\0' ? " " : "", row->unit);
        break;
    case T_BOOL:
        buf_puts(out, "; true or false\n");
        break;
    case T_PATH:
    case T_MAP:
    case T_URL:
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        break;
    }
}

void config_reference(struct buf *out)
{
    size_t before = 0; /* length of the section that is open */

    write_comment(out, "All settings of headgate. Each line that is commented "
                       "out shows the default; remove the \";\" before it to "
                       "change it.");
    write_comment(out, "Relative paths start at the folder of this file. Any "
                       "setting can also be given on the command line: --set "
                       "section.key=value");
    for (size_t i = 0; i < COUNT(rows); i++) {
        const struct config_row *row = &rows[i];
        size_t len = strcspn(row->key, ".");

        if (i == 0 || len != before ||
            memcmp(rows[i - 1].key, row->key, len) != 0)
            buf_printf(out, "\n[%.*s]\n", (int)len, row->key);
        else
            buf_puts(out, "\n");
        before = len;
        write_comment(out, row->help);
        write_form(out, row);
        buf_printf(out, ";%s =%s%s\n", row->key + len + 1,
                   row->fallback[0] != '\0' ? " " : "", row->fallback);
    }
}
