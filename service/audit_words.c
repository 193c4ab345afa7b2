#include "service/audit_words.h"

#include "adapters/catalogue.h"

#include <string.h>

/* A whole sentence with a place for the number of the row. */
static const char *words_of(const char *why)
{
    if (strcmp(why, "missing") == 0)
        return _("BROKEN at row %s: rows before it are missing.");
    if (strcmp(why, "chain") == 0)
        return _("BROKEN at row %s: it does not follow the row before it; one "
                 "of the two was replaced.");
    if (strcmp(why, "form") == 0)
        return _("BROKEN at row %s: it is not of the form that headgate "
                 "writes.");
    if (strcmp(why, "patients") == 0)
        return _("BROKEN at row %s: the list of its patients was changed.");
    if (strcmp(why, "cut") == 0)
        /* TRANSLATORS: the number of the last row that is there */
        return _("BROKEN: rows after row %s are missing: the end was cut off.  "
                 "Lists of their patients are still there.");
    if (strcmp(why, "stray") == 0)
        return _("BROKEN: there are lists of patients of rows that there never "
                 "were.");
    return _("BROKEN at row %s: its content was changed.");
}

void audit_say_broken(int64_t broken, const char *why, struct buf *out)
{
    const char *words = words_of(why);
    size_t before = strcspn(words, "%");

    if (strcmp(why, "cut") == 0)
        broken--;
    buf_printf(out, "%.*s", (int)before, words);
    if (words[before] != '\0')
        buf_printf(out, "%lld%s", (long long)broken, words + before + 2);
}
