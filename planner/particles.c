/* Particles from what was measured; a constant without a source is a defect,
 * marks as in element.h. */
#include "planner/particles.h"

#include "planner/blood.h"
#include "planner/sample.h"

#include <math.h>

enum {
    DIM_MAP,
    DIM_CVP,
    DIM_READ,
    DIM_BIAS,
    DIM_PSI,
    DIM_PHI_ACCESS,
    DIM_PHI_FEEDING,
    DIM_OFFSET,
    DIM_CONTRACTION,
    DIM_CONDUIT,
    DIM_PULSE,
    DIM_KAPPA,
    DIM_HAND,
    DIM_TRANSMIT,
    DIM_DIRECT,
    DIM_GAIN
};

#define CUFF_SD_MMHG         4.0 /* error of a cuff (A) */
#define CVP_MEASURED_SD_MMHG 1.5 /* (A) */
/* One method reads differently from day to day and place to place: between
 * sessions 14.2 %, within 7.7 % (Huisman 2005, F), less what is physiology. */
#define BIAS_SD          0.08
#define LESION_QUADRATIC 0.8 /* part of a lesion's loss that is (A) */
#define STATIC_AHEAD_MMHG                                                      \
    4.0                      /* of the static pressure: conduit and veins (A) */
#define STATIC_SD_MMHG   4.0 /* (A) */
#define ARTERY_LENGTH_MM 250.0 /* brachial, or radial to the wrist (M) */
#define ARTERY_HEADS     1.5   /* entrance and bends, in heads (A) */
#define ARTERY_LOG_SD    0.45  /* (A) */
#define FEEDING_LEAST    0.05  /* of the access flow, through the artery (A) */
#define CLIPPED_COST     30.0  /* log weight of an impossible guess (A) */

/* MAP where none was measured: 86 on dialysis, Basile 2016 (F); a graft: 6 mm,
 * common practice, no source; CVP on dialysis (M); veins of a mature fistula
 * (A); ellipticity and pulse, mean of Q^2 over the square of the mean: cv of
 * the pulse 0.25 (A); rise of MAP per L/min removed: 14 mmHg on full occlusion
 * in the first seconds (F); finger systolic over hand mean: 0.97 against 0.88
 * in 53 subjects (F2). */
static const struct prior_normal map_prior = { 92.7, 13.9, 50.0, 160.0 };
static const struct prior_normal graft_prior = { 6.0, 0.5, 4.0, 8.0 };
static const struct prior_normal cvp_prior = { 8.0, 3.0, 0.0, 20.0 };
static const struct prior_normal conduit_prior = { 9.0, 1.8, 5.5, 16.0 };
static const struct prior_normal kappa_prior = { 2.5, 1.5, 0.0, 8.0 };
static const struct prior_normal gain_prior = { 1.08, 0.08, 0.7, 1.6 };
#define CONDUIT_SD_MM 0.5
#define PULSE_MEAN    1.06
#define PULSE_LOG_SD  0.06
/* Hand and, of an elbow access, forearm: 1.6 to 10.7 mL/100 mL/min (F) times
 * the volume (M). */
#define HAND_R_MMHG 1.3
#define HAND_LOG_SD 0.4

/* A share between 0 and 1: its logit is normal around that of a mean. */
struct share {
    double mean, sd;
};
struct share_law {
    double logit, sd;
};
static const struct share phi_access = { 0.65, 0.8 };  /* (C, A) */
static const struct share phi_feeding = { 0.60, 0.8 }; /* (C, A) */
/* Of the artery: drop of the finger index 0.89 to 0.70 when an access is made
 * (F), wider once an index is known; finger mean about 10 mmHg below brachial
 * (F); at the wrist a third of the flow runs backwards (F). */
static const struct share psi_elbow = { 0.22, 0.7 }, psi_wrist = { 0.45, 0.6 },
                          psi_index = { 0.40, 1.0 };
static const struct share transmit_elbow = { 0.84, 0.6 },
                          transmit_wrist = { 0.96, 0.5 };
static const struct share direct_elbow = { 0.70, 0.8 },
                          direct_wrist = { 0.40, 0.8 };

static double clip(double x, double least, double most)
{
    return x < least ? least : x > most ? most : x;
}

static double normal_below(double z)
{
    return 0.5 * erfc(-z * sqrt(0.5));
}

struct cut cut_of(const struct prior_normal *p)
{
    double below = 0.0, upto = 1.0;

    if (p->sd > 0.0) {
        below = normal_below((p->least - p->mean) / p->sd);
        upto = normal_below((p->most - p->mean) / p->sd);
    }
    return (struct cut){ p->mean, p->sd, below, upto - below };
}

double cut_at(const struct cut *c, double u)
{
    return c->mean + c->sd * sample_normal(c->below + u * c->within);
}

static double logit(double x)
{
    return log(x / (1.0 - x));
}

static struct share_law law_of(const struct share *s)
{
    return (struct share_law){ logit(s->mean), s->sd };
}

