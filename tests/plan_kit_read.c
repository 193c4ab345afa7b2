/* A line of words read into the planner's input. */
#include "tests/plan_kit.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- words and numbers ---------------------------------------------------- */

/* The next part of *text up to one of the ends, which is overwritten; NULL
 * past the last. */
static char *kit_part(char **text, const char *ends)
{
    char *part = *text;
    size_t length;

    if (part == NULL)
        return NULL;
    length = strcspn(part, ends);
    *text = part[length] == '\0' ? NULL : part + length + 1;
    part[length] = '\0';
    return part;
}

char *kit_word(char **text)
{
    char *word;

    do
        word = kit_part(text, " \t\r\n");
    while (word != NULL && *word == '\0');
    return word;
}

bool kit_number(const char *text, double *x)
{
    char *end;

    *x = strtod(text, &end);
    return end != text && *end == '\0';
}

char *kit_value(char *word)
{
    char *at = strchr(word, '=');

    if (at == NULL)
        return NULL;
    *at = '\0';
    return at + 1;
}

bool kit_set(const struct kit_key *keys, size_t count, void *base,
             const char *name, const char *value)
{
    for (size_t i = 0; i < count; i++) {
        double x;

        if (strcmp(keys[i].name, name) != 0)
            continue;
        if (!kit_number(value, &x))
            return false;
        memcpy((char *)base + keys[i].offset, &x, sizeof x);
        return true;
    }
    return false;
}

/* "2650,2550"; what has no room is no question. */
static bool kit_list(char *text, double *list, size_t room, size_t *count)
{
    *count = 0;
    for (char *part = kit_part(&text, ","); part != NULL;
         part = kit_part(&text, ",")) {
        if (*count == room || !kit_number(part, &list[(*count)++]))
            return false;
    }
    return true;
}

/* ---- what goes in --------------------------------------------------------- */

#define KIT_IN(field)                                                          \
    {                                                                          \
#field, offsetof(struct plan_input, field)                             \
    }
#define KIT_LIM(field)                                                         \
    {                                                                          \
#field, offsetof(struct plan_input, limits.field)                      \
    }

static const struct kit_key kit_inputs[] = {
    KIT_IN(map_mmhg),
    KIT_IN(map_lowest_mmhg),
    KIT_IN(cvp_mmhg),
    KIT_IN(haematocrit_frac),
    KIT_IN(conduit_mm),
    KIT_IN(artery_mm),
    KIT_IN(index_open),
    KIT_IN(index_compressed),
    KIT_IN(static_mmhg),
    KIT_IN(stenosis_frac),
    KIT_IN(stenosis_after_frac),
    KIT_IN(reduction_low_frac),
    KIT_IN(reduction_high_frac),
    KIT_IN(prescribed_pump_ml_min),
    KIT_LIM(floor_ml_min),
    KIT_LIM(pump_margin_ml_min),
    KIT_LIM(share_low),
    KIT_LIM(share_high),
    KIT_LIM(cap_ml_min),
    KIT_LIM(cap_low_ml_min),
    KIT_LIM(window_low_ml_min),
    KIT_LIM(window_high_ml_min),
    KIT_LIM(index_least),
    KIT_LIM(pressure_least_mmhg),
    KIT_LIM(tight_most),
    KIT_LIM(floor_first_most),
    KIT_LIM(floor_most),
    KIT_LIM(risk_index),
    KIT_LIM(risk_index_most),
    KIT_LIM(risk_fall),
    KIT_LIM(risk_fall_most),
};

/* The place of a word in a list, -1 if it is not there. */
static int kit_choice(const char *word, const char *const *words, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(word, words[i]) == 0)
            return (int)i;
    }
    return -1;
}

/* A part that may be empty or absent, NAN then. */
static bool kit_optional(char **text, double *x)
{
    const char *part = kit_part(text, ":");

    *x = NAN;
    return part == NULL || *part == '\0' || kit_number(part, x);
}

static bool kit_stage(char *text, struct plan_input *in)
{
    static const char *const steps[] = { "tied", "stretched", "released" };
    struct plan_stage s = { .step = PLAN_TIED };
    const char *step = kit_part(&text, ":");
    int choice = kit_choice(step, steps, COUNT(steps));
    char *flows;

    if (choice < 0 || in->stage_count == PLAN_STAGES_MAX)
        return false;
    s.step = (enum plan_step)choice;
    if (!kit_optional(&text, &s.dowel_mm))
        return false;
    flows = kit_part(&text, ":");
    if (flows != NULL && *flows != '\0' &&
        !kit_list(flows, s.flow_ml_min, PLAN_READS_MAX, &s.flow_count))
        return false;
    if (!kit_optional(&text, &s.map_mmhg) || !kit_optional(&text, &s.index))
        return false;
    s.weak_thrill = text != NULL && strcmp(text, "weak") == 0;
    in->stages[in->stage_count++] = s;
    return true;
}

static bool kit_named(const char *name, char *value, struct plan_input *in)
{
    static const char *const regions[] = { "elbow", "wrist" };
    static const char *const noes[] = { "0", "1" };
    int region = kit_choice(value, regions, COUNT(regions));
    int yes = kit_choice(value, noes, COUNT(noes));

    if (strcmp(name, "prior") == 0)
        return prior_by_name(value, &in->prior) == ERR_OK;
    if (strcmp(name, "method") == 0)
        return method_by_code(value, strlen(value), &in->method) == ERR_OK;
    if (strcmp(name, "lead") == 0) {
        for (int i = 0; i <= PLAN_BY_HAND; i++) {
            in->lead = (enum plan_lead)i;
            if (strcmp(plan_lead_word(in->lead), value) == 0)
                return true;
        }
        return false;
    }
    if (strcmp(name, "region") == 0 && region >= 0)
        in->region = (enum plan_region)region;
    else if (strcmp(name, "graft") == 0 && yes >= 0)
        in->graft = yes;
    else if (strcmp(name, "on_table") == 0 && yes >= 0)
        in->on_table = yes;
    else if (strcmp(name, "ischaemia") == 0 && yes >= 0)
        in->ischaemia = yes;
    else
        return false;
    return true;
}

bool kit_plan_input(char *text, struct plan_input *in)
{
    plan_input_init(in);
    for (char *word = kit_word(&text); word != NULL; word = kit_word(&text)) {
        char *value = kit_value(word);
        bool good;

        if (value == NULL)
            return false;
        if (strcmp(word, "flow_ml_min") == 0)
            good = kit_list(value, in->flow_ml_min, PLAN_READS_MAX,
                            &in->flow_count);
        else if (strcmp(word, "dowels_mm") == 0)
            good = kit_list(value, in->dowels_mm, PLAN_DOWELS_MAX,
                            &in->dowel_count);
        else if (strcmp(word, "stage") == 0)
            good = kit_stage(value, in);
        else
            good = kit_set(kit_inputs, COUNT(kit_inputs), in, word, value) ||
                   kit_named(word, value, in);
        if (!good)
            return false;
    }
    return true;
}
