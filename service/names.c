#include "service/names.h"

#include "planner/rules.h"

#include <string.h>

const char *short_anchor(const char *anchor)
{
    const char *at;

    if (anchor == NULL)
        return "";
    if (anchor[0] == 'n')
        return anchor + 2;
    at = strrchr(anchor, anchor[0] == 'i' ? '|' : '/');
    return at != NULL ? at + 1 : anchor + 2;
}

const char *access_words(const char *label, const char *anchor)
{
    if (label != NULL && label[0] != '\0')
        return label;
    if (anchor != NULL && strncmp(anchor, "i:implied|", 10) == 0)
        return "Access (not named by the unit)";
    return short_anchor(anchor);
}

void rules_words(unsigned rules, struct buf *out)
{
    const char *between = "";

    for (int n = 0; n < RULE_COUNT; n++) {
        enum rule r = rule_by_order(n);

        if ((rules & 1u << r) == 0)
            continue;
        buf_printf(out, "%s%s", between, rule_info(r)->id);
        between = " ";
    }
}
