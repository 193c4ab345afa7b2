#include "service/config_work.h"

#include "adapters/zone.h"
#include "service/log.h"

#include <arpa/inet.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum err config_refuse(const struct config_reader *l, int line,
                       const struct config_row *row, const char *value,
                       const char *what)
{
    size_t section = strcspn(row->key, ".");
    bool plain = l->section == NULL;
    const char *key = plain ? row->key + section + 1 : row->key;

    if (l->path != NULL && line > 0)
        buf_printf(l->why, "%s:%d: ", l->path, line);
    else if (l->path != NULL)
        buf_printf(l->why, "%s: ", l->path);
    else
        buf_puts(l->why, "--set: ");
    buf_printf(l->why, "[%.*s] %s%s%s: %.80s%s%s",
               plain ? (int)section : (int)strlen(l->section),
               plain ? row->key : l->section, key, l->name != NULL ? "." : "",
               l->name != NULL ? l->name : "", value,
               value[0] != '\0' ? " " : "", what);
    return ERR_CONFIG;
}

static void *place(const struct config_reader *l, const struct config_row *row)
{
    return (char *)l->base + row->where;
}

static enum err set_int(const struct config_reader *l, int line,
                        const struct config_row *row, const char *value)
{
    char *end, what[80];
    long number;

    errno = 0;
    number = strtol(value, &end, 10);
    if (end == value || *end != '\0')
        return config_refuse(l, line, row, value, "is not a whole number");
    if (errno != 0 || number < row->least || number > row->most) {
        snprintf(what, sizeof(what), "is not between %ld and %ld", row->least,
                 row->most);
        return config_refuse(l, line, row, value, what);
    }
    *(int *)place(l, row) = (int)number;
    return ERR_OK;
}

static enum err set_bool(const struct config_reader *l, int line,
                         const struct config_row *row, const char *value)
{
    bool yes = strcmp(value, "true") == 0;

    if (!yes && strcmp(value, "false") != 0)
        return config_refuse(l, line, row, value, "is neither true nor false");
    *(bool *)place(l, row) = yes;
    return ERR_OK;
}

/* A text into its field, after `folder_len` bytes of the file's path. */
static enum err set_text(const struct config_reader *l, int line,
                         const struct config_row *row, char *field,
                         const char *value, size_t folder_len)
{
    size_t len = strlen(value);

    if ((long)len < row->least)
        return config_refuse(l, line, row, value, "must not be empty");
    if ((long)(folder_len + len) > row->most)
        return config_refuse(l, line, row, value, "is too long");
    if (folder_len > 0)
        memcpy(field, l->path, folder_len);
    memcpy(field + folder_len, value, len + 1);
    return ERR_OK;
}

static enum err set_path(const struct config_reader *l, int line,
                         const struct config_row *row, char *field,
                         const char *value)
{
    bool relative = value[0] != '\0' && value[0] != '/';

    return set_text(l, line, row, field, value, relative ? l->folder_len : 0);
}

static enum err set_map(const struct config_reader *l, int line,
                        const struct config_row *row, const char *value)
{
    struct config *c = l->config;
    char *field;
    enum err e;

    if (value[0] == '\0')
        return ERR_OK; /* "map =" names none */
    if (c->map_count == CONFIG_MAPS_MAX)
        return config_refuse(l, line, row, value, "is one map too many");
    field = c->maps[c->map_count];
    e = set_path(l, line, row, field, value);
    if (e != ERR_OK)
        return e;
    if (access(field, R_OK) != 0)
        return config_refuse(l, line, row, field, "cannot be read");
    c->map_count++;
    return ERR_OK;
}

static enum err set_url(const struct config_reader *l, int line,
                        const struct config_row *row, const char *value)
{
    size_t len = strlen(value);
    char *field = place(l, row);
    enum err e;

    if (len > 0 && strncmp(value, "http://", 7) != 0 &&
        strncmp(value, "https://", 8) != 0)
        return config_refuse(l, line, row, value,
                             "is not an http or https address");
    if (strpbrk(value, " \t?#") != NULL)
        return config_refuse(l, line, row, value,
                             "has a blank, \"?\" or \"#\"");
    e = set_text(l, line, row, field, value, 0);
    if (e != ERR_OK)
        return e;
    while (len > 0 && field[len - 1] == '/')
        field[--len] = '\0';
    return ERR_OK;
}

