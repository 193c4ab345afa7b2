#include "service/check_codes_work.h"

#include "adapters/feed.h"
#include "adapters/hl7_batch.h"
#include "adapters/zone.h"
#include "service/app.h"
#include "service/maps.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

enum {
    DOCUMENT_MAX =
        64 * 1024 * 1024, /* one document; lines have no such limit */
    TABLE_MAX = 64 * 1024 * 1024,
    LOOK_SIZE = 4096, /* of the first bytes, to see what a file is */
    WHY_MAX = 4096
};

static enum err complain(const char *name, const char *what)
{
    fprintf(stderr, "headgate: %s: %s\n", name, what);
    return ERR_FORM;
}

/* ---- one file ------------------------------------------------------------- */

/* First bytes that were looked at, and the file behind them. */
struct peeked {
    FILE *file;
    char bytes[LOOK_SIZE];
    size_t len, at;
};

static enum err read_peeked(void *arg, char *data, size_t size, size_t *got)
{
    struct peeked *p = arg;

    if (p->at == p->len)
        return feed_read_file(p->file, data, size, got);
    *got = p->len - p->at < size ? p->len - p->at : size;
    memcpy(data, p->bytes + p->at, *got);
    p->at += *got;
    return ERR_OK;
}

static enum err read_lines(struct check *check, const char *name,
                           struct feed *feed)
{
    struct feed_line line;
    enum err e;

    while ((e = feed_next(feed, &line)) != ERR_ABSENT) {
        if (e == ERR_OK)
            e = fhir_sample_read(&check->sample, line.text, line.len);
        if (e == ERR_FORM || e == ERR_LIMIT) {
            fprintf(stderr, "headgate: %s:%llu: not a FHIR resource\n", name,
                    (unsigned long long)line.number);
            check->unreadable++;
            e = ERR_OK;
        }
        if (e != ERR_OK)
            return e;
    }
    return ERR_OK;
}

static enum err read_document(struct check *check, const char *name,
                              struct feed *feed)
{
    struct buf text;
    const char *at;
    enum err e;

    buf_init(&text, DOCUMENT_MAX);
    e = feed_rest(feed, &text);
    if (e == ERR_LIMIT)
        complain(name, "longer than a document may be here; send NDJSON");
    if (e == ERR_OK) {
        at = text.data + strspn(text.data, " \t\r\n");
        if (*at != '{')
            e = check_read_csv(check, name, text.data, text.len);
        else if (fhir_sample_read(&check->sample, text.data, text.len) !=
                 ERR_OK)
            e = complain(name, "not a FHIR resource");
    }
    buf_clear(&text);
    return e;
}

static enum err read_json_or_csv(struct check *check, const char *name,
                                 struct peeked *peeked)
{
    struct feed *feed = NULL;
    bool lines = false;
    enum err e = feed_new(read_peeked, peeked, &feed);

    if (e == ERR_OK)
        e = feed_is_lines(feed, name, &lines);
    if (e == ERR_OK)
        e = lines ? read_lines(check, name, feed)
                  : read_document(check, name, feed);
    feed_free(feed);
    return e;
}

static enum err read_file(struct check *check, const char *name, FILE *file)
{
    struct peeked peeked = { .file = file };
    enum err e = ERR_OK;

    peeked.len = fread(peeked.bytes, 1, sizeof(peeked.bytes), file);
    check->files++;
    if (ferror(file))
        return complain(name, "cannot be read");
    if (hl7_batch_looks(peeked.bytes, peeked.len))
        e = check_read_hl7(check, name, read_peeked, &peeked);
    else
        e = read_json_or_csv(check, name, &peeked);
    if (e == ERR_IO)
        complain(name, "cannot be read");
    if (e == ERR_MEMORY || check->err != ERR_OK)
        complain(name, "out of memory");
    return e == ERR_OK ? check->err : e;
}

static enum err open_file(struct check *check, const char *path)
{
    FILE *file;
    enum err e;

    if (strcmp(path, "-") == 0)
        return read_file(check, "standard input", stdin);
    file = fopen(path, "re");
    if (file == NULL)
        return complain(path, strerror(errno));
    e = read_file(check, path, file);
    fclose(file);
    return e;
}

/* ---- all of it -------------------------------------------------------------- */

static bool load(struct check *check, const struct config *config,
                 struct codes **codes, struct zone **zone)
{
    struct buf why;
    enum err e;

    buf_init(&why, WHY_MAX);
    e = maps_load(config, codes, &why);
    if (e == ERR_OK)
        e = zone_load(config->zone, zone);
    if (e != ERR_OK)
        fprintf(stderr, "headgate: %s\n", why.len > 0 ? why.data : err_word(e));
    buf_clear(&why);
    check->config = config;
    check->codes = *codes;
    check->zone = *zone;
    return e == ERR_OK;
}

static int print(const struct check *check, bool json)
{
    struct buf out;
    bool ok;

    buf_init(&out, TABLE_MAX);
    if (json)
        check_write_json(check, &out);
    else
        check_say(check, &out);
    ok = buf_ok(&out) == ERR_OK &&
         fwrite(out.data, 1, out.len, stdout) == out.len && fflush(stdout) == 0;
    buf_clear(&out);
    if (!ok) {
        fputs("headgate: not everything could be written\n", stderr);
        return 2;
    }
    return check_is_missing(check) ? 1 : 0;
}

/* Nothing at all that could be looked at: most likely the wrong file. */
static bool is_empty(const struct check *check)
{
    return check->row_count == 0 && check->sample.observations == 0 &&
           check->sample.accesses == 0 && check->sample.others == 0 &&
           check->messages == 0 && check->lists == 0;
}

int check_codes(const struct config *config, const char *const *files,
                int count, bool json)
{
    struct check *check = calloc(1, sizeof(*check));
    struct codes *codes = NULL;
    struct zone *zone = NULL;
    struct fhir_reader reader = { .base = config->fhir_base,
                                  .now_s = clock_ms() / 1000,
                                  .entries_max =
                                      (size_t)config->fhir_entries_max };
    enum err e = ERR_OK;
    int status = 2;

    if (check == NULL)
        return 2;
    if (load(check, config, &codes, &zone)) {
        reader.codes = codes;
        reader.zone = zone;
        check->sample = (struct sample_reader){ .reader = &reader,
                                                .on_use = check_on_use,
                                                .on_refused = check_on_refused,
                                                .arg = check };
        for (int i = 0; e == ERR_OK && i < count; i++)
            e = open_file(check, files[i]);
        if (e == ERR_OK && is_empty(check))
            e = complain(files[0], "no resource, message or code was found");
        check_sort(check);
        if (e == ERR_OK)
            status = print(check, json);
    }
    check_clear(check);
    codes_free(codes);
    zone_free(zone);
    free(check);
    return status;
}
