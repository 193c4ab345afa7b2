/* What is due, and how many days there are until then. */
#include "adapters/timeline.h"

#include "adapters/civil.h"

int timeline_days(int64_t from_s, int64_t to_s, const struct zone *zone)
{
    return (int)(civil_day_of_s(to_s + zone_offset_s(zone, to_s)) -
                 civil_day_of_s(from_s + zone_offset_s(zone, from_s)));
}

size_t timeline_next(const struct timeline_source *source, size_t *list,
                     size_t max)
{
    size_t count = 0;

    for (size_t i = 0; i < source->open_count; i++) {
        size_t at = count;

        if (!source->open[i].open || count == max)
            continue;
        for (;
             at > 0 && source->open[list[at - 1]].due_s > source->open[i].due_s;
             at--)
            list[at] = list[at - 1];
        list[at] = i;
        count++;
    }
    return count;
}