static double share_at(const struct share_law *s, double z)
{
    return 1.0 / (1.0 + exp(-(s->logit + s->sd * z)));
}

/* Logarithm of the density of a share, but for a constant. */
static double share_log_density(const struct share_law *s, double x)
{
    double t = (logit(x) - s->logit) / s->sd;

    return -0.5 * t * t - log(x * (1.0 - x));
}

/* What is the same for all particles of a build. */
struct build {
    const struct plan_input *in;
    struct particles *p;
    struct share_law psi, transmit, direct, phi_access, phi_feeding;
    struct cut map, cvp, conduit, offset, contraction, kappa, gain;
    double log_mean, read_sd, artery_drop_mmhg;
};

static double artery_drop(const struct particles *p,
                          const struct plan_input *in, double flow_ml_min)
{
    if (!(in->artery_mm > 0.0))
        return NAN;
    return element_tube_drop(&p->blood, ARTERY_LENGTH_MM, in->artery_mm,
                             flow_ml_min) +
           ARTERY_HEADS * element_head(&p->blood, in->artery_mm) * flow_ml_min *
               flow_ml_min;
}

static void build_common(struct build *b)
{
    const struct plan_input *in = b->in;
    bool wrist = in->region == PLAN_WRIST, index = isfinite(in->index_open);
    struct prior_normal map = map_prior, cvp = cvp_prior,
                        conduit = in->graft ? graft_prior : conduit_prior;
    double hct = isfinite(in->haematocrit_frac) ? in->haematocrit_frac
                                                : BLOOD_HAEMATOCRIT_USUAL;

    /* plan_check() has seen to the range. */
    if (blood_viscosity(hct, &b->p->blood.mu_pa_s) != ERR_OK ||
        blood_density(hct, &b->p->blood.rho_kg_m3) != ERR_OK)
        b->p->blood = (struct blood){ NAN, NAN };
    if (isfinite(in->map_mmhg))
        map = (struct prior_normal){ in->map_mmhg, CUFF_SD_MMHG, 0, 400 };
    if (isfinite(in->cvp_mmhg))
        cvp = (struct prior_normal){ in->cvp_mmhg, CVP_MEASURED_SD_MMHG, -30,
                                     60 };
    if (isfinite(in->conduit_mm))
        conduit = (struct prior_normal){ in->conduit_mm, CONDUIT_SD_MM, 0, 60 };
    b->psi = law_of(index ? &psi_index : wrist ? &psi_wrist : &psi_elbow);
    b->transmit = law_of(wrist ? &transmit_wrist : &transmit_elbow);
    b->direct = law_of(wrist ? &direct_wrist : &direct_elbow);
    b->phi_access = law_of(&phi_access);
    b->phi_feeding = law_of(&phi_feeding);
    b->map = cut_of(&map);
    b->cvp = cut_of(&cvp);
    b->conduit = cut_of(&conduit);
    b->offset = cut_of(&in->prior->offset_mm);
    b->contraction = cut_of(&in->prior->contraction);
    b->kappa = cut_of(&kappa_prior);
    b->gain = cut_of(&gain_prior);
    b->log_mean = particles_log_mean(in->flow_ml_min, in->flow_count);
    b->read_sd = particles_cv(in->method) / sqrt((double)in->flow_count);
    b->artery_drop_mmhg = artery_drop(b->p, in, exp(b->log_mean));
}

/* The hand: transmission, share of the artery and index, from what the finger
 * showed.  Inverted rather than weighed, which would leave next to nothing. */
struct arm {
    double s, a, psi;
};

static struct arm arm_of(struct build *b, size_t i, double drop)
{
    const struct plan_input *in = b->in;
    struct particles *p = b->p;
    const struct lattice *l = p->lattice;
    double zs = lattice_z(l, DIM_TRANSMIT, i), zp = lattice_z(l, DIM_PSI, i);
    struct arm arm = { share_at(&b->transmit, zs),
                       share_at(&b->direct, lattice_z(l, DIM_DIRECT, i)),
                       share_at(&b->psi, zp) };

    if (isfinite(in->index_compressed)) {
        double x = ((in->index_compressed + PARTICLES_INDEX_SD * zs) /
                        p->gain[i] * p->map[i] -
                    p->cvp[i]) /
                   drop;

        arm.s = clip(x, 0.05, 0.98);
        p->logw[i] += share_log_density(&b->transmit, arm.s);
    }
    if (isfinite(in->index_open)) {
        double x = ((in->index_open + PARTICLES_INDEX_SD * zp) / p->gain[i] *
                        p->map[i] -
                    p->cvp[i]) /
                   drop;
        double psi = (1.0 - x / arm.s) / arm.a;

        arm.psi = clip(psi, 0.01, 0.9);
        p->logw[i] += share_log_density(&b->psi, arm.psi) - log(arm.s * arm.a) -
                      (arm.psi != psi ? CLIPPED_COST : 0.0);
        p->impossible[i] = arm.psi != psi;
    }
    return arm;
}

