"""planner_model - the arm of the band planner again, in NumPy and SciPy

For planner.py.  Written from the published forms and from what the headers of
planner/ say, with other means: bisection instead of Newton's method, SciPy's
distribution functions, arrays of all guesses at once.  Units mL/min, mmHg, mm.
"""

from functools import lru_cache
from types import SimpleNamespace

import numpy as np
from scipy.optimize import fsolve
from scipy.special import expit, logit, ndtr, ndtri
from scipy.stats import norm

PA_PER_MMHG, M3_S = 133.322, 1 / 60e6
MASK = (1 << 64) - 1
GOLDEN = 0x9E3779B97F4A7C15


# ---- blood and elements ----------------------------------------------------


class Blood:
    """Viscosity and density, Pa s and kg/m^3, from the haematocrit."""

    def __init__(self, haematocrit=0.33):
        self.mu = 10 ** (1.138 * haematocrit + 0.03699) * 1e-3
        self.rho = 1025 * (1 - haematocrit) + 1125 * haematocrit


def poiseuille(b, length, d):
    return 128 * b.mu * length * 1e-3 / (np.pi * (d * 1e-3) ** 4) * M3_S / PA_PER_MMHG


def head(b, d):
    velocity = M3_S / (np.pi * (d * 1e-3) ** 2 / 4)  # at 1 mL/min
    return b.rho * velocity ** 2 / 2 / PA_PER_MMHG


def reynolds(b, flow, d):
    return 4 * b.rho * flow * M3_S / (np.pi * b.mu * d * 1e-3)


def tube_drop(b, length, d, flow):
    """Laminar below 2300, Blasius' smooth tube above."""
    re = reynolds(b, flow, d)
    friction = np.where(re > 2300, 0.316 / np.maximum(re, 1) ** 0.25, 64 / np.maximum(re, 1e-9))
    return friction * length / d * head(b, d) * flow ** 2


def edge(beta, cc):
    """Rennels and Hudson, Pipe Flow, 2012: an orifice in a tube."""
    e = 1 / cc - 1
    jet = 1 + e * (1 - 0.215 * beta ** 2 - 0.785 * beta ** 5)
    return 0.0696 * e / 0.622 * (1 - beta ** 5) * jet ** 2 + (jet - beta ** 2) ** 2


def pore(b, length, d):
    """Sampson 1891, Dagan, Weinbaum and Pfeffer 1982: a short hole."""
    r = d / 2 * 1e-3
    return b.mu / r ** 3 * (3 + 8 * length * 1e-3 / (np.pi * r)) * M3_S / PA_PER_MMHG


def smooth_stenosis(b, throat, tube, length):
    """Young and Tsai, J Biomech 1973."""
    ratio = (tube / throat) ** 2
    kv = 32 * (0.83 * length + 1.64 * throat) / tube * ratio ** 2
    area = np.pi * (tube * 1e-3) ** 2 / 4
    return (kv * b.mu / (tube * 1e-3) / area * M3_S / PA_PER_MMHG,
            1.52 * (ratio - 1) ** 2 * head(b, tube))


def quadratic_flow(r, k, drop):
    """The root of k q^2 + r q = drop, in the form that also holds for k = 0."""
    return 2 * drop / (r + np.sqrt(r * r + 4 * k * np.abs(drop)))


# ---- the sample ------------------------------------------------------------


def order(dimension, n):
    """Fisher and Yates' shuffle of 0..n-1, driven by splitmix64."""
    state, place = GOLDEN * (dimension + 1) & MASK, list(range(n))
    for i in range(n - 1, 0, -1):
        state = state + GOLDEN & MASK
        x = (state ^ state >> 30) * 0xBF58476D1CE4E5B9 & MASK
        x = (x ^ x >> 27) * 0x94D049BB133111EB & MASK
        k = (x ^ x >> 31) % (i + 1)
        place[i], place[k] = place[k], place[i]
    return np.array(place)


@lru_cache(None)
def places(dimension, n):
    return (order(dimension, n) + 0.5) / n


@lru_cache(None)
def scores(dimension, n):
    """Standard normal."""
    return ndtri(places(dimension, n))


