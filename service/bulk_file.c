/* A file of an export: downloaded, and its lines taken. */
#include "adapters/origin.h"
#include "service/bulk_work.h"

#include <string.h>
#include <unistd.h>

enum { FILE_TIMEOUT_MS = 3600 * 1000 };
/* A file that is larger is not read: the disk is ours to keep free. */
static const size_t file_max = (size_t)4 * 1024 * 1024 * 1024;

void bulk_drop_file(struct bulk *b)
{
    feed_free(b->feed);
    b->feed = NULL;
    if (b->batch_open)
        feed_batch_clear(&b->batch);
    b->batch_open = false;
    if (b->download != NULL)
        fclose(b->download);
    b->download = NULL;
    unlink(b->path);
}

static void take(struct bulk *b);

static void after_file(struct bulk *b);

void bulk_save_file(struct bulk *b)
{
    bulk_save(b, BULK_READING, after_file);
}

static void after_file(struct bulk *b)
{
    if (b->job_err != ERR_OK) /* a disk that is full, say */
        bulk_wait(b, b->options.config->outbox_retry_last_ms, bulk_save_file);
    else
        bulk_next_file(b);
}

/* From its first line; again after our store has failed: what was gathered
 * then is lost with the job. */
static void open_lines(struct bulk *b)
{
    enum err e;

    feed_free(b->feed);
    b->feed = NULL;
    if (b->batch_open)
        feed_batch_clear(&b->batch);
    b->batch_open = false;
    b->file_done = b->disk_failed = false;
    rewind(b->download);
    e = feed_new(feed_read_file, b->download, &b->feed);
    if (e == ERR_OK)
        e = feed_batch_init(&b->batch, BULK_BATCH_ENTRIES, BULK_BATCH_BYTES);
    b->batch_open = e == ERR_OK;
    if (e == ERR_OK)
        take(b);
    else
        bulk_fail(b, "memory was short", 0);
}

static void on_batch(struct bulk *b)
{
    if (b->job_err != ERR_OK) {
        bulk_wait(b, b->options.config->outbox_retry_last_ms, open_lines);
        return;
    }
    b->view.lines += b->lines;
    b->view.stored += b->totals.stored;
    b->view.refused += b->totals.refused;
    if (b->news)
        store_wake(b->options.store);
    if (b->fetches)
        b->options.on_taken(b->options.arg);
    if (b->disk_failed) {
        bulk_fail(b, "the temporary file could not be read", 0);
    } else if (b->file_done) {
        bulk_drop_file(b);
        b->file++;
        b->view.file = b->file;
        bulk_save_file(b);
    } else {
        take(b);
    }
}

static void take(struct bulk *b)
{
    bulk_job(b, bulk_run_take, on_batch);
}

static bool on_piece(void *arg, const char *piece, size_t len)
{
    struct bulk *b = arg;

    b->bytes += len;
    b->view.bytes = b->bytes;
    b->too_large = b->bytes > file_max;
    b->disk_failed = fwrite(piece, 1, len, b->download) != len;
    return !b->too_large && !b->disk_failed;
}

static void on_file(void *arg, const struct http_answer *a)
{
    struct bulk *b = arg;

    b->call = NULL;
    b->step = B_IDLE;
    if (a->err == ERR_OK && a->status == 200) {
        b->tries = b->unclear = 0;
        if (fflush(b->download) != 0)
            bulk_fail(b, "the disk is full, or cannot be written to", 0);
        else
            open_lines(b);
        return;
    }
    bulk_drop_file(b);
    if (b->too_large)
        bulk_fail(b, "a file is larger than is taken", 0);
    else if (b->disk_failed)
        bulk_fail(b, "the disk is full, or cannot be written to", 0);
    else if (!bulk_try_later(b, a, bulk_next_file))
        bulk_fail(b, "a file cannot be had", a->status);
}

/* May it be read from there, and without a token? */
static bool is_allowed(const struct bulk *b, const char *url, bool *without)
{
    struct origin origin;

    *without = false;
    if (record_is_same_origin(b->options.record, url))
        return true;
    *without = true;
    return !b->manifest.needs_token && origin_read(url, &origin) == ERR_OK &&
           (origin.https || origin_is_loopback(&origin));
}

void bulk_next_file(struct bulk *b)
{
    struct record_request request = { .method = "GET",
                                      .accept = "application/fhir+ndjson",
                                      .answer_max = file_max,
                                      .timeout_ms = FILE_TIMEOUT_MS,
                                      .on_piece = on_piece };
    struct buf url;

    if (b->file >= b->manifest.count) {
        bulk_delete_there(b);
        return;
    }
    bulk_drop_file(b);
    b->bytes = b->view.bytes = 0;
    b->too_large = b->disk_failed = false;
    buf_init(&url, 16384);
    walk_resolve(record_url(b->options.record), b->manifest.files[b->file].url,
                 &url);
    request.target = url.data;
    if (buf_ok(&url) != ERR_OK ||
        !is_allowed(b, url.data, &request.without_token)) {
        bulk_fail(b,
                  "a file is on another host, and needs a token or is not safe",
                  0);
    } else {
        b->download = fopen(b->path, "w+b");
        if (b->download == NULL)
            bulk_fail(b, "the temporary file cannot be made", 0);
        else
            bulk_call(b, &request, on_file);
    }
    buf_clear(&url);
}
