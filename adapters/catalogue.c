/* The catalogue: GNU gettext of the C library, in the language of the site. */
#include "adapters/catalogue.h"

#include <locale.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char language_now[16] = "en";

static bool is_name(const char *language)
{
    size_t len = strlen(language);

    return len > 0 && len < sizeof(language_now) &&
           strspn(language, "abcdefghijklmnopqrstuvwxyz_"
                            "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == len;
}

static bool is_there(const char *folder, const char *language)
{
    char path[4096];
    int len = snprintf(path, sizeof(path), "%s/%s/LC_MESSAGES/headgate.mo",
                       folder, language);

    return len > 0 && (size_t)len < sizeof(path) && access(path, R_OK) == 0;
}

/*
 * Beside the program that runs, so that a package and a build need not know
 * where they lie: PREFIX/bin and PREFIX/share/locale, BUILD and BUILD/locale,
 * BUILD/tests and BUILD/locale.
 */
static bool find_folder(const char *language, char out[4096])
{
    static const char *const places[] = { "../share/locale", "locale",
                                          "../locale" };
    char self[4096];
    ssize_t len = readlink("/proc/self/exe", self, sizeof(self) - 1);
    char *slash;

    self[len > 0 ? len : 0] = '\0';
    slash = strrchr(self, '/');
    for (size_t i = 0; slash != NULL && i < COUNT(places); i++) {
        int size = snprintf(out, 4096, "%.*s/%s", (int)(slash - self), self,
                            places[i]);

        if (size > 0 && size < 4096 && is_there(out, language))
            return true;
    }
    return false;
}

enum err catalogue_open(const char *language, const char *folder)
{
    char found[4096];

    if (!is_name(language))
        return ERR_ABSENT;
    if (strcmp(language, "en") == 0)
        return ERR_OK;
    if (folder == NULL && find_folder(language, found))
        folder = found;
    if (folder == NULL || !is_there(folder, language))
        return ERR_ABSENT;
    /* Any locale but "C" will do: the language is named beside it.  Numbers
     * and dates stay as programs read them. */
    if (setlocale(LC_MESSAGES, "C.UTF-8") == NULL ||
        setenv("LANGUAGE", language, 1) != 0)
        return ERR_IO;
    if (bindtextdomain("headgate", folder) == NULL ||
        bind_textdomain_codeset("headgate", "UTF-8") == NULL ||
        textdomain("headgate") == NULL)
        return ERR_MEMORY;
    memcpy(language_now, language, strlen(language) + 1);
    return ERR_OK;
}

const char *catalogue_language(void)
{
    return language_now;
}

void catalogue_number(struct buf *out, double value, int decimals)
{
    char text[64];
    int len = snprintf(text, sizeof(text), "%.*f", decimals, value);
    /* TRANSLATORS: the mark between 4 and 5 in four and a half */
    const char *mark = _("."), *point;

    if (len < 0 || (size_t)len >= sizeof(text)) {
        buf_puts(out, "?");
        return;
    }
    point = strchr(text, '.');
    if (point == NULL) {
        buf_puts(out, text);
        return;
    }
    buf_add(out, text, (size_t)(point - text));
    buf_puts(out, mark);
    buf_puts(out, point + 1);
}
