/* What a person wants of a plan, from the words of a command or a request. */
#include "service/planning.h"

#include "service/technique_store.h"

#include <stdlib.h>
#include <string.h>

/* One number, and what must follow it; moves *text past that. */
static bool read_number(const char **text, char after, double *value)
{
    size_t len = strspn(*text, "0123456789.");
    char *end;

    if (len == 0 || (*text)[len] != after)
        return false;
    *value = strtod(*text, &end);
    if (end != *text + len)
        return false;
    *text = end + (after != '\0');
    return true;
}

static enum err read_target(const char *text, struct plan_wish *wish,
                            struct buf *why)
{
    static const enum plan_lead leads[] = { PLAN_BY_SHARE, PLAN_BY_WINDOW,
                                            PLAN_BY_HAND };
    const char *at = text;
    double low_pct, high_pct;

    wish->lead_given = true;
    for (size_t i = 0; i < COUNT(leads); i++) {
        if (strcmp(plan_lead_word(leads[i]), text) == 0) {
            wish->lead = leads[i];
            return ERR_OK;
        }
    }
    if (!read_number(&at, '-', &low_pct) ||
        !read_number(&at, '\0', &high_pct) ||
        !(low_pct > 0.0 && low_pct < high_pct && high_pct < 100.0)) {
        buf_puts(why, "target: share, window, hand, or a reduction in per "
                      "cent as 50-60");
        return ERR_FORM;
    }
    wish->lead = PLAN_BY_REDUCTION;
    wish->reduction_low_frac = low_pct / 100.0;
    wish->reduction_high_frac = high_pct / 100.0;
    return ERR_OK;
}

static enum err read_dowels(const char *text, struct plan_wish *wish,
                            struct buf *why)
{
    const char *at = text;
    bool more = true;

    while (more) {
        double *mm = &wish->dowels_mm[wish->dowel_count];

        more = strchr(at, ',') != NULL;
        if (wish->dowel_count == PLAN_DOWELS_MAX - 1 ||
            !read_number(&at, more ? ',' : '\0', mm)) {
            buf_puts(why, "dowels: outer diameters in mm as 5,4.5,4");
            return ERR_FORM;
        }
        wish->dowel_count++;
    }
    return ERR_OK;
}

static enum err read_prior(const char *text, const struct prior **prior)
{
    if (strcmp(text, technique_site.name) == 0) {
        *prior = &technique_site;
        return ERR_OK;
    }
    return prior_by_name(text, prior);
}

enum err planning_wish(const char *prior, const char *target,
                       const char *dowels, const char *table,
                       struct plan_wish *wish, struct buf *why)
{
    enum err e = ERR_OK;

    *wish = (struct plan_wish){ .prior = NULL };
    if (prior != NULL && read_prior(prior, &wish->prior) != ERR_OK) {
        buf_puts(why, "prior: default, reference or site");
        return ERR_FORM;
    }
    wish->on_table = table != NULL && strcmp(table, "1") == 0;
    if (table != NULL && !wish->on_table) {
        buf_puts(why, "table: 1 if the newest flows were measured on the "
                      "table, else leave it out");
        return ERR_FORM;
    }
    if (target != NULL)
        e = read_target(target, wish, why);
    if (e == ERR_OK && dowels != NULL)
        e = read_dowels(dowels, wish, why);
    return e;
}
