#include "service/rate.h"

#include <openssl/evp.h>
#include <openssl/rand.h>
#include <stdlib.h>
#include <string.h>

enum { WAYS = 4, SETS = RATE_SLOTS / WAYS, NAME = 16, KEY = 32 };

/* What a client is known by: a part of the keyed hash. */
struct name {
    unsigned char bytes[NAME];
    size_t set;
};

struct slot {
    bool used;
    unsigned char name[NAME];
    int64_t level; /* permits, each period_ms units */
    int64_t at_ms; /* when it was so */
};

struct rate_table {
    unsigned char key[KEY];
    struct slot slots[SETS][WAYS];
};

enum err rate_open(struct rate_table **out)
{
    struct rate_table *t = calloc(1, sizeof(*t));

    if (t == NULL)
        return ERR_MEMORY;
    if (RAND_bytes(t->key, KEY) != 1) {
        free(t);
        return ERR_IO;
    }
    *out = t;
    return ERR_OK;
}

void rate_close(struct rate_table *t)
{
    free(t);
}

/* false: no memory for a hash; whoever asks is then let. */
static bool name_of(const struct rate_table *t, const void *key, size_t len,
                    struct name *out)
{
    unsigned char hash[EVP_MAX_MD_SIZE];
    EVP_MD_CTX *ctx = EVP_MD_CTX_new();
    unsigned int hash_len = 0;
    bool ok = ctx != NULL && EVP_DigestInit_ex(ctx, EVP_sha256(), NULL) == 1 &&
              EVP_DigestUpdate(ctx, t->key, KEY) == 1 &&
              EVP_DigestUpdate(ctx, key, len) == 1 &&
              EVP_DigestFinal_ex(ctx, hash, &hash_len) == 1;

    EVP_MD_CTX_free(ctx);
    if (!ok)
        return false;
    memcpy(out->bytes, hash, NAME);
    out->set = ((size_t)hash[NAME] << 8 | hash[NAME + 1]) % SETS;
    return true;
}

static const struct slot *find(const struct rate_table *t,
                               const struct name *name)
{
    for (size_t i = 0; i < WAYS; i++) {
        const struct slot *s = &t->slots[name->set][i];

        if (s->used && memcmp(s->name, name->bytes, NAME) == 0)
            return s;
    }
    return NULL;
}

/* Where it is, or is to be: the one that has rested longest makes room. */
static struct slot *place_of(struct rate_table *t, const struct name *name)
{
    struct slot *set = t->slots[name->set], *oldest = &set[0];

    for (size_t i = 0; i < WAYS; i++) {
        if (set[i].used && memcmp(set[i].name, name->bytes, NAME) == 0)
            return &set[i];
        if (!set[i].used)
            oldest = oldest->used ? &set[i] : oldest;
        else if (oldest->used && set[i].at_ms < oldest->at_ms)
            oldest = &set[i];
    }
    return oldest;
}

/* What a bucket holds now; one that is not there is full. */
static int64_t level_of(const struct slot *s, const struct rate_limit *limit,
                        int64_t now_ms)
{
    int64_t most = limit->burst * limit->period_ms, gone_ms;

    if (s == NULL || s->level > most)
        return most;
    gone_ms = now_ms > s->at_ms ? now_ms - s->at_ms : 0;
    /* the division first: a long pause must not overflow */
    if (gone_ms >= (most - s->level) / limit->count + 1)
        return most;
    return s->level + gone_ms * limit->count;
}

static int64_t wait_ms(int64_t level, const struct rate_limit *limit)
{
    int64_t lacks = limit->period_ms - level;

    return lacks <= 0 ? 0 : (lacks + limit->count - 1) / limit->count;
}

int64_t rate_take(struct rate_table *t, const struct rate_limit *limit,
                  const void *key, size_t len, int64_t now_ms)
{
    struct name name;
    struct slot *s;
    int64_t level;

    if (!name_of(t, key, len, &name))
        return 0;
    level = level_of(find(t, &name), limit, now_ms);
    if (level < limit->period_ms)
        return wait_ms(level, limit);
    s = place_of(t, &name);
    s->used = true;
    memcpy(s->name, name.bytes, NAME);
    s->level = level - limit->period_ms;
    s->at_ms = now_ms;
    return 0;
}

int64_t rate_wait(const struct rate_table *t, const struct rate_limit *limit,
                  const void *key, size_t len, int64_t now_ms)
{
    struct name name;

    if (!name_of(t, key, len, &name))
        return 0;
    return wait_ms(level_of(find(t, &name), limit, now_ms), limit);
}
