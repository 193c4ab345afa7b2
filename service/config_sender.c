/* [mllp] and [sender NAME]: the rows of a sender, and what must fit together. */
#include "service/config_work.h"

#include "service/mllp_allow.h"

#include <stdio.h>
#include <string.h>

enum { SENDER_NAME_MAX = 40 };

#define AT(field)   offsetof(struct config_sender, field)
#define ROOM(field) (sizeof(((struct config_sender *)0)->field) - 1)

/* clang-format off: one row, one fact */
static const struct config_row rows[] = {
    /* key, type, where, least, most, default, words, help */
    { "application", T_TEXT, AT(profile.application), 0,
      ROOM(profile.application), "", "",
      "Sending application, the first component of MSH-3. Empty: any." },
    { "facility", T_TEXT, AT(profile.facility), 0, ROOM(profile.facility), "",
      "", "Sending facility, the first component of MSH-4. Empty: any." },
    { "certificate", T_TEXT, AT(certificate), 0, ROOM(certificate), "", "",
      "Name (common name, or DNS name among the alternative ones) in the "
      "certificate that the sender must show; needs mllp.tls_client_ca. A "
      "section without application, facility and certificate matches no "
      "message; it can be named with POST /hl7 and for files." },
    { "unit", T_TEXT, AT(profile.unit), 0, ROOM(profile.unit), "", "",
      "Unit whose patients these are, for people. Empty: the section's name." },
    { "charset", T_TEXT, AT(profile.charset), 0, ROOM(profile.charset), "", "",
      "Character set of messages that name none in MSH-18, as in HL7 table "
      "0211: 8859/1, UNICODE UTF-8. Empty: ASCII; other bytes are then "
      "quarantined, never guessed." },
    { "zone", T_ZONE, AT(zone), 0, ROOM(zone), "", "",
      "Time zone of the sender's clocks, for times without one. Empty: "
      "site.zone." },
    { "patient_system", T_URI, AT(profile.patient_system), 0,
      ROOM(profile.patient_system), "", "",
      "URI of the patient numbers in PID-3, the same that the record uses for "
      "them. Empty: they are numbers of this sender alone, each authority's "
      "(PID-3.4) apart, and without one and without facility each hall's "
      "(MSH-3, MSH-4)." },
    { "patient_authority", T_TEXT, AT(profile.patient_authority), 0,
      ROOM(profile.patient_authority), "", "",
      "Which of several numbers in PID-3 counts: its assigning authority "
      "(PID-3.4). Empty: any; headgate check then says what comes of it." },
    { "patient_type", T_TEXT, AT(profile.patient_type), 0,
      ROOM(profile.patient_type), "", "",
      "The same: its type (PID-3.5), MR or PI. Empty: any." },
    { "access", T_CHOICE, AT(profile.access_field), 0, 0, "none",
      "none OBX-4 OBX-20 OBR-15",
      "Field in which the sender names the access. A path within a machine "
      "in OBX-4 (1.0.0.1) names none." },
    { "access_system", T_URI, AT(profile.access_system), 0,
      ROOM(profile.access_system), "", "",
      "URI of the access numbers in that field. Empty: the field says a body "
      "site, \"left arm\"." },
    { "system", T_SYSTEM, AT(profile), 1, HL7_PROFILE_TEXT - 1, "", "",
      "system.NAME = URI: what the sender means by a coding system that it "
      "calls NAME (OBX-3.3 and the like), for L and 99... above all. Up to 16 "
      "of them. LN, SCT, MDC, UCUM are known." },
    { "numbers_in_text", T_BOOL, AT(profile.numbers_in_text), 0, 1, "false", "",
      "Take a text value (ST, TX) that is nothing but a number, with its unit "
      "in OBX-6, as that number." },
    { "accept_test", T_BOOL, AT(profile.accept_test), 0, 1, "false", "",
      "Take messages that are marked as training or debugging (MSH-11 T, D)." },
    { "bad_content", T_CHOICE, AT(profile.bad_content), 0, 0, "AE", "AE AA AR",
      "What a message with bad content is answered, once it stands in "
      "quarantine. AE is the standard's word; choose AA where the sender "
      "would send the same again and again, AR where it keeps only what was "
      "rejected." },
};
/* clang-format on */

_Static_assert(COUNT(rows) <= CONFIG_SENDER_ROWS_MAX,
               "raise CONFIG_SENDER_ROWS_MAX");

const struct config_row *config_sender_rows(size_t *count)
{
    *count = COUNT(rows);
    return rows;
}