def quantiles(value, weight, at=(0.05, 0.5, 0.95)):
    o = np.argsort(value, kind='stable')
    c = np.cumsum(weight[o]) - weight[o] / 2
    return np.interp(at, c, value[o])


# ---- what is believed ------------------------------------------------------

# Mean, standard deviation, and where it is cut off.
PRIORS = {
    'reference': dict(offset=(0.52, 0.25, -0.2, 1.3), contraction=(0.64, 0.04, 0.55, 0.80),
                      knot=0.10, stretch=(0.60, 0.25, 0.0, 1.5)),
    'default': dict(offset=(0.57, 0.28, -0.4, 1.5), contraction=(0.76, 0.16, 0.50, 1.0),
                    knot=0.10, stretch=(0.60, 0.25, 0.0, 1.5)),
}
# Of a single reading within a session, as planner/flow.h; either where it is
# not stated.
CV = {'ultrasound-dilution': 0.077, 'duplex': 0.116, '': 0.116}
SHARES = {'elbow': dict(psi=(0.22, 0.7), s=(0.84, 0.6), a=(0.70, 0.8)),
          'wrist': dict(psi=(0.45, 0.6), s=(0.96, 0.5), a=(0.40, 0.8))}
PSI_WITH_INDEX = (0.40, 1.0)
ESS_LEAST = 150


def share_logpdf(x, mean, sd):
    """Logarithm of the density of a logit-normal share, in the share."""
    return norm.logpdf(logit(x), logit(mean), sd) - np.log(x * (1 - x))


# ---- all guesses of an arm -------------------------------------------------


