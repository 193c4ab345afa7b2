/*
 * dose_kit - every formula of planner/flow.h and planner/adequacy.h by name
 *
 * One shape for all of them: so many numbers in, one number out.  The tests
 * and tool_dose call them through it.  A whole number travels as a double.
 */
#ifndef HEADGATE_TESTS_DOSE_KIT_H
#define HEADGATE_TESTS_DOSE_KIT_H

#include "planner/adequacy.h"
#include "planner/flow.h"

#include <stddef.h>
#include <string.h>

enum { DOSE_INPUTS_MAX = 8 };

typedef enum err (*dose_fn)(const double *in, double *out);

/* What is no whole number of a sensible size must be refused like 0. */
static int dose_whole(double x)
{
    return x > -1e6 && x < 1e6 && x == (double)(int)x ? (int)x : 0;
}

#define DOSE_1(f)                                                              \
    static enum err dose_##f(const double *in, double *out)                    \
    {                                                                          \
        return f(in[0], out);                                                  \
    }
#define DOSE_2(f)                                                              \
    static enum err dose_##f(const double *in, double *out)                    \
    {                                                                          \
        return f(in[0], in[1], out);                                           \
    }
#define DOSE_3(f)                                                              \
    static enum err dose_##f(const double *in, double *out)                    \
    {                                                                          \
        return f(in[0], in[1], in[2], out);                                    \
    }

DOSE_2(flow_reversed)
DOSE_3(flow_reversed_uf)
DOSE_3(flow_dialysance)
DOSE_2(flow_output_dilution)
DOSE_2(flow_share)
DOSE_2(flow_mean_pressure)
DOSE_2(flow_at_100)
DOSE_2(flow_static_pressure)
DOSE_2(flow_static_ratio)
DOSE_3(flow_recirc_urea)
DOSE_2(flow_finger_index)
DOSE_2(flow_height_index)
DOSE_2(flow_bsa_du_bois)
DOSE_2(flow_bsa_mosteller)
DOSE_2(flow_fall)
DOSE_1(flow_mdc)
DOSE_2(adequacy_urr)
DOSE_2(adequacy_generation)
DOSE_3(adequacy_npcr)
DOSE_3(adequacy_uf_rate)
DOSE_1(adequacy_urea_from_bun)
DOSE_1(adequacy_bun_from_urea)

static enum err dose_reversed_cpr(const double *in, double *out)
{
    return flow_reversed_cpr(in[0], in[1], in[2], in[3], out);
}

static enum err dose_cpr(const double *in, double *out)
{
    return flow_cpr(in[0], in[1], in[2], in[3], in[4], out);
}

static enum err dose_output_thermal(const double *in, double *out)
{
    struct flow_injection injection = {
        in[0], in[1], in[2], in[3], in[4], in[5]
    };

    return flow_output_thermal(&injection, out);
}

/* Mean and spread as numbers; agreement as 1 or 0. */
static enum err dose_pair_mean(const double *in, double *out)
{
    struct flow_repeat r = { .mean_ml_min = *out };
    enum err e = flow_pair(in[0], in[1], in[2], &r);

    *out = r.mean_ml_min;
    return e;
}

static enum err dose_pair_spread(const double *in, double *out)
{
    struct flow_repeat r = { .spread_pct = *out };
    enum err e = flow_pair(in[0], in[1], in[2], &r);

    *out = r.spread_pct;
    return e;
}

static enum err dose_pair_agree(const double *in, double *out)
{
    struct flow_repeat r;
    enum err e = flow_pair(in[0], in[1], in[2], &r);

    if (e == ERR_OK)
        *out = r.agree && !r.again ? 1.0 : 0.0;
    return e;
}

static enum err dose_triple_mean(const double *in, double *out)
{
    struct flow_repeat r = { .mean_ml_min = *out };
    enum err e = flow_triple(in, in[3], &r);

    *out = r.mean_ml_min;
    return e;
}

static enum err dose_triple_spread(const double *in, double *out)
{
    struct flow_repeat r = { .spread_pct = *out };
    enum err e = flow_triple(in, in[3], &r);

