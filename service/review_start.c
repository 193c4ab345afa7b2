/* Once, before a service goes to work. */
#include "service/decisions.h"
#include "service/outbox_wait.h"
#include "service/review.h"

#include <stdio.h>
#include <string.h>

enum { POLICY_MARK_SIZE = POLICY_TEXT_SIZE + 24 };

/* Its version as people number it, and a sum of its values (FNV-1a): one that
 * was changed without a new version is another policy, too. */
static void policy_mark(const struct policy *policy, char out[POLICY_MARK_SIZE])
{
    char text[POLICY_TEXT_SIZE];
    uint64_t sum = UINT64_C(0xcbf29ce484222325);

    for (size_t i = 0; i < PARAM_TOTAL; i++) {
        unsigned char bytes[sizeof(double)];

        memcpy(bytes, &policy->values[i].value, sizeof(bytes));
        for (size_t k = 0; k < sizeof(bytes); k++)
            sum = (sum ^ bytes[k]) * UINT64_C(0x100000001b3);
    }
    policy_text(policy, text);
    snprintf(out, POLICY_MARK_SIZE, "%s %016llx", text,
             (unsigned long long)sum);
}

static enum err follow_policy(struct db *db, const struct review *review)
{
    char now[POLICY_MARK_SIZE];
    bool same = false;
    enum err e = db_first(db, Q_META_GET, "s", "policy");

    policy_mark(review->policy, now);
    if (e == ERR_OK) {
        const char *before = db_text(db, Q_META_GET, 0);

        same = before != NULL && strcmp(before, now) == 0;
    }
    db_done(db, Q_META_GET);
    if (e != ERR_OK && e != ERR_ABSENT)
        return e;
    if (same)
        return ERR_OK;
    e = db_run(db, Q_NEWS_OF_POLICY, "i", review->now_ms());
    return e == ERR_OK ? db_run(db, Q_META_PUT, "ss", "policy", now) : e;
}

enum err review_start(struct db *db, const struct review *review)
{
    bool posts = !review->silent && review->record;
    enum err e = follow_policy(db, review);

    if (e == ERR_OK)
        e = outbox_wait_began(db, posts, review->now_ms());
    if (e == ERR_OK && !review->silent)
        e = db_run(db, Q_NEWS_OF_SILENT, "i", review->now_ms());
    if (e == ERR_OK && posts)
        e = db_run(db, Q_OUTBOX_CATCH_UP, "i", review->now_ms());
    if (e == ERR_OK && posts)
        e = companion_catch_up(db, review->now_ms());
    return e;
}