/* All of it is comment: a section that is there describes somebody. */
void config_sender_reference(struct buf *out)
{
    buf_puts(out, "\n");
    config_write_comment(
        out, "Senders of HL7 v2, up to 64 of them, each in a section of its "
             "own with a name of 1 to 40 letters, digits, \"-\" and \"_\". "
             "[sender any] is about those that no other section describes, "
             "where mllp.any_sender lets them in. What a section may say, with "
             "the defaults:");
    buf_puts(out, ";\n; [sender NAME]\n");
    for (size_t i = 0; i < COUNT(rows); i++) {
        buf_puts(out, ";\n");
        config_write_comment(out, rows[i].help);
        config_write_form(out, &rows[i]);
        if (rows[i].type != T_SYSTEM)
            buf_printf(out, "; %s =%s%s\n", rows[i].key,
                       rows[i].fallback[0] != '\0' ? " " : "",
                       rows[i].fallback);
    }
    buf_puts(out, ";\n; An example:\n"
                  ";\n"
                  "; [sender hall-north]\n"
                  "; application = DIALYSIS\n"
                  "; facility = NORTH\n"
                  "; unit = Dialysis North\n"
                  "; charset = 8859/1\n"
                  "; zone = Europe/Berlin\n"
                  "; patient_system = https://site.example/ids/patient\n"
                  "; patient_type = MR\n"
                  "; access = OBX-4\n"
                  "; access_system = https://site.example/ids/access\n"
                  "; system.L = https://site.example/codes/north\n");
}

/* ---- reading -------------------------------------------------------------- */

static const char sender_word[] = "sender ";

/* The section is one of a sender; *name is what follows. */
bool config_is_sender(const char *section, const char **name)
{
    size_t len = sizeof(sender_word) - 1;

    if (strncmp(section, sender_word, len) != 0)
        return false;
    *name = section + len;
    return true;
}

static const struct config_row *find_sender_row(const char *key, size_t *at)
{
    for (*at = 0; *at < COUNT(rows); (*at)++) {
        size_t len = strlen(rows[*at].key);

        if (rows[*at].type != T_SYSTEM
                ? strcmp(rows[*at].key, key) == 0
                : strncmp(rows[*at].key, key, len) == 0 && key[len] == '.' &&
                      key[len + 1] != '\0')
            return &rows[*at];
    }
    return NULL;
}

static enum err complain_sender(const struct config_reader *l, int line,
                                const char *section, const char *key,
                                const char *what)
{
    if (l->path != NULL)
        buf_printf(l->why, "%s:%d: ", l->path, line);
    else
        buf_puts(l->why, "--set: ");
    buf_printf(l->why, "[%.64s]%s%.80s: %s", section, key[0] != '\0' ? " " : "",
               key, what);
    return ERR_CONFIG;
}

/* The sender of this name, made with its defaults if new. */
static enum err open_sender(struct config_reader *l, int line,
                            const char *section, const char *name, int *index)
{
    struct config *c = l->config;
    size_t len = strlen(name);
    enum err e = ERR_OK;

    for (*index = 0; *index < c->sender_count; (*index)++) {
        if (strcmp(c->senders[*index].profile.name, name) == 0)
            return ERR_OK;
    }
    /* The INI library cuts a section's name at 49 characters. */
    if (len == 0 || len > SENDER_NAME_MAX ||
        strspn(name, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                     "0123456789-_") != len)
        return complain_sender(l, line, section, "",
                               "a sender's name has 1 to 40 letters, digits, "
                               "\"-\" and \"_\"");
    if (c->sender_count == CONFIG_SENDERS_MAX)
        return complain_sender(l, line, section, "", "is one sender too many");
    c->sender_count++;
    snprintf(c->senders[*index].profile.name,
             sizeof(c->senders[*index].profile.name), "%s", name);
    for (size_t i = 0; e == ERR_OK && i < COUNT(rows); i++) {
        l->base = &c->senders[*index];
        if (rows[i].type != T_SYSTEM)
            e = config_set(l, line, &rows[i], rows[i].fallback);
    }
    return e;
}

enum err config_set_sender(struct config_reader *l, int line,
                           const char *section, const char *name,
                           const char *key, const char *value)
{
    const struct config_row *row;
    size_t at;
    int index;
    enum err e;

    l->section = section;
    row = find_sender_row(key, &at);
    e = row == NULL
            ? complain_sender(l, line, section, key, "there is no such setting")
            : open_sender(l, line, section, name, &index);
    if (e == ERR_OK && row->type != T_SYSTEM && l->path != NULL &&
        l->sender_seen[index][at])
        e = config_refuse(l, line, row, "", "is given twice");
    if (e == ERR_OK) {
        l->sender_seen[index][at] = true;
        l->config->senders[index].lines[at] =
            l->path != NULL ? line : CONFIG_OVERRIDDEN;
        l->base = &l->config->senders[index];
        l->name = row->type == T_SYSTEM ? strchr(key, '.') + 1 : NULL;
        e = config_set(l, line, row, value);
    }
    l->base = l->config;
    l->section = l->name = NULL;
    return e;
}