/* What the outflow lesion takes, from the pressure ahead of it. */
static double lesion_of(struct build *b, size_t i, double path)
{
    const struct plan_input *in = b->in;
    struct particles *p = b->p;
    double over;

    if (!isfinite(in->static_mmhg))
        return 0.0;
    /* The artery cannot be lower than the access that it feeds. */
    over = in->static_mmhg + 3.0 - (path + p->cvp[i]);
    if (over > 0.0)
        p->logw[i] -= 0.5 * (over / STATIC_SD_MMHG) * (over / STATIC_SD_MMHG);
    if (!(in->stenosis_frac > 0.0))
        return 0.0;
    return clip(in->static_mmhg - p->cvp[i] - STATIC_AHEAD_MMHG, 0.0,
                0.95 * path);
}

static void hand_of(struct build *b, size_t i, const struct arm *arm)
{
    struct particles *p = b->p;
    double across;

    p->rh[i] =
        HAND_R_MMHG * exp(HAND_LOG_SD * lattice_z(p->lattice, DIM_HAND, i));
    across = 1.0 / (p->rh[i] * (1.0 - arm->s));
    p->rd[i] = 1.0 / (arm->s * arm->a * across);
    p->rc[i] = 1.0 / (arm->s * (1.0 - arm->a) * across);
}

static void circuit_of(struct build *b, size_t i, const struct arm *arm,
                       double drop)
{
    struct particles *p = b->p;
    double phi_a =
        share_at(&b->phi_access, lattice_z(p->lattice, DIM_PHI_ACCESS, i));
    double phi_f =
        share_at(&b->phi_feeding, lattice_z(p->lattice, DIM_PHI_FEEDING, i));
    double q0 = p->q0[i], fed = arm->psi * drop, pa = p->map[i] - fed;
    double share = p->share[i] = p->rh[i] / (p->rc[i] + p->rh[i]);
    double source = p->cvp[i] + drop * share;
    double qd = (pa - source) / (p->rd[i] + p->rc[i] * share), qf = q0 + qd;
    double lesion = lesion_of(b, i, pa - p->cvp[i]);
    double least = FEEDING_LEAST * q0;
    double rest = pa - p->cvp[i] - lesion;

    /* The artery feeds the access: a guess in which the hand alone would do
     * so cannot be. */
    if (qf < least) {
        qf = least;
        p->logw[i] -= CLIPPED_COST;
        p->impossible[i] = true;
    }
    p->rf[i] = (1.0 - phi_f) * fed / qf;
    p->kf[i] = phi_f * fed / (qf * qf);
    p->ra[i] = (1.0 - phi_a) * rest / q0;
    p->ka[i] = phi_a * rest / (q0 * q0);
    p->lesion[i] = lesion;
    p->ro[i] = (1.0 - LESION_QUADRATIC) * lesion / q0;
    p->ko[i] = LESION_QUADRATIC * lesion / (q0 * q0);
    if (isfinite(b->artery_drop_mmhg)) {
        double t = log(fed / b->artery_drop_mmhg) / ARTERY_LOG_SD;

        p->logw[i] -= 0.5 * t * t;
    }
}

static void build_one(struct build *b, size_t i)
{
    struct particles *p = b->p;
    const struct lattice *l = p->lattice;
    struct arm arm;
    double drop;

    p->logw[i] = 0.0;
    p->impossible[i] = false;
    p->map[i] = cut_at(&b->map, lattice_u(l, DIM_MAP, i));
    p->cvp[i] = cut_at(&b->cvp, lattice_u(l, DIM_CVP, i));
    p->bias[i] = exp(BIAS_SD * lattice_z(l, DIM_BIAS, i));
    p->q0[i] =
        exp(b->log_mean + b->read_sd * lattice_z(l, DIM_READ, i)) / p->bias[i];
    p->offset[i] = cut_at(&b->offset, lattice_u(l, DIM_OFFSET, i));
    p->contraction[i] =
        cut_at(&b->contraction, lattice_u(l, DIM_CONTRACTION, i));
    p->conduit[i] = cut_at(&b->conduit, lattice_u(l, DIM_CONDUIT, i));
    p->stand[i] = p->conduit[i];
    p->pulse[i] = PULSE_MEAN * exp(PULSE_LOG_SD * lattice_z(l, DIM_PULSE, i));
    p->kappa[i] = cut_at(&b->kappa, lattice_u(l, DIM_KAPPA, i)) / 1000.0;
    p->gain[i] = cut_at(&b->gain, lattice_u(l, DIM_GAIN, i));
    drop = p->map[i] - p->cvp[i];
    arm = arm_of(b, i, drop);
    hand_of(b, i, &arm);
    circuit_of(b, i, &arm, drop);
}

void particles_build(struct particles *p, const struct lattice *lattice,
                     const struct plan_input *in)
{
    struct build b = { .in = in, .p = p };

    p->lattice = lattice;
    p->n = lattice->n;
    build_common(&b);
    for (size_t i = 0; i < p->n; i++)
        build_one(&b, i);
}
