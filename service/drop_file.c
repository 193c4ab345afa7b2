/*
 * One file, from its folder to done or failed.
 *
 *     begin --(is it in taken/?)--> claim --> open --> row --> read <--.
 *                                                               |      |
 *                                                             apply ---'
 *                                                               | it has ended
 *     next file <-- forget row <-- move <-- error file <-- choose target
 *
 * At each arrow the process may end: what is in taken/ is gone on with by its
 * row; a row with a target is moved, or has been.
 */
#include "service/drop_work.h"

#include "service/log.h"

#include <stdlib.h>
#include <string.h>

const char *drop_sender(const struct drop *d)
{
    const char *name = d->folders[d->turn].name;

    return name[0] != '\0' ? name : "drop";
}

void drop_free_step(struct drop *d)
{
    for (size_t i = 0; i < d->part_count; i++) {
        fhir_doc_free(d->parts[i].doc);
        free(d->parts[i].results);
        buf_clear(&d->parts[i].own);
    }
    d->part_count = 0;
    for (size_t i = 0; i < d->message_count; i++) {
        if (d->messages[i].read)
            hl7_intake_clear(&d->messages[i].in);
    }
    d->message_count = 0;
}

void drop_close_file(struct drop *d)
{
    drop_free_step(d);
    feed_free(d->feed);
    d->feed = NULL;
    hl7_batch_free(d->batch);
    d->batch = NULL;
    if (d->file != NULL)
        fclose(d->file);
    d->file = NULL;
    buf_empty(&d->text);
}

/* ---- the end of it -------------------------------------------------------- */

static void add_up(struct drop *d)
{
    static const char *const words[DROP_OUTCOMES] = { "done", "failed",
                                                      "unreadable" };

    d->view.files[d->outcome]++;
    log_event(LOG_INFO, "drop.file", KEY_INT("file", d->row.number),
              KEY_TABLE("outcome", words[d->outcome]),
              KEY_INT("bytes", d->bytes), KEY_INT("lines", d->row.line),
              KEY_INT("stored", d->row.stored), KEY_INT("there", d->row.there),
              KEY_INT("held", d->row.held), KEY_INT("refused", d->row.refused));
}

static void after_end(struct drop *d)
{
    if (d->err != ERR_OK) {
        drop_pause(d);
        return;
    }
    add_up(d);
    d->folders[d->turn].pause_ms = 0;
    drop_next_file(d);
}

static void after_move(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else
        drop_job(d, drop_run_end, after_end);
}

static void next_page(struct drop *d);

static void after_page(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else if (d->page_last)
        drop_pool(d, drop_move, after_move);
    else
        next_page(d);
}

static void after_lines(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else
        drop_pool(d, drop_write_page, after_page);
}

static void next_page(struct drop *d)
{
    drop_job(d, drop_run_page, after_lines);
}

/* What was refused is listed beside it, if it is to be. */
static void list_refused(struct drop *d)
{
    if (d->err != ERR_OK) {
        drop_pause(d);
        return;
    }
    d->listed_start = d->listed_entry = -1;
    d->listed = 0;
    if (d->outcome == DROP_FAILED && d->options.config->drop_error_lines)
        next_page(d);
    else
        drop_pool(d, drop_move, after_move);
}

static void after_target(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else
        drop_job(d, drop_run_target, list_refused);
}

/* A target that was stored says what was found when all of it was known. */
static void recall_outcome(struct drop *d)
{
    bool done = strncmp(d->row.target, "done/", 5) == 0;

    if (done)
        d->reason = NULL;
    else if (d->row.refused == 0 && d->reason == NULL)
        d->reason = "the file could not be read to its end";
}

static void end_file(struct drop *d)
{
    if (d->file != NULL)
        fclose(d->file);
    d->file = NULL;
    if (d->row.target[0] != '\0')
        recall_outcome(d);
    if (d->reason != NULL)
        d->outcome = DROP_UNREADABLE;
    else
        d->outcome = d->row.refused > 0 ? DROP_FAILED : DROP_DONE;
    if (d->row.target[0] != '\0')
        list_refused(d);
    else
        drop_pool(d, drop_choose_target, after_target);
}

/* ---- step by step --------------------------------------------------------- */

static void read_step(struct drop *d);

/* The store has it: count it, and let others have their turn. */
static void after_apply(struct drop *d)
{
    if (d->err != ERR_OK) {
        drop_pause(d);
        return;
    }
    d->folders[d->turn].pause_ms = 0;
    d->row.start = (int64_t)d->end;
    d->row.line = (int64_t)d->end_line;
    d->row.stored += d->step_stored;
    d->row.there += d->step_there;
    d->row.held += d->step_held;
    d->row.refused += d->step_refused;
    d->view.stored += (uint64_t)d->step_stored;
    d->view.there += (uint64_t)d->step_there;
    d->view.held += (uint64_t)d->step_held;
    d->view.refused += (uint64_t)d->step_refused;
    if (d->news)
        store_wake(d->options.store);
    if (d->tasks && d->options.on_tasks != NULL)
        d->options.on_tasks(d->options.arg);
    drop_free_step(d);
    if (d->ended)
        end_file(d);
    else if (drop_turn_over(d))
        drop_next_folder(d);
    else
        read_step(d);
}

static void after_read(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else if (d->part_count == 0 && d->message_count == 0 &&
             d->parcel.fault_count == 0)
        end_file(d);
    else
        drop_job(d, drop_run_apply, after_apply);
}

static void read_step(struct drop *d)
{
    drop_free_step(d);
    d->parcel.fault_count = 0;
    d->ended = false;
    drop_pool(d, d->form == DROP_MESSAGES ? drop_read_messages : drop_read,
              after_read);
}

/* It is open, where it stands. */
static void after_open(struct drop *d)
{
    if (d->err == ERR_ABSENT) { /* taken away, or still being written */
        drop_next_file(d);
    } else if (d->err == ERR_DENIED) { /* this one cannot be moved */
        d->folders[d->turn].usable = false;
        log_event(LOG_WARN, "drop.denied", KEY_INT("file", d->row.number),
                  KEY_INT("errno", d->folders[d->turn].trouble));
        drop_next_folder(d);
    } else if (d->err != ERR_OK) {
        drop_pause(d);
    } else {
        d->worked = true;
        if (d->row.start > 0)
            log_event(LOG_INFO, "drop.resumed", KEY_INT("file", d->row.number),
                      KEY_INT("start", d->row.start));
        if (d->reason != NULL || d->row.target[0] != '\0')
            end_file(d);
        else
            read_step(d);
    }
}

static void after_row(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else
        drop_pool(d, drop_open_file, after_open);
}

static void after_name(struct drop *d)
{
    if (d->err != ERR_OK)
        drop_pause(d);
    else
        drop_job(d, drop_run_row, after_row);
}

void drop_begin(struct drop *d, const struct drop_found *found)
{
    memcpy(d->source, found->name, sizeof(d->source));
    d->row = (struct drop_row){ .number = 0 };
    d->fresh = !found->taken;
    d->bytes = found->bytes;
    d->changed_ms = found->changed_ns / 1000000;
    d->reason = NULL;
    d->step_stored = d->step_there = d->step_held = d->step_refused = 0;
    drop_pool(d, drop_name, after_name);
}