/* "sender NAME.key=value" */
enum err config_override_sender(struct config_reader *l, const char *text,
                                size_t len)
{
    size_t dot = strcspn(text, ".");
    char section[64], key[64];

    if (dot >= len || dot >= sizeof(section) || len - dot > sizeof(key)) {
        buf_printf(l->why, "--set: %.80s: there is no such setting", text);
        return ERR_CONFIG;
    }
    snprintf(section, sizeof(section), "%.*s", (int)dot, text);
    snprintf(key, sizeof(key), "%.*s", (int)(len - dot - 1), text + dot + 1);
    return config_set_sender(l, 0, section, section + sizeof(sender_word) - 1,
                             key, text + len + 1);
}

/* ---- what must fit together ------------------------------------------------ */

/* Was this setting given, in the file or after it? */
static bool is_given(const struct config *c, const char *key)
{
    size_t count;
    const struct config_row *all = config_rows(&count);

    for (size_t i = 0; i < count; i++) {
        if (strcmp(all[i].key, key) == 0)
            return c->lines[i] != 0;
    }
    return false;
}

bool config_listens_hl7(const struct config *c)
{
    return c->mllp_enabled ||
           (c->mllp_port != 0 && !is_given(c, "mllp.enabled"));
}

static const char *check_listener(const struct config *c)
{
    bool tls = c->mllp_tls_certificate[0] != '\0';
    bool mutual = c->mllp_tls_client_ca[0] != '\0';

    if (tls != (c->mllp_tls_key[0] != '\0'))
        return "[mllp] tls_certificate and tls_key: each needs the other";
    if (mutual && !tls)
        return "[mllp] tls_client_ca: needs tls_certificate and tls_key";
    if (c->mllp_tls_crl[0] != '\0' && !mutual)
        return "[mllp] tls_crl: needs tls_client_ca, or nobody is asked for a "
               "certificate";
    if (config_listens_hl7(c) && !config_is_loopback(c->mllp_address) &&
        !mutual && strspn(c->mllp_allow, ", \t") == strlen(c->mllp_allow))
        return "[mllp] address: beyond loopback only with allow, or with "
               "tls_client_ca; MLLP knows no password";
    return NULL;
}

/* Two texts that one sender may have: equal, or one of them says nothing. */
static bool meet(const char *a, const char *b)
{
    return a[0] == '\0' || b[0] == '\0' || strcmp(a, b) == 0;
}

/* By name alone. */
static bool matches_nobody(const struct config_sender *s)
{
    return s->profile.application[0] == '\0' &&
           s->profile.facility[0] == '\0' && s->certificate[0] == '\0';
}

static const char *check_sender(const struct config *c, int i, char *room,
                                size_t size)
{
    const struct config_sender *s = &c->senders[i];

    if (strcmp(s->profile.name, "any") == 0 && !matches_nobody(s))
        return "[sender any] application, facility, certificate: it is about "
               "those that no other section describes";
    if (s->certificate[0] != '\0' && c->mllp_tls_client_ca[0] == '\0') {
        snprintf(room, size,
                 "[sender %s] certificate: needs mllp.tls_client_ca, or nobody "
                 "is asked for one",
                 s->profile.name);
        return room;
    }
    for (int k = 0; k < i; k++) {
        const struct config_sender *t = &c->senders[k];

        if (matches_nobody(s) || matches_nobody(t) ||
            !meet(s->profile.application, t->profile.application) ||
            !meet(s->profile.facility, t->profile.facility) ||
            !meet(s->certificate, t->certificate))
            continue;
        snprintf(room, size,
                 "[sender %s] application: a message may be both of this "
                 "sender and of [sender %s]; tell them apart by application, "
                 "facility or certificate",
                 s->profile.name, t->profile.name);
        return room;
    }
    return NULL;
}

const char *config_check_hl7(const struct config *c, char *room, size_t size)
{
    const char *what = check_listener(c), *bad = "";
    struct mllp_allow allow;
    enum err e;

    if (what != NULL)
        return what;
    e = mllp_allow_read(c->mllp_allow, &allow, &bad);
    if (e != ERR_OK) {
        snprintf(room, size, "[mllp] allow: %.*s %s",
                 (int)strcspn(bad, ", \t") % 80, bad,
                 e == ERR_LIMIT ? "is one address too many"
                                : "is not an address or prefix in numbers");
        return room;
    }
    for (int i = 0; what == NULL && i < c->sender_count; i++)
        what = check_sender(c, i, room, size);
    return what;
}
