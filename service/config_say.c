/* Complaints about settings, with the place where they were made. */
#include "service/config_work.h"

#include <stdio.h>
#include <string.h>

_Static_assert((int)CONFIG_LINES_MAX >= (int)CONFIG_ROWS_MAX,
               "raise CONFIG_LINES_MAX");
_Static_assert((int)CONFIG_SENDER_LINES_MAX >= (int)CONFIG_SENDER_ROWS_MAX,
               "raise CONFIG_SENDER_LINES_MAX");

static const struct config_sender *find_sender(const struct config *c,
                                               const char *name, size_t len)
{
    for (int i = 0; i < c->sender_count; i++) {
        const char *known = c->senders[i].profile.name;

        if (strlen(known) == len && memcmp(known, name, len) == 0)
            return &c->senders[i];
    }
    return NULL;
}

/* The line of a key of a section; 0: it is not set there. */
static int line_of(const struct config *c, const char *section,
                   size_t section_len, const char *key, size_t key_len)
{
    const char *name;
    bool of_sender = config_is_sender(section, &name);
    const struct config_sender *sender = NULL;
    const struct config_row *rows;
    size_t count;

    if (of_sender)
        sender = find_sender(c, name, section_len - (size_t)(name - section));
    if (of_sender && sender == NULL)
        return 0;
    rows = of_sender ? config_sender_rows(&count) : config_rows(&count);
    for (size_t i = 0; i < count; i++) {
        const char *own = rows[i].key;

        if (!of_sender) {
            if (strncmp(own, section, section_len) != 0 ||
                own[section_len] != '.')
                continue;
            own += section_len + 1;
        }
        if (strlen(own) == key_len && memcmp(own, key, key_len) == 0)
            return of_sender ? sender->lines[i] : c->lines[i];
    }
    return 0;
}

/* Of the first of the keys before the colon that was set at all. */
static int line_of_complaint(const struct config *c, const char *what)
{
    size_t section = strcspn(what + 1, "]");
    const char *at = what + 1 + section;
    int line = 0;

    if (what[0] != '[' || *at != ']')
        return 0;
    at++;
    while (line == 0 && *at != '\0' && *at != ':') {
        size_t len;

        at += strspn(at, " ,");
        len = strcspn(at, " ,:");
        line = line_of(c, what + 1, section, at, len);
        at += len;
    }
    return line;
}

void config_say(const struct config *c, const char *what, struct buf *why)
{
    int line = line_of_complaint(c, what);

    if (c->path[0] == '\0')
        buf_printf(why, "settings: %s", what);
    else if (line == CONFIG_OVERRIDDEN)
        buf_printf(why, "--set: %s", what);
    else if (line > 0)
        buf_printf(why, "%s:%d: %s", c->path, line, what);
    else
        buf_printf(why, "%s: %s", c->path, what);
}
