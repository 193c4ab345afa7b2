#include "service/search_page.h"

#include "adapters/fhir_write.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* What comes with the page: each resource once, in order of its number. */
struct company {
    struct resource rows[SEARCH_COMPANY_MAX];
    size_t count;
    bool full;
};

static void join_company(struct company *c, const struct resource *row,
                         const struct search_hit *hits, size_t hit_count)
{
    for (size_t i = 0; i < hit_count; i++) {
        if (hits[i].row.id == row->id)
            return; /* it is on the page as what was found */
    }
    for (size_t i = 0; i < c->count; i++) {
        if (c->rows[i].id == row->id)
            return;
    }
    if (c->count == SEARCH_COMPANY_MAX)
        c->full = true;
    else
        c->rows[c->count++] = *row;
}

/* The type and id of a relative reference; false for any other. */
static bool read_reference(const char *reference, enum fhir_type *type,
                           char fid[FID_SIZE])
{
    size_t len = strcspn(reference, "/");

    for (int t = FHIR_OBSERVATION; t <= FHIR_PROVENANCE; t++) {
        const char *word = search_type_word((enum fhir_type)t);

        if (strlen(word) != len || len == 0 ||
            memcmp(word, reference, len) != 0 || reference[len] != '/' ||
            !fhir_is_id(reference + len + 1))
            continue;
        *type = (enum fhir_type)t;
        snprintf(fid, FID_SIZE, "%s", reference + len + 1);
        return true;
    }
    return false;
}

enum { REFERENCES_MAX = 16 }; /* of one element */

/* What one reference of a resource names, if it is kept here. */
static enum err find_targets(struct db *db, const struct resource *row,
                             const struct search_param *p,
                             const struct search_hit *hits, size_t hit_count,
                             struct company *c)
{
    const enum query q = Q_SOUGHT_OF;
    char names[REFERENCES_MAX][SEARCH_VALUE_MAX + 1];
    size_t count = 0;
    enum err e = db_query(db, q, "iii", row->id, INT64(p->number),
                          INT64(REFERENCES_MAX));

    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK)
        snprintf(names[count++], sizeof(names[0]), "%s", db_text(db, q, 0));
    if (e == ERR_ABSENT)
        e = ERR_OK;
    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        struct resource target;
        enum fhir_type type;
        char fid[FID_SIZE];

        if (!read_reference(names[i], &type, fid))
            continue;
        e = resource_shown(db, type, fid, &target);
        if (e == ERR_OK)
            join_company(c, &target, hits, hit_count);
        e = e == ERR_ABSENT ? ERR_OK : e;
    }
    return e;
}

/* What names a resource, followed backwards. */
static enum err find_sources(struct db *db, const struct resource *row,
                             const struct search_param *p,
                             const struct search_hit *hits, size_t hit_count,
                             struct company *c)
{
    const enum query q = Q_SOUGHT_BY;
    char name[FID_SIZE + 32];
    enum err e;

    snprintf(name, sizeof(name), "%s/%s", search_type_word(row->kind),
             row->fid);
    e = db_query(db, q, "isi", INT64(p->number), name,
                 INT64(SEARCH_COMPANY_MAX));
    while (e == ERR_OK && (e = db_next(db, q)) == ERR_OK) {
        struct resource source = { .id = db_int(db, q, 0),
                                   .kind = (enum fhir_type)db_int(db, q, 1),
                                   .version = (int)db_int(db, q, 3),
                                   .updated_ms = db_int(db, q, 4) };

        snprintf(source.fid, FID_SIZE, "%s", db_text(db, q, 2));
        join_company(c, &source, hits, hit_count);
    }
    return e == ERR_ABSENT ? ERR_OK : e;
}

static enum err find_company(struct db *db, const struct search_query *q,
                             const struct search_hit *hits, size_t count,
                             struct company *c)
{
    enum err e = ERR_OK;

    for (size_t i = 0; e == ERR_OK && i < count; i++) {
        for (size_t k = 0; e == ERR_OK && k < q->include_count; k++)
            e = find_targets(db, &hits[i].row, q->includes[k], hits, count, c);
        for (size_t k = 0; e == ERR_OK && k < q->revinclude_count; k++)
            e = find_sources(db, &hits[i].row, q->revincludes[k], hits, count,
                             c);
    }
    return e;
}

/* ---- the Bundle --------------------------------------------------------- */

struct writing {
    const struct search_page *page;
    struct buf *out;
    struct buf json, url; /* of one entry */
    bool first;
};

static enum err write_entry(struct db *db, struct writing *w,
                            const struct resource *row, const char *mode)
{
    int64_t updated_ms;
    enum err e;

    buf_empty(&w->json);
    buf_empty(&w->url);
    buf_printf(&w->url, "%s/%s/%s", w->page->self, search_type_word(row->kind),
               row->fid);
    e = resource_served(db, w->page->base, row, 0, &w->json, &updated_ms);
    if (e == ERR_OK)
        fhir_write_searchset_entry(w->url.data, w->json.data, w->json.len, mode,
                                   w->first, w->out);
    w->first = false;
    return e;
}

