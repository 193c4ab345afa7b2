/* Who was removed, and who of them is here again. */
#include "adapters/catalogue.h"
#include "adapters/fhir_time.h"
#include "service/patient_erase.h"
#include "service/patient_mark.h"

#include <stdlib.h>

enum { LISTED_MAX = 10000 };

struct again {
    int64_t erasures[LISTED_MAX];
    size_t count;
};

static void note(void *arg, int64_t erasure, const char *alias)
{
    struct again *a = arg;

    (void)alias;
    if (a->count < LISTED_MAX)
        a->erasures[a->count++] = erasure;
}

static bool is_again(const struct again *a, int64_t erasure)
{
    for (size_t i = 0; i < a->count; i++) {
        if (a->erasures[i] == erasure)
            return true;
    }
    return false;
}

static void write_erased(struct db *db, const struct again *again,
                         struct buf *out)
{
    const enum query q = Q_ERASED_LIST;
    char at[FHIR_TIME_SIZE];

    fhir_time_write(db_int(db, q, 1) / 1000, at);
    buf_printf(out, "%lld  %s  %s: %s  %s", (long long)db_int(db, q, 0), at,
               db_text(db, q, 2), db_text(db, q, 3), db_text(db, q, 4));
    if (db_int(db, q, 5) == 0)
        buf_printf(out, "  %s", _("the file is still to be written anew"));
    if (is_again(again, db_int(db, q, 0)))
        buf_printf(out, "  %s",
                   _("SOMEBODY OF THE SAME NAME OR NUMBER IS HERE AGAIN"));
    buf_puts(out, "\n");
}

enum err patient_erased_list(struct db *db, struct buf *out)
{
    struct again *again = calloc(1, sizeof(*again));
    const enum query q = Q_ERASED_LIST;
    size_t count = 0;
    enum err e =
        again != NULL ? patient_marked_each(db, db, note, again) : ERR_MEMORY;

    if (e == ERR_OK)
        e = db_query(db, q, "");
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        write_erased(db, again, out);
        count++;
    }
    db_done(db, q);
    free(again);
    if (e != ERR_ABSENT)
        return e;
    if (count == 0)
        buf_printf(out, "%s\n", _("Nobody was removed."));
    return buf_ok(out);
}
