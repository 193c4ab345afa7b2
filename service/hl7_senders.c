#include "service/hl7_senders.h"

#include "adapters/hl7_charset.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct sender {
    struct hl7_profile profile;
    struct zone *zone; /* owned */
    char certificate[sizeof(((struct config_sender *)0)->certificate)];
};

struct hl7_senders {
    int count;
    const struct sender *any; /* NULL: others are not taken */
    struct sender *list;      /* `count`, and the defaults behind them */
};

/* ---- opening -------------------------------------------------------------- */

static void complain(const struct config *config, struct buf *why,
                     const char *format, ...)
    __attribute__((format(printf, 3, 4)));

static void complain(const struct config *config, struct buf *why,
                     const char *format, ...)
{
    char what[400];
    va_list args;

    va_start(args, format);
    vsnprintf(what, sizeof(what), format, args);
    va_end(args);
    config_say(config, what, why);
}

static enum err check_charset(const struct config *config,
                              const struct hl7_profile *p, struct buf *why)
{
    struct hl7_charset charset;
    enum err e = hl7_charset_open(p->charset, strlen(p->charset), &charset);

    if (e == ERR_OK)
        hl7_charset_close(&charset);
    else if (e == ERR_UNKNOWN)
        complain(config, why,
                 "[sender %s] charset: %s is not a character set of HL7 table "
                 "0211 that is known here (8859/1, UNICODE UTF-8 ...)",
                 p->name, p->charset);
    return e == ERR_UNKNOWN ? ERR_CONFIG : e;
}

static enum err open_sender(const struct config *config,
                            const struct config_sender *from, struct sender *to,
                            struct buf *why)
{
    const char *zone = from->zone[0] != '\0' ? from->zone : config->zone;
    enum err e;

    to->profile = from->profile;
    memcpy(to->certificate, from->certificate, sizeof(to->certificate));
    if (to->profile.unit[0] == '\0')
        snprintf(to->profile.unit, sizeof(to->profile.unit), "%s",
                 to->profile.name);
    e = check_charset(config, &to->profile, why);
    if (e != ERR_OK)
        return e;
    e = zone_load(zone, &to->zone);
    if (e != ERR_OK) {
        complain(config, why,
                 "[sender %s] zone: %s is not a zone of this system",
                 to->profile.name, zone);
        return ERR_CONFIG;
    }
    to->profile.zone = to->zone;
    return ERR_OK;
}

enum err hl7_senders_open(const struct config *config, struct hl7_senders **out,
                          struct buf *why)
{
    static const struct config_sender any = { .profile = { .name = "any" } };
    struct hl7_senders *s = calloc(1, sizeof(*s));
    enum err e = ERR_OK;

    if (s == NULL)
        return ERR_MEMORY;
    s->count = config->sender_count;
    s->list = calloc((size_t)s->count + 1, sizeof(*s->list));
    if (s->list == NULL)
        e = ERR_MEMORY;
    for (int i = 0; e == ERR_OK && i < s->count; i++)
        e = open_sender(config, &config->senders[i], &s->list[i], why);
    if (e == ERR_OK)
        e = open_sender(config, &any, &s->list[s->count], why);
    for (int i = s->count; e == ERR_OK && i >= 0; i--) {
        if (config->mllp_any_sender &&
            strcmp(s->list[i].profile.name, any.profile.name) == 0)
            s->any = &s->list[i];
    }
    if (e != ERR_OK) {
        hl7_senders_close(s);
        return e;
    }
    *out = s;
    return ERR_OK;
}

void hl7_senders_close(struct hl7_senders *s)
{
    if (s == NULL)
        return;
    for (int i = 0; s->list != NULL && i <= s->count; i++)
        zone_free(s->list[i].zone);
    free(s->list);
    free(s);
}

/* ---- the head of a message ------------------------------------------------ */

/* Field n of the line (MSH-2 is the first behind MSH-1); its length. */
static const char *field_of(const char *line, size_t len, int n, size_t *field)
{
    const char *end = line + len, *at = line + 4, *stop;
    char sep = line[3];

    for (int i = 2; i < n; i++) {
        at = memchr(at, sep, (size_t)(end - at));
        if (at == NULL) {
            *field = 0;
            return end;
        }
        at++;
    }
    stop = memchr(at, sep, (size_t)(end - at));
    *field = (size_t)((stop != NULL ? stop : end) - at);
    return at;
}

