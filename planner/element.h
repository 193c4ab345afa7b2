/*
 * element - what a piece of vessel, a band or a narrowing costs in pressure
 *
 * Every element is a loss R * Q + K * Q * |Q|, with
 *
 *     Q  mL/min           R  mmHg / (mL/min)
 *     dP mmHg             K  mmHg / (mL/min)^2
 *
 * Diameters and lengths are millimetres.  Marks behind a source as in
 * flow.h; A is an engineering assumption of this project.
 *
 * Nothing here refuses: callers pass what plan_check() let through.
 */
#ifndef HEADGATE_PLANNER_ELEMENT_H
#define HEADGATE_PLANNER_ELEMENT_H

struct blood {
    double mu_pa_s;   /* viscosity, see blood.h */
    double rho_kg_m3; /* density */
};

struct element {
    double r; /* mmHg / (mL/min) */
    double k; /* mmHg / (mL/min)^2 */
};

/* Contraction of the jet behind a sharp edge: 1 / 1.622 (F, as element_edge()).
 * 1 would be a perfectly rounded edge. */
#define ELEMENT_SHARP (1.0 / 1.622)

/*
 * element_poiseuille - laminar loss of a straight tube, R in mmHg/(mL/min)
 *
 *     R = 128 mu L / (pi d^4)
 *
 * Source: Hagen-Poiseuille, any textbook of fluid mechanics.
 */
double element_poiseuille(const struct blood *b, double length_mm,
                          double diameter_mm);

/*
 * element_head - K of the dynamic head of a tube, mmHg/(mL/min)^2
 *
 *     h(d) * Q^2 = rho / 2 * (4 Q / (pi d^2))^2
 *
 * Source: Bernoulli, any textbook.
 */
double element_head(const struct blood *b, double diameter_mm);

/* Reynolds number of the mean flow in a tube. */
double element_reynolds(const struct blood *b, double flow_ml_min,
                        double diameter_mm);

/*
 * element_tube_drop - friction of a straight tube at a flow, mmHg
 *
 * Laminar below a Reynolds number of 2300; above it, Blasius' friction factor
 * f = 0.316 / Re^0.25 of a smooth tube.
 *
 * Source: Blasius 1913, any textbook.
 */
double element_tube_drop(const struct blood *b, double length_mm,
                         double diameter_mm, double flow_ml_min);

/*
 * element_edge - loss of an orifice in a tube, in heads of the orifice
 *
 *     e = 1/Cc - 1
 *     lambda = 1 + e * (1 - 0.215 beta^2 - 0.785 beta^5)
 *     K = 0.0696 * (e / 0.622) * (1 - beta^5) * lambda^2 + (lambda - beta^2)^2
 *
 * beta         diameter of the orifice over that of the tube, 0..1
 * contraction  Cc, 0..1; 1 gives the loss of Borda and Carnot, (1 - beta^2)^2
 *
 * Source: Rennels and Hudson, Pipe Flow, 2012 (F: lambda and 0.0696; M: the
 * recovery term; A: scaled with e between sharp and rounded).
 */
static inline double element_edge(double beta, double contraction)
{
    const double loss = 0.0696, sharp_e = 0.622;
    double b2 = beta * beta, b5 = b2 * b2 * beta;
    double e = 1.0 / contraction - 1.0;
    double lambda = 1.0 + e * (1.0 - 0.215 * b2 - 0.785 * b5);
    double recovery = lambda - b2;

    return loss * (e / sharp_e) * (1.0 - b5) * lambda * lambda +
           recovery * recovery;
}

/*
 * element_pore - viscous loss of a short hole, R in mmHg/(mL/min)
 *
 *     R = mu / r^3 * (3 + 8 L / (pi r))
 *
 * Source: Sampson 1891; Dagan, Weinbaum and Pfeffer, J Fluid Mech 1982 (M).
 */
double element_pore(const struct blood *b, double length_mm,
                    double diameter_mm);

/*
 * element_band - a narrow ligature
 *
 * lumen_mm      what is left open
 * conduit_mm    inner diameter of the conduit beside it
 * length_mm     of the narrow part
 * contraction   Cc, as element_edge()
 * pulse_factor  mean of Q^2 over the square of the mean, and shape; >= 1
 */
struct element element_band(const struct blood *b, double lumen_mm,
                            double conduit_mm, double length_mm,
                            double contraction, double pulse_factor);

/*
 * element_smooth_stenosis - a smooth narrowing; for a lesion, not for a band
 *
 *     dP = Kv mu U0 / D0 + Kt rho / 2 (A0/A1 - 1)^2 U0^2
 *     Kv = 32 (0.83 L + 1.64 D1) / D0 * (A0/A1)^2,  Kt = 1.52
 *
 * Source: Young and Tsai, J Biomech 1973 (M).
 */
struct element element_smooth_stenosis(const struct blood *b, double throat_mm,
                                       double tube_mm, double length_mm);

/*
 * element_quadratic_flow - the flow that a pressure drives through one element
 *
 *     Q = 2 dP / (R + sqrt(R^2 + 4 K dP)), mL/min
 *
 * drop_mmhg  0 or more; r and k not negative and not both 0
 */
double element_quadratic_flow(struct element x, double drop_mmhg);

#endif