/* A scheme, a colon, and no blanks (RFC 3986, 3). */
static enum err set_uri(const struct config_reader *l, int line,
                        const struct config_row *row, char *field,
                        const char *value)
{
    size_t scheme = strspn(value, "abcdefghijklmnopqrstuvwxyz"
                                  "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789+-.");

    if (value[0] != '\0' &&
        (scheme == 0 || value[scheme] != ':' || value[scheme + 1] == '\0' ||
         strpbrk(value, " \t\"<>\\") != NULL))
        return config_refuse(l, line, row, value, "is not a URI");
    return set_text(l, line, row, field, value, 0);
}

/* Which of the words of the row; its number is kept. */
static enum err set_choice(const struct config_reader *l, int line,
                           const struct config_row *row, const char *value)
{
    const char *at = row->unit;
    size_t len = strlen(value);
    char what[80];

    for (int i = 0; *at != '\0'; i++) {
        size_t word = strcspn(at, " ");

        if (len == word && memcmp(at, value, len) == 0) {
            *(int *)place(l, row) = i;
            return ERR_OK;
        }
        at += word;
        at += strspn(at, " ");
    }
    snprintf(what, sizeof(what), "is not one of %s", row->unit);
    return config_refuse(l, line, row, value, what);
}

/* Another name of a coding system, or another URI for a name that is there. */
static enum err set_system(const struct config_reader *l, int line,
                           const struct config_row *row, const char *value)
{
    struct hl7_profile *p = place(l, row);
    size_t i = 0;
    enum err e;

    if (value[0] == '\0')
        return config_refuse(l, line, row, value, "must not be empty");
    while (i < p->system_count && strcmp(p->systems[i].name, l->name) != 0)
        i++;
    if (i < p->system_count && l->path != NULL)
        return config_refuse(l, line, row, "", "is given twice");
    if (i == HL7_SYSTEMS_MAX)
        return config_refuse(l, line, row, value, "is one system too many");
    if (strlen(l->name) >= sizeof(p->systems[i].name))
        return config_refuse(l, line, row, value,
                             "has a name that is too long");
    e = set_uri(l, line, row, p->systems[i].uri, value);
    if (e != ERR_OK)
        return e;
    snprintf(p->systems[i].name, sizeof(p->systems[i].name), "%s", l->name);
    p->system_count += i == p->system_count;
    return ERR_OK;
}

static bool is_address(const char *text)
{
    struct in6_addr six;
    struct in_addr four;

    return inet_pton(AF_INET, text, &four) == 1 ||
           inet_pton(AF_INET6, text, &six) == 1;
}

static bool is_zone(const char *name)
{
    struct zone *zone;

    if (zone_load(name, &zone) != ERR_OK)
        return false;
    zone_free(zone);
    return true;
}

static enum err set_word(const struct config_reader *l, int line,
                         const struct config_row *row, const char *value)
{
    enum log_level level;

    if (row->type == T_ADDRESS && !is_address(value))
        return config_refuse(l, line, row, value,
                             "is not an IPv4 or IPv6 address in numbers");
    if (row->type == T_ZONE && !(value[0] == '\0' && row->least == 0) &&
        !is_zone(value))
        return config_refuse(l, line, row, value,
                             "is not a zone of the system's zone database");
    if (row->type == T_LEVEL && log_level_by_word(value, &level) != ERR_OK)
        return config_refuse(l, line, row, value,
                             "is not one of debug, info, warn, error");
    return set_text(l, line, row, place(l, row), value, 0);
}

enum err config_set(const struct config_reader *l, int line,
                    const struct config_row *row, const char *value)
{
    switch (row->type) {
    case T_INT:
        return set_int(l, line, row, value);
    case T_BOOL:
        return set_bool(l, line, row, value);
    case T_PATH:
        return set_path(l, line, row, place(l, row), value);
    case T_MAP:
        return set_map(l, line, row, value);
    case T_URL:
        return set_url(l, line, row, value);
    case T_TEXT:
        return set_text(l, line, row, place(l, row), value, 0);
    case T_URI:
        return set_uri(l, line, row, place(l, row), value);
    case T_CHOICE:
        return set_choice(l, line, row, value);
    case T_SYSTEM:
        return set_system(l, line, row, value);
    case T_ADDRESS:
    case T_ZONE:
    case T_LEVEL:
        break;
    }
    return set_word(l, line, row, value);
}