/* In a searchset every entry has a name, also one that is nobody's. */
static void write_said(struct writing *w)
{
    char fid[FID_SIZE], urn[48];

    if (w->page->outcome->count == 0)
        return;
    buf_empty(&w->json);
    fhir_write_outcome(w->page->base, w->page->outcome, NULL, &w->json);
    new_fid(fid);
    resource_urn(fid, urn);
    fhir_write_searchset_entry(urn, w->json.data, w->json.len, "outcome",
                               w->first, w->out);
}

static void write_links(const struct search_page *page,
                        const struct search_hit *last, struct buf *self,
                        struct buf *first, struct buf *next)
{
    const struct search_query *q = page->query;
    const char *joint = page->links[0] != '\0' ? "&" : "?";

    buf_printf(first, "%s/%s%s%s", page->self, search_type_word(q->type),
               page->links[0] != '\0' ? "?" : "", page->links);
    buf_puts(self, first->data);
    if (q->after != NULL)
        buf_printf(self, "%s_after=%s", joint, q->after);
    if (last == NULL)
        return;
    buf_printf(next, "%s%s_after=", first->data, joint);
    search_handle(q, last, next);
}

static void write_begin(const struct search_page *page,
                        const struct search_hit *last, long long total,
                        struct buf *out)
{
    struct buf self, first, next;
    struct fhir_link links[3];

    buf_init(&self, 32768);
    buf_init(&first, 32768);
    buf_init(&next, 32768);
    write_links(page, last, &self, &first, &next);
    links[0] = (struct fhir_link){ "self", self.data };
    links[1] = (struct fhir_link){ "first", first.data };
    links[2] = (struct fhir_link){ "next", next.len > 0 ? next.data : NULL };
    fhir_write_bundle_begin("searchset", total, links, COUNT(links), out);
    buf_clear(&self);
    buf_clear(&first);
    buf_clear(&next);
}

/* *count: in, those that were found; out, those that have been written: a
 * page of long resources ends earlier. */
static enum err write_hits(struct db *db, struct writing *w,
                           const struct search_hit *hits, size_t *count)
{
    size_t i = 0;
    enum err e = ERR_OK;

    for (; e == ERR_OK && i < *count && w->out->len < SEARCH_BYTES_MAX; i++)
        e = write_entry(db, w, &hits[i].row, "match");
    *count = i;
    return e;
}

static enum err write_company(struct db *db, struct writing *w,
                              struct company *c)
{
    const size_t bytes_max = (size_t)2 * SEARCH_BYTES_MAX;
    enum err e = ERR_OK;
    size_t i = 0;

    for (; e == ERR_OK && i < c->count && w->out->len < bytes_max; i++)
        e = write_entry(db, w, &c->rows[i], "include");
    if (c->full || i < c->count)
        outcome_add(w->page->outcome, SEV_WARNING, "too-many", "",
                    "More resources would come with this page than are given: "
                    "ask for a smaller one");
    return e;
}

static enum err write_page(struct db *db, const struct search_page *page,
                           const struct search_hit *hits, size_t found,
                           struct company *c, long long total, struct buf *out)
{
    const struct search_query *q = page->query;
    size_t count = found > (size_t)q->count ? (size_t)q->count : found;
    struct buf entries;
    struct writing w = { .page = page, .out = &entries, .first = true };
    enum err e;

    buf_init(&entries, out->ceiling);
    buf_init(&w.json, BODY_MAX);
    buf_init(&w.url, 2048);
    e = write_hits(db, &w, hits, &count);
    if (e == ERR_OK)
        e = find_company(db, q, hits, count, c);
    if (e == ERR_OK)
        e = write_company(db, &w, c);
    if (e == ERR_OK)
        write_said(&w);
    write_begin(page, found > count && count > 0 ? &hits[count - 1] : NULL,
                total, out);
    buf_add(out, entries.data, entries.len);
    fhir_write_searchset_end(out);
    if (e == ERR_OK)
        e = buf_ok(&entries);
    buf_clear(&entries);
    buf_clear(&w.json);
    buf_clear(&w.url);
    return e;
}

enum err search_page_write(struct db *db, const struct search_page *page,
                           struct buf *out)
{
    const struct search_query *q = page->query;
    struct search_hit *hits = calloc((size_t)q->count + 2, sizeof(*hits));
    struct company *c = calloc(1, sizeof(*c));
    long long total = -1;
    size_t found = 0;
    enum err e = hits != NULL && c != NULL ? ERR_OK : ERR_MEMORY;

    if (e == ERR_OK && q->count > 0)
        e = search_find(db, q, hits, &found);
    if (e == ERR_OK && (q->total == TOTAL_ACCURATE || q->count == 0))
        e = search_total(db, q, &total);
    if (e == ERR_OK)
        e = write_page(db, page, hits, found, c, total, out);
    free(hits);
    free(c);
    return e;
}
