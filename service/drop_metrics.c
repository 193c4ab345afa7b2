/* What the drop folder has done and waits for, as metrics. */
#include "service/drop_work.h"

static void put_counter(struct buf *out, const char *label, uint64_t value)
{
    buf_printf(out, "%s %llu\n", label, (unsigned long long)value);
}

void drop_metrics(const struct drop_view *v, struct buf *out)
{
    buf_puts(out, "# HELP headgate_drop_files_total Files of the drop folder\n"
                  "# TYPE headgate_drop_files_total counter\n");
    put_counter(out, "headgate_drop_files_total{outcome=\"done\"}",
                v->files[DROP_DONE]);
    put_counter(out, "headgate_drop_files_total{outcome=\"failed\"}",
                v->files[DROP_FAILED]);
    put_counter(out, "headgate_drop_files_total{outcome=\"unreadable\"}",
                v->files[DROP_UNREADABLE]);
    buf_puts(out, "# HELP headgate_drop_resources_total Resources of these "
                  "files\n"
                  "# TYPE headgate_drop_resources_total counter\n");
    put_counter(out, "headgate_drop_resources_total{outcome=\"stored\"}",
                v->stored);
    put_counter(out, "headgate_drop_resources_total{outcome=\"there\"}",
                v->there);
    put_counter(out, "headgate_drop_resources_total{outcome=\"held\"}",
                v->held);
    put_counter(out, "headgate_drop_resources_total{outcome=\"refused\"}",
                v->refused);
    buf_printf(out,
               "# HELP headgate_drop_files_waiting Files that wait there\n"
               "# TYPE headgate_drop_files_waiting gauge\n"
               "headgate_drop_files_waiting %llu\n"
               "# HELP headgate_drop_oldest_seconds How long ago the one that "
               "waits longest was written\n"
               "# TYPE headgate_drop_oldest_seconds gauge\n"
               "headgate_drop_oldest_seconds %lld\n",
               (unsigned long long)v->waiting, (long long)v->oldest_s);
    buf_printf(out,
               "# HELP headgate_drop_folders_unusable Folders that cannot be "
               "used\n"
               "# TYPE headgate_drop_folders_unusable gauge\n"
               "headgate_drop_folders_unusable %u\n"
               "# HELP headgate_drop_pausing 1 while something is full or "
               "gone, and is waited for\n"
               "# TYPE headgate_drop_pausing gauge\n"
               "headgate_drop_pausing %d\n",
               v->unusable, v->pausing ? 1 : 0);
}
