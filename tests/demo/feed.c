#include "adapters/civil.h"
#include "tests/demo/document.h"

#include <stdio.h>
#include <string.h>

size_t demo_count(const struct demo *demo)
{
    return demo->entry_count;
}

void demo_resource(const struct demo *demo, size_t i, struct buf *out)
{
    const struct entry *entry = &demo->entries[i];

    switch (entry->kind) {
    case ARRIVAL_PATIENT:
        write_patient(entry->index, out);
        break;
    case ARRIVAL_ACCESS:
        write_access(entry->index, entry->access, demo->end_day, out);
        break;
    case ARRIVAL_DOCUMENT:
        write_document(&demo->documents[entry->index], out);
        break;
    }
}

void demo_feed(const struct demo *demo, size_t bundle, struct buf *out)
{
    for (size_t i = 0; i < demo->entry_count; i++) {
        bool last = i + 1 == demo->entry_count;

        if (bundle == 0) {
            demo_resource(demo, i, out);
            buf_puts(out, "\n");
            continue;
        }
        if (i % bundle == 0)
            buf_puts(out, "{\"resourceType\":\"Bundle\","
                          "\"type\":\"collection\",\"entry\":[");
        buf_puts(out, i % bundle == 0 ? "{\"resource\":" : ",{\"resource\":");
        demo_resource(demo, i, out);
        buf_puts(out, "}");
        if (last || i % bundle == bundle - 1)
            buf_puts(out, "]}\n");
    }
}

enum err demo_day(const char *text, int64_t *day)
{
    struct civil back;
    char again[16];
    int year, month, dom;
    int64_t value;

    if (strlen(text) != 10 ||
        sscanf(text, "%4d-%2d-%2d", &year, &month, &dom) != 3 || year < 1970 ||
        month < 1 || month > 12 || dom < 1 || dom > 31)
        return ERR_FORM;
    /* A day that does not exist, and any odd spelling, comes back changed. */
    value = civil_to_day(year, month, dom);
    back = civil_of_day(value);
    snprintf(again, sizeof(again), "%04d-%02d-%02d", back.year % 10000,
             back.month % 100, back.day % 100);
    if (strcmp(again, text) != 0)
        return ERR_FORM;
    *day = value;
    return ERR_OK;
}