    *out = r.spread_pct;
    return e;
}

static enum err dose_triple_agree(const double *in, double *out)
{
    struct flow_repeat r;
    enum err e = flow_triple(in, in[3], &r);

    if (e == ERR_OK)
        *out = r.agree && !r.again ? 1.0 : 0.0;
    return e;
}

static enum err dose_mdc_means(const double *in, double *out)
{
    return flow_mdc_means(in[0], in[1], dose_whole(in[2]), dose_whole(in[3]),
                          out);
}

static enum err dose_spktv(const double *in, double *out)
{
    struct adequacy_session session = {
        in[0], in[1], in[2], in[3], in[4], in[5]
    };

    return adequacy_spktv(&session, out);
}

static enum err dose_ektv(const double *in, double *out)
{
    return adequacy_ektv((enum ektv_form)dose_whole(in[0]),
                         (enum ektv_blood)dose_whole(in[1]), in[2], in[3], out);
}

static enum err dose_stdktv_fixed(const double *in, double *out)
{
    return adequacy_stdktv_fixed(in[0], in[1], dose_whole(in[2]), out);
}

static enum err dose_stdktv(const double *in, double *out)
{
    struct adequacy_week week = {
        in[0], in[1], in[2], dose_whole(in[3]), in[4], in[5], in[6],
    };

    return adequacy_stdktv(&week, out);
}

/* Inputs in the order of the header; members of a struct in its order. */
static const struct dose_op {
    const char *name;
    size_t inputs;
    dose_fn fn;
} dose_ops[] = {
    { "reversed", 2, dose_flow_reversed },
    { "reversed-uf", 3, dose_flow_reversed_uf },
    { "reversed-cpr", 4, dose_reversed_cpr },
    { "cpr", 5, dose_cpr },
    { "dialysance", 3, dose_flow_dialysance },
    { "output-dilution", 2, dose_flow_output_dilution },
    { "output-thermal", 6, dose_output_thermal },
    { "share", 2, dose_flow_share },
    { "mean-pressure", 2, dose_flow_mean_pressure },
    { "at-100", 2, dose_flow_at_100 },
    { "static-pressure", 2, dose_flow_static_pressure },
    { "static-ratio", 2, dose_flow_static_ratio },
    { "recirc-urea", 3, dose_flow_recirc_urea },
    { "finger-index", 2, dose_flow_finger_index },
    { "height-index", 2, dose_flow_height_index },
    { "bsa-du-bois", 2, dose_flow_bsa_du_bois },
    { "bsa-mosteller", 2, dose_flow_bsa_mosteller },
    { "fall", 2, dose_flow_fall },
    { "pair-mean", 3, dose_pair_mean },
    { "pair-spread", 3, dose_pair_spread },
    { "pair-agree", 3, dose_pair_agree },
    { "triple-mean", 4, dose_triple_mean },
    { "triple-spread", 4, dose_triple_spread },
    { "triple-agree", 4, dose_triple_agree },
    { "mdc", 1, dose_flow_mdc },
    { "mdc-means", 4, dose_mdc_means },
    { "urr", 2, dose_adequacy_urr },
    { "generation", 2, dose_adequacy_generation },
    { "spktv", 6, dose_spktv },
    { "ektv", 4, dose_ektv },
    { "stdktv-fixed", 3, dose_stdktv_fixed },
    { "stdktv", 7, dose_stdktv },
    { "npcr", 3, dose_adequacy_npcr },
    { "uf-rate", 3, dose_adequacy_uf_rate },
    { "urea-from-bun", 1, dose_adequacy_urea_from_bun },
    { "bun-from-urea", 1, dose_adequacy_bun_from_urea },
};

/* The operation of a name, NULL if there is none. */
static const struct dose_op *dose_op(const char *name)
{
    for (size_t i = 0; i < COUNT(dose_ops); i++) {
        if (strcmp(dose_ops[i].name, name) == 0)
            return &dose_ops[i];
    }
    return NULL;
}

#endif