/* false: it does not fit. */
static bool copy(const char *from, size_t len, char *to, size_t size)
{
    bool fits = len < size;

    if (!fits)
        len = 0;
    memcpy(to, from, len);
    to[len] = '\0';
    return fits;
}

static size_t first_component(const char *field, size_t len, char sep)
{
    const char *end = memchr(field, sep, len);

    return end != NULL ? (size_t)(end - field) : len;
}

enum err hl7_senders_peek(const char *bytes, size_t len,
                          struct hl7_sender_head *head)
{
    static const char mark[] = "\xef\xbb\xbf"; /* of UTF-8 */
    const char *at;
    size_t field;
    char component;

    if (len > 3 && memcmp(bytes, mark, 3) == 0) {
        bytes += 3;
        len -= 3;
    }
    if (len < 6 || memcmp(bytes, "MSH", 3) != 0)
        return ERR_FORM;
    for (size_t i = 0; i < len; i++) {
        if (bytes[i] == '\r' || bytes[i] == '\n' || bytes[i] == '\0') {
            len = i;
            break;
        }
    }
    if (len < 6)
        return ERR_FORM;
    component = bytes[4];
    *head = (struct hl7_sender_head){ .too_long = false };
    at = field_of(bytes, len, 3, &field);
    head->too_long = !copy(at, first_component(at, field, component),
                           head->application, sizeof(head->application));
    at = field_of(bytes, len, 4, &field);
    if (!copy(at, first_component(at, field, component), head->facility,
              sizeof(head->facility)))
        head->too_long = true;
    at = field_of(bytes, len, 10, &field);
    if (!copy(at, field, head->control, sizeof(head->control)))
        copy(at, sizeof(head->control) - 1, head->control,
             sizeof(head->control));
    return ERR_OK;
}

/* ---- whose ---------------------------------------------------------------- */

/* What the message says of its sender fits what the section says. */
static bool says_so(const struct hl7_profile *p,
                    const struct hl7_sender_head *head)
{
    return (p->application[0] == '\0' ||
            strcmp(p->application, head->application) == 0) &&
           (p->facility[0] == '\0' || strcmp(p->facility, head->facility) == 0);
}

const struct hl7_profile *hl7_senders_find(const struct hl7_senders *s,
                                           const struct hl7_sender_head *head,
                                           hl7_bears_fn bears, const void *arg)
{
    const struct hl7_profile *found = NULL;
    bool claims = false; /* to be one whose certificate it has not shown */

    for (int i = 0; i < s->count; i++) {
        const struct sender *one = &s->list[i];
        bool named = one->profile.application[0] != '\0' ||
                     one->profile.facility[0] != '\0';
        bool proves = one->certificate[0] != '\0' && bears != NULL;

        if ((!named && !proves) || !says_so(&one->profile, head))
            continue; /* by name alone, or of another */
        if (proves && !bears(arg, one->certificate)) {
            claims = claims || named;
            continue;
        }
        if (found != NULL)
            return NULL;
        found = &one->profile;
    }
    if (found != NULL || claims || s->any == NULL)
        return found;
    return &s->any->profile;
}

const struct hl7_profile *hl7_senders_named(const struct hl7_senders *s,
                                            const char *name)
{
    for (int i = 0; i < s->count; i++) {
        if (strcmp(s->list[i].profile.name, name) == 0)
            return &s->list[i].profile;
    }
    return s->any != NULL && strcmp(name, "any") == 0 ? &s->any->profile : NULL;
}

bool hl7_receiver_is_ours(const char *names, const char *receiver)
{
    static const char blanks[] = " \t";
    size_t len = strlen(receiver);
    bool any = true;

    for (;;) {
        size_t whole, name;

        names += strspn(names, ", \t");
        if (*names == '\0')
            return any;
        whole = name = strcspn(names, ",");
        while (strchr(blanks, names[name - 1]) != NULL)
            name--; /* the first is no blank */
        if (name == len && memcmp(names, receiver, len) == 0)
            return true;
        any = false;
        names += whole;
    }
}