class Arm:
    """One array entry per guess; all of them reproduce the baseline."""

    @classmethod
    def of(cls, given):
        """As the planner: more guesses where the usual number leaves too few."""
        arm = cls(given, 4096)
        if 1 / np.sum(arm.w ** 2) < ESS_LEAST:
            arm = cls(given, 32768)
        return arm

    def __init__(self, given, n):
        self.n, self.given = n, given
        self.prior = PRIORS[given['prior']]
        self.cv = CV[given['method']]
        self.blood = Blood(given.get('haematocrit_frac', 0.33))
        self.logw = np.zeros(n)
        self.draw_pressures_and_flow()
        self.draw_band()
        self.draw_hand()
        self.put_together()
        self.weigh()
        self.seen, self.ties, self.stretches, self.stand = [], 0, 0, self.conduit
        for stage in given.get('stages', ()):
            self.live_through(*stage)

    def z(self, j):
        return scores(j, self.n)

    def cut(self, j, mean, sd, least, most):
        """A truncated normal, by the inverse of its distribution."""
        low, high = ndtr((least - mean) / sd), ndtr((most - mean) / sd)
        return mean + sd * ndtri(low + places(j, self.n) * (high - low))

    def share(self, j, mean, sd):
        return expit(logit(mean) + sd * self.z(j))

    def draw_pressures_and_flow(self):
        g, reads = self.given, self.given['flow_ml_min']
        measured = g['map_mmhg'] != 'nan'
        self.map = (g['map_mmhg'] + 4 * self.z(0) if measured
                    else self.cut(0, 92.7, 13.9, 50, 160))
        self.cvp = (g['cvp_mmhg'] + 1.5 * self.z(1) if 'cvp_mmhg' in g
                    else self.cut(1, 8, 3, 0, 20))
        self.drop = self.map - self.cvp
        self.bias = np.exp(0.08 * self.z(3))
        self.q0 = np.exp(np.mean(np.log(reads)) + self.cv / np.sqrt(len(reads)) * self.z(2)
                         - np.log(self.bias))
        self.kappa = self.cut(11, 2.5, 1.5, 0, 8) / 1000

    def draw_band(self):
        g = self.given
        self.offset = self.cut(7, *self.prior['offset'])
        self.contraction = self.cut(8, *self.prior['contraction'])
        if 'conduit_mm' in g:
            self.conduit = g['conduit_mm'] + 0.5 * self.z(9)
        elif g.get('graft'):
            self.conduit = self.cut(9, 6, 0.5, 4, 8)
        else:
            self.conduit = self.cut(9, 9, 1.8, 5.5, 16)
        self.pulse = 1.06 * np.exp(0.06 * self.z(10))

    def draw_hand(self):
        """Transmission and the artery's share are solved for where a finger
        index is known, and weighed by what was believed of them."""
        g, believed = self.given, SHARES[self.given.get('region', 'elbow')]
        self.gain = self.cut(15, 1.08, 0.08, 0.7, 1.6)
        self.rh = 1.3 * np.exp(0.4 * self.z(12))
        self.a = self.share(14, *believed['a'])
        self.s, self.psi = self.share(13, *believed['s']), self.share(4, *believed['psi'])
        if 'index_compressed' in g:
            index = g['index_compressed'] + 0.06 * self.z(13)
            self.s = np.clip((index / self.gain * self.map - self.cvp) / self.drop, 0.05, 0.98)
            self.logw += share_logpdf(self.s, *believed['s'])
        if 'index_open' in g:
            index = g['index_open'] + 0.06 * self.z(4)
            x = (index / self.gain * self.map - self.cvp) / self.drop
            free = (1 - x / self.s) / self.a
            self.psi = np.clip(free, 0.01, 0.9)
            self.logw += (share_logpdf(self.psi, *PSI_WITH_INDEX) - np.log(self.s * self.a)
                          - 30 * (free != self.psi))
        across = 1 / (self.rh * (1 - self.s))
        self.rd = 1 / (self.s * self.a * across)
        self.rc = 1 / (self.s * (1 - self.a) * across)

    def put_together(self):
        g = self.given
        phi_a, phi_f = self.share(5, 0.65, 0.8), self.share(6, 0.60, 0.8)
        fed = self.psi * self.drop
        pa = self.map - fed
        # The hand is between the artery, the collateral and the veins.
        hand = ((pa / self.rd + self.map / self.rc + self.cvp / self.rh)
                / (1 / self.rd + 1 / self.rc + 1 / self.rh))
        self.distal0 = (pa - hand) / self.rd
        qf = self.q0 + self.distal0
        # The artery feeds the access: a guess in which it cannot is no guess.
        self.logw -= 30 * (qf < 0.05 * self.q0)
        qf = np.maximum(qf, 0.05 * self.q0)
        self.rf, self.kf = (1 - phi_f) * fed / qf, phi_f * fed / qf ** 2
        path = pa - self.cvp
        self.lesion = np.zeros(self.n)
        if 'static_mmhg' in g:
            if 'stenosis_frac' in g:
                self.lesion = np.clip(g['static_mmhg'] - self.cvp - 4, 0, 0.95 * path)
            self.logw -= 0.5 * (np.maximum(g['static_mmhg'] + 3 - pa, 0) / 4) ** 2
        rest = path - self.lesion
        self.ra, self.ka = (1 - phi_a) * rest / self.q0, phi_a * rest / self.q0 ** 2
        self.ro, self.ko = 0.2 * self.lesion / self.q0, 0.8 * self.lesion / self.q0 ** 2
        if 'artery_mm' in g:
            flow = np.exp(np.mean(np.log(g['flow_ml_min'])))
            artery = (tube_drop(self.blood, 250, g['artery_mm'], flow)
                      + 1.5 * head(self.blood, g['artery_mm']) * flow ** 2)
            self.logw -= 0.5 * (np.log(fed / artery) / 0.45) ** 2

    def weigh(self):
        w = np.exp(self.logw - self.logw.max())
        self.w = w / w.sum()

    # ---- a band, and the circuit with it

    def tied(self, dowel):
        """Lumen of each guess if this were tied next."""
        knot = self.z(16 + self.ties if self.ties < 4 else 17 + self.ties)
        return np.clip(dowel - self.offset - self.prior['knot'] * knot, 0.5,
                       0.98 * self.conduit)

    def stretched(self):
        gain = self.cut(20 if self.stretches == 0 else 24 + self.stretches,
                        *self.prior['stretch'])
        return np.minimum(self.stand + gain, 0.98 * self.conduit)

    def opened(self):
        """The outflow lesion after angioplasty: section by section, R of a
        tube with the fourth power of its width, K besides as Borda-Carnot."""
        b0, b1 = 1 - self.given['stenosis_frac'], 1 - self.given['stenosis_after_frac']
        r = (b0 / b1) ** 4
        return dict(r_factor=r, k_factor=r * ((1 - b1 ** 2) / (1 - b0 ** 2)) ** 2)

    def series(self, lumen, r_factor=1, k_factor=1):
        """R and K from the anastomosis to the veins."""
        r, k = self.ra + self.ro * r_factor, self.ka + self.ko * k_factor
        if lumen is not None:
            r = r + pore(self.blood, 1.5, lumen)
            k = k + self.pulse * edge(lumen / self.conduit, self.contraction) \
                * head(self.blood, lumen)
        return r, k

    def solve(self, lumen, shift=0, coupled=True, r_factor=1, k_factor=1):
        """Bisection on the pressure at the anastomosis: what the artery
        brings falls with it, what the access and the hand take rises.

        shift    of the arterial pressure since the baseline
        coupled  the arterial pressure rises as the flow falls
        """
        r, k = self.series(lumen, r_factor, k_factor)
        base, kappa = self.map + shift, self.kappa if coupled else 0
        low, high = self.cvp, base + kappa * self.q0
        for _ in range(64):
            pa = (low + high) / 2
            q = quadratic_flow(r, k, pa - self.cvp)
            map_ = base + kappa * (self.q0 - q)
            hand = ((pa / self.rd + map_ / self.rc + self.cvp / self.rh)
                    / (1 / self.rd + 1 / self.rc + 1 / self.rh))
            more = quadratic_flow(self.rf, self.kf, map_ - pa) > q + (pa - hand) / self.rd
            low, high = np.where(more, pa, low), np.where(more, high, pa)
        return SimpleNamespace(q=q, hand=hand, map=map_, distal=(pa - hand) / self.rd)

    def two_unknowns(self, lumen, some):
        """The access flow of a few guesses, by SciPy from two balances."""
        r, k = self.series(lumen)
        out = []
        for i in some:
            def balance(x, i=i):
                q, hand = x[0] * 1000, x[1]
                map_ = self.map[i] + self.kappa[i] * (self.q0[i] - q)
                pa = self.cvp[i] + (r[i] + k[i] * abs(q)) * q
                distal = (pa - hand) / self.rd[i]
                qf = q + distal
                return (map_ - pa - (self.rf[i] + self.kf[i] * abs(qf)) * qf,
                        100 * (distal + (map_ - hand) / self.rc[i]
                               - (hand - self.cvp[i]) / self.rh[i]))
            out.append(1000 * fsolve(balance, (self.q0[i] / 2000, self.map[i] / 2),
                                     xtol=1e-12)[0])
        return np.array(out)

    def index(self, s):
        return self.gain * s.hand / s.map

    # ---- what was done and measured

    def live_through(self, step, dowel, flows, measured_map=None, index=None):
        if step == 'tied':
            self.stand = self.tied(dowel)
            self.ties += 1
        elif step == 'stretched':
            self.stand = self.stretched()
            self.stretches += 1
        else:
            self.stand = None
        if measured_map is None:
            s = self.solve(self.stand)
        else:
            s = self.solve(self.stand, measured_map - self.given['map_mmhg'], False)
        read = s.q * self.bias
        y = np.mean(np.log(flows)) if flows else np.nan
        tail = self.w @ (np.log(read) <= y) if flows else np.nan
        self.seen.append((np.exp(y), tail, *quantiles(read, self.w)))
        if flows:
            t = (y - np.log(read)) / (self.cv / np.sqrt(len(flows)))
            # Far outside what was predicted it is believed by half.
            temper = 1 if 0.01 <= tail <= 0.99 else 0.5
            self.logw = self.logw - temper * 3 * np.log1p(t * t / 5)
        if index is not None:
            self.logw = self.logw - 0.5 * ((index - self.index(s)) / 0.06) ** 2
        self.weigh()
