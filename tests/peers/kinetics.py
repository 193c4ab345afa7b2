#!/usr/bin/env python3
"""kinetics - the formulas of flow and dose against NumPy and a simulation

    python3 kinetics.py PATH_TO_tool_dose

Needs Debian's python3-numpy and python3-scipy.  Asks tests/tool_dose.c for
thousands of results and checks them in four ways:

1. every formula, worked out again here from its published form;
2. the flow formulas against the mass balance of an access with its needles,
   solved as linear equations, and the least change against drawn errors;
3. dose against a patient of one pool of urea with variable volume, in the
   steady state of a week: what was put in must come out;
4. the rate equations against a patient of two pools, for plausibility.

Ends with the line "N checks, W wrong" and with status 1 if any was wrong.
Everything random has a fixed seed.
"""

import subprocess
import sys
from itertools import product

import numpy as np
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

WEEK_MIN = 10080.0
DAY_MIN = 1440.0
SCHEDULES_D = {3: (0, 2, 4), 4: (0, 1, 3, 5), 6: (0, 1, 2, 3, 4, 5)}
# Litres of urea space for a kilogram after dialysis.
V_PER_KG = 0.58


class Peer:
    """The program under test, and the tally of what it said."""

    def __init__(self, tool):
        self.tool = tool
        self.checks = 0
        self.wrong = 0

    def ask(self, op, *columns):
        """One result for each row of the columns; NaN where it refuses."""
        columns = [np.atleast_1d(c) for c in columns]
        rows = np.column_stack(np.broadcast_arrays(*columns))
        text = ''.join(
            op + ' ' + ' '.join(f'{x:.17g}' for x in row) + '\n' for row in rows)
        done = subprocess.run([self.tool], input=text, capture_output=True,
                              text=True, check=True)
        answers = done.stdout.split()
        if len(answers) != len(rows):
            raise SystemExit(f'{op}: {len(rows)} questions, {len(answers)} answers')
        return np.array([np.nan if a == 'err' else float(a) for a in answers])

    def near(self, name, got, want, relative=0.0, absolute=0.0):
        """Both numbers near each other, or both refused."""
        got, want = np.broadcast_arrays(np.atleast_1d(got), np.atleast_1d(want))
        off = np.abs(got - want)
        good = np.where(np.isnan(want), np.isnan(got),
                        off <= absolute + relative * np.abs(want))
        self.checks += len(good)
        self.wrong += int(np.sum(~good))
        for i in np.flatnonzero(~good)[:5]:
            print(f'WRONG {name}: row {i} is {got[i]:.12g}, not {want[i]:.12g}')

    def inside(self, name, value, least, most):
        """A measured deviation inside its stated range."""
        value = np.atleast_1d(value)
        self.near(name, value, np.clip(value, least, most), absolute=1e-12)
        if np.any(np.isnan(value)):
            self.wrong += 1
            print(f'WRONG {name}: not a number')
        print(f'{name}: {np.min(value):.3g} to {np.max(value):.3g}, '
              f'allowed {least:g} to {most:g}')


# ---- 1. the formulas again -------------------------------------------------


def refuse(good, value):
    return np.where(good, value, np.nan)


def ektv(form, blood, sp, minutes):
    """The published forms, as written in their sources."""
    hours = minutes / 60
    table = {
        (0, 0): sp - 0.6 * sp / hours + 0.03,
        (0, 1): sp - 0.47 * sp / hours + 0.02,
        (1, 0): sp * minutes / (minutes + 35),
        (1, 1): sp * minutes / (minutes + 22),
        (2, 0): sp * minutes / (minutes + 30.7),
        (3, 0): 0.924 * sp - 0.395 * sp / hours + 0.056,
    }
    out = np.full_like(sp, np.nan)
    for (f, b), value in table.items():
        out = np.where((form == f) & (blood == b), value, out)
    return refuse(out >= 0, out)


def spktv(pre, post, minutes, uf_ml, kg, g):
    ratio, hours = post / pre, minutes / 60
    left = ratio - g * hours
    with np.errstate(invalid='ignore', divide='ignore'):
        value = -np.log(left) + (4 - 3.5 * ratio) * (uf_ml / 1000) / kg
    return refuse((post < pre) & (left > 0) & (value > 0), value)


def stdktv_fixed(x, minutes, n):
    gone = 1 - np.exp(-x)
    value = (WEEK_MIN * gone / minutes) / (gone / x + WEEK_MIN / (n * minutes) - 1)
    return refuse(n * minutes < WEEK_MIN, value)


def stdktv(x, sp, minutes, n, uf_ml, litres, kru):
    fluid = 0.74 / n * (uf_ml / 1000) / litres
    rest = kru / 1000 * (0.974 / (sp + 1.62) + 0.4) * WEEK_MIN / litres
    value = stdktv_fixed(x, minutes, n) / (1 - fluid) + rest
    return refuse(fluid < 1, value)


def cpr(qbn, rn, qbx, quf, rx):
    value = rn * (1 - rx) / (rx * (1 - rn)) * (qbx - quf) / qbn
    return refuse(value < 1, value)


def spread(*q):
    q = np.array(q)
    return 100 * (q.max(axis=0) - q.min(axis=0)) / q.mean(axis=0)


def two_agree(a, b, c, limit):
    near = np.minimum(np.minimum(spread(a, b), spread(b, c)), spread(a, c))
    return (near <= limit).astype(float)


def mdc_means(w, b, n, m):
    session = np.maximum(b ** 2 - w ** 2, 0)
    return refuse(b >= w, 1.96 * np.sqrt(2 * (session / n + w ** 2 / (n * m))))


QB, R, FLOW, MAP = (50, 650), (0.01, 0.95), (1, 8000), (20, 220)
MIN, KTV, HEIGHT, KG = (30, 720), (0.01, 4), (0.5, 2.4), (3, 300)

# name: ranges of the inputs (a third entry: whole numbers), formula
FORMULAS = {
    'reversed': ([QB, R], lambda qb, r: qb * (1 - r) / r),
    'reversed-uf': ([QB, (0, 60), R], lambda qb, u, r: refuse(u < qb, (qb - u) * (1 - r) / r)),
    'reversed-cpr': ([QB, (0, 49), R, (0, 0.8)],
                     lambda qb, u, r, c: (1 - r) / (r * (1 - c)) * (qb - u)),
    'cpr': ([QB, (0, 0.5), QB, (0, 49), R], cpr),
    'dialysance': ([(50, 350), (50, 350), (0, 49)],
                   lambda d, r, u: refuse(r < d, (d - u) * r / (d - r))),
    'output-dilution': ([(1, 100), (0.01, 5)], lambda m, a: m / a * 0.06),
    'output-thermal': ([(1, 20), (25, 45), (0, 24), (0.5, 2), (0.1, 1), (0.1, 50)],
                       lambda v, b, i, k1, k2, a: v * (b - i) * k1 * k2 / a * 0.06),
    'share': ([FLOW, (1, 20)], lambda q, c: refuse(q / c / 1000 <= 0.8, q / c / 1000)),
    'mean-pressure': ([(40, 300), (15, 200)],
                      lambda s, d: refuse(d < s, d + (s - d) / 3)),
    'at-100': ([FLOW, MAP], lambda q, m: q / (m / 100)),
    'static-pressure': ([(-50, 250), (0, 100)], lambda p, h: p + 0.35 * h + 3.4),
    'static-ratio': ([(-10, 250), MAP], lambda p, m: p / m),
    'recirc-urea': ([(1, 100), (1, 100), (0, 100)],
                    lambda p, a, v: refuse((v <= a) & (a <= p) & (v < p),
                                           100 * (p - a) / (p - v))),
    'finger-index': ([(0, 300), (40, 300)], lambda f, b: f / b),
    'height-index': ([FLOW, HEIGHT], lambda q, h: q * np.exp(-2.7 * np.log(h))),
    'bsa-du-bois': ([HEIGHT, KG],
                    lambda h, w: 0.007184 * np.exp(0.425 * np.log(w) + 0.725 * np.log(100 * h))),
    'bsa-mosteller': ([HEIGHT, KG], lambda h, w: np.sqrt(h * w / 36)),
    'fall': ([FLOW, FLOW], lambda b, a: 100 - 100 * a / b),
    'pair-mean': ([FLOW, FLOW, (0.1, 100)], lambda a, b, limit: a / 2 + b / 2),
    'pair-spread': ([FLOW, FLOW, (0.1, 100)], lambda a, b, limit: spread(a, b)),
    'pair-agree': ([(500, 1500), (500, 1500), (0.1, 100)],
                   lambda a, b, limit: (spread(a, b) <= limit).astype(float)),
    'triple-mean': ([FLOW, FLOW, FLOW, (0.1, 100)], lambda a, b, c, limit: a / 3 + b / 3 + c / 3),
    'triple-spread': ([FLOW, FLOW, FLOW, (0.1, 100)], lambda a, b, c, limit: spread(a, b, c)),
    'triple-agree': ([(500, 1500)] * 3 + [(0.1, 50)], two_agree),
    'mdc': ([(0.5, 100)], lambda cv: 1.96 * np.sqrt(2 * cv ** 2)),
    'mdc-means': ([(0.5, 30), (0.5, 60), (1, 100, int), (1, 100, int)], mdc_means),
    'urr': ([(1, 100), (0, 100)], lambda a, b: refuse(b < a, 100 - 100 * b / a)),
    'generation': ([(0.5, 7), MIN],
                   lambda d, m: refuse(24 * d > m / 60, 0.0174 * 24 / (24 * d - m / 60))),
    'spktv': ([(1, 100), (0, 60), MIN, (-1000, 8000), KG, (0, 0.03)], spktv),
    'ektv': ([(0, 3, int), (0, 1, int), KTV, MIN], ektv),
    'stdktv-fixed': ([KTV, MIN, (1, 14, int)], stdktv_fixed),
    'stdktv': ([KTV, KTV, (30, 600), (1, 7, int), (0, 60000), (10, 80), (0, 20)], stdktv),
    'npcr': ([(1, 200), (5, 250), (4, 168)],
             lambda a, b, h: refuse(b > a, 0.22 + 0.864 * (b - a) / h)),
    'uf-rate': ([(-1000, 8000), MIN, KG], lambda u, m, w: u * 60 / (m * w)),
    'urea-from-bun': ([(0, 300)], lambda b: b / 2.80134),
    'bun-from-urea': ([(0, 100)], lambda u: u * 2.80134),
}


def check_formulas(peer, rng, rows=200):
    for op, (ranges, formula) in FORMULAS.items():
        columns = [rng.integers(r[0], r[1] + 1, rows).astype(float) if len(r) == 3
                   else rng.uniform(r[0], r[1], rows) for r in ranges]
        want = formula(*columns)
        if np.isfinite(want).sum() < rows / 10:
            raise SystemExit(f'{op}: hardly anything to compare')
        peer.near(op, peer.ask(op, *columns), want, relative=1e-9, absolute=1e-12)


# ---- 2. where the formulas come from ---------------------------------------


def needles(qa, co, qb, quf, reversed_lines, clearance):
    """Concentrations at an access, the patient's own blood being 1.

    Unknown: a, what the line draws, and v, what it gives back.  The dialyser
    takes clearance * a, or (clearance NaN) an indicator adds one unit; only
    then does the blood of the body count, through the heart: s, what reaches
    the access.  Solved as linear equations.
    """
    back, infused = qb - quf, np.isnan(clearance)
    m, rhs = np.zeros((3, 3)), np.zeros(3)
    # s: all that left the access, diluted in the output; else it is 1
    m[0, 0], rhs[0] = 1, 1
    if infused:
        m[0] = (co - qa, 0, 0)
        rhs[0] = 1
    # a: the access alone, or mixed with what was given back upstream
    m[1] = (qa, -(qa + back), back) if reversed_lines else (1, -1, 0)
    # v: what was drawn, less what was cleared or more what was infused
    m[2] = (0, qb - (0 if infused else clearance), -back)
    rhs[2] = -1 if infused else 0
    return np.linalg.solve(m, rhs)


def check_needles(peer, rng, rows=300):
    qa, co = rng.uniform(200, 3000, rows), rng.uniform(4000, 12000, rows)
    qb, qbx = rng.uniform(150, 500, (2, rows))
    # Lines reversed, nothing in the body yet: the first pass of a bolus.
    quf = rng.uniform(0, 20, rows)
    first = (qb - quf) / (qa + qb - quf)
    peer.near('needles: first pass', peer.ask('reversed-uf', qb, quf, first), qa, 1e-9)
    # Constant infusion, both positions.
    rn, rx = np.empty(rows), np.empty(rows)
    for i in range(rows):
        _, a, v = needles(qa[i], co[i], qb[i], 0, False, np.nan)
        rn[i] = a / v
        _, a, v = needles(qa[i], co[i], qbx[i], 0, True, np.nan)
        rx[i] = a / v
    share = peer.ask('cpr', qb, rn, qbx, 0, rx)
    peer.near('needles: through the heart', share, qa / co, 1e-9)
    peer.near('needles: share', peer.ask('share', qa, co / 1000), qa / co, 1e-9)
    peer.near('needles: infusion', peer.ask('reversed-cpr', qbx, 0, rx, qa / co), qa, 1e-9)
    # Dialysance, both positions; a pump faster than the access is allowed.
    d = qb * rng.uniform(0.4, 0.95, rows)
    drev = np.array([d[i] * needles(qa[i], co[i], qb[i], quf[i], True, d[i])[1]
                     for i in range(rows)])
    good = quf < d
    peer.near('needles: dialysance', peer.ask('dialysance', d, drev, quf)[good], qa[good], 1e-8)


def check_dilution(peer, rng, rows=20):
    """A bolus through three mixing chambers: the area is found by number."""
    for litres in rng.uniform(3, 12, rows):
        ml_s, tau = litres * 1000 / 60, rng.uniform(1, 4)
        area, _ = quad(lambda t: 10 / ml_s * t ** 2 * np.exp(-t / tau) / (2 * tau ** 3),
                       0, 60 * tau)
        peer.near('dilution', peer.ask('output-dilution', 10, area), litres, 1e-6)


def check_noise(peer, rng, draws=400000):
    """Drawn errors: 95 % of differences stay inside the least change."""
    w, b = 7.7, 14.2
    between = np.sqrt(b ** 2 - w ** 2)
    for n, m in ((1, 1), (2, 1), (1, 3), (2, 2)):
        mean = (rng.normal(0, between, (2, draws, n))
                + rng.normal(0, w, (2, draws, n, m)).mean(axis=3)).mean(axis=2)
        inside = np.quantile(np.abs(mean[0] - mean[1]), 0.95)
        peer.near('least change', peer.ask('mdc-means', w, b, n, m), inside, 0.01)
    three = np.sort(rng.normal(size=(draws, 3)))
    low = three[:, 1] - three[:, 0] < three[:, 2] - three[:, 1]
    closest = np.where(low, three[:, :2].mean(axis=1), three[:, 1:].mean(axis=1))
    # As planner/flow.h has it of the mean of the closest two and of three.
    peer.near('closest two', closest.var(), 0.638, 0.01)
    peer.near('all three', three.mean(axis=1).var(), 1 / 3, 0.01)


# ---- 3. one pool, a week in steady state -----------------------------------


def segment(volume, clearance, slope, minutes):
    """What a stretch of constant clearance and slope of volume does to a
    concentration: C becomes a C + b, one unit of urea made a minute."""
    end = volume + slope * minutes
    k = clearance + slope
    if abs(slope) < 1e-12:
        a = np.exp(-clearance * minutes / volume)
        return a, (1 - a) / clearance if clearance > 0 else minutes / volume
    if abs(k) < 1e-12:
        return 1.0, np.log(end / volume) / slope
    a = (end / volume) ** (-k / slope)
    return a, (1 - a) / k


class Week:
    """Pre and post of every session; urea generated is 1 a minute.

    Kt/V counts the volume after dialysis.  Fluid comes at an even rate and
    each session takes what has come since the one before.
    """

    def __init__(self, n, minutes, ktv, volume, uf_week, kru):
        starts = np.array(SCHEDULES_D[n]) * DAY_MIN
        self.pidi_d = (starts - np.roll(starts, 1)) % WEEK_MIN / DAY_MIN
        before = self.pidi_d * DAY_MIN - minutes
        rate = uf_week / (WEEK_MIN - n * minutes)
        self.uf = rate * before
        self.on = [segment(volume + uf, ktv * volume / minutes + kru, -uf / minutes, minutes)
                   for uf in self.uf]
        self.off = [segment(volume, kru, rate, gap) for gap in np.roll(before, -1)]
        a, b = 1.0, 0.0
        for a1, b1 in [x for pair in zip(self.on, self.off) for x in pair]:
            a, b = a1 * a, a1 * b + b1
        c, pre, post = b / (1 - a), [], []
        for (a1, b1), (a2, b2) in zip(self.on, self.off):
            pre.append(c)
            post.append(a1 * c + b1)
            c = a2 * post[-1] + b2
        self.pre, self.post = np.array(pre), np.array(post)


def check_segments(peer):
    """The closed form above is the solution of the differential equation."""
    for slope, clearance in ((-0.012, 0.2), (0.0009, 0.0), (0.0009, 0.002), (0, 0.2)):
        def rate(t, c, s=slope, k=clearance):
            return (1 - (k + s) * c) / (35 + s * t)
        done = solve_ivp(rate, (0, 240), [50.0], rtol=1e-11, atol=1e-12)
        a, b = segment(35.0, clearance, slope, 240.0)
        peer.near('closed form', a * 50 + b, done.y[0, -1], 1e-8)


def sp_deviation_pct(peer, n, session, minutes, doses, uf_kg, fixed_g):
    """spKt/V by formula, less what was put in, per cent of that."""
    kg, rows, want = 60.0, [], []
    for t, k, part in product(minutes, doses, uf_kg):
        free = WEEK_MIN - n * t
        gap = Week(n, t, k, kg * V_PER_KG, 0, 0).pidi_d[session] * DAY_MIN - t
        week = Week(n, t, k, kg * V_PER_KG, part * kg * free / gap, 0)
        g = 0.008 if fixed_g else 0.0174 / (week.pidi_d[session] - t / DAY_MIN)
        rows.append((week.pre[session], week.post[session], t,
                     1000 * week.uf[session], kg, g))
        want.append(k)
    want = np.array(want)
    return 100 * (peer.ask('spktv', *np.array(rows).T) / want - 1)


def check_single_pool(peer):
    minutes, doses = (150, 180, 210, 240, 270, 300), (0.8, 1.0, 1.2, 1.4, 1.6, 1.8)
    uf_kg = (0, 0.01, 0.02, 0.03, 0.04, 0.05)
    usual = sp_deviation_pct(peer, 3, 1, minutes, doses, uf_kg, True)
    # Measured here.  For scale: the formula of the generation before erred by
    # 2.2 % (SD 1.7) in 339 sessions modelled three times a week ("Rapid
    # methods of estimating Kt/V: three formulas compared", abstract).
    peer.inside('spKt/V 3x midweek, g 0.008, % off', usual, -1.2, 1.2)
    peer.inside('   mean', usual.mean(), -0.3, 0.3)
    peer.inside('   mean of sizes', np.abs(usual).mean(), 0, 2.2)
    # g of the preceding interval, as measured here.  It does well after a
    # longer gap and less so where gap and dose do not go together; midweek of
    # three, the plain 0.008 is nearer.
    for n, session, least, most in ((3, 0, -2.0, 0.8), (3, 1, 0.2, 3.9),
                                    (4, 2, -2.3, 1.1), (6, 0, -4.2, 0.9)):
        off = sp_deviation_pct(peer, n, session, minutes, doses, uf_kg, False)
        peer.inside(f'spKt/V {n}x session {session}, g of interval, % off', off, least, most)
    # A day apart and short, with the doses of such schedules, as measured.
    off = sp_deviation_pct(peer, 6, 3, (90, 120, 150, 180), (0.4, 0.5, 0.6, 0.8),
                           (0, 0.01, 0.02), False)
    peer.inside('spKt/V 6x short daily, g of interval, % off', off, 0.5, 11.2)


def std_deviation_pct(peer, n, kru, uf_kg, minutes, doses):
    rows, want, litres = [], [], 35.0
    for t, k in product(minutes, doses):
        uf_week = uf_kg * n * litres / V_PER_KG
        week = Week(n, t, k, litres, uf_week, kru / 1000)
        want.append(WEEK_MIN / week.pre.mean() / litres)
        rows.append((k, k, t, n, 1000 * uf_week, litres, kru))
    return 100 * (peer.ask('stdktv', *np.array(rows).T) / np.array(want) - 1)


def check_standard(peer):
    """G / (mean pre-dialysis concentration) / V.  In one pool there is no
    rebound: equilibrated and single-pool Kt/V are what was put in."""
    minutes = (120, 150, 180, 210, 240, 300, 360, 480)
    doses = (0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8)
    for n in SCHEDULES_D:
        # The fixed-volume form is exact where the volume is fixed.
        off = std_deviation_pct(peer, n, 0, 0, minutes, doses)
        peer.inside(f'stdKt/V {n}x, nothing else, % off', off, -1e-9, 1e-9)
        # As measured here; a session takes 2 or 4 % of the weight.
        for kru, uf_kg, least, most in ((0, 0.02, -0.5, 0.7), (0, 0.04, -0.7, 1.5),
                                        (2, 0, -0.1, 1.8), (2, 0.02, -0.5, 1.6),
                                        (4, 0.02, -0.6, 2.0)):
            off = std_deviation_pct(peer, n, kru, uf_kg, minutes, doses)
            peer.inside(f'stdKt/V {n}x, Kru {kru}, UF {100 * uf_kg:g} %, % off',
                        off, least, most)
    # Three times 240 min, 1.3, 35 L: with 7.5 L a week, and 2 mL/min besides.
    for uf_week, kru, want in ((0, 0, 2.2533), (7.5, 0, 2.3749), (7.5, 2, 2.7726)):
        week = Week(3, 240, 1.3, 35.0, uf_week, kru / 1000)
        peer.near('simulated week', WEEK_MIN / week.pre.mean() / 35, want, absolute=1e-4)
    # The dose that gives 2.1 a week, by the simulation and by the formula.
    for n in SCHEDULES_D:
        dose = brentq(lambda k, n=n: WEEK_MIN / Week(n, 200, k, 35.0, 0, 0).pre.mean() / 35 - 2.1,
                      0.1, 3.9)
        peer.near('dose for 2.1', peer.ask('stdktv-fixed', dose, 200, n), 2.1, 1e-9)


# ---- 4. two pools ----------------------------------------------------------


def two_pool(minutes, ktv, volume, uf, through_heart):
    """Concentrations before, at the end and when all is level again.

    A third of the volume is outside the cells, urea crosses at 0.016 V a
    minute (constants of the Solute-Solver model of the HEMO group), fluid is
    taken from outside.  In a fistula the line draws blood of which a part has
    just come from the dialyser: 5 L/min of output, 1 L/min of access flow.
    """
    inner, cross = volume * 2 / 3, 0.016 * volume
    clearance = ktv * volume / minutes
    dilute = 1 / (1 + clearance / 4.0) if through_heart else 1.0
    week = Week(3, minutes, ktv, volume, 3 * uf, 0)
    made = 1 / week.pre[1]  # for a concentration of 1 before dialysis

    def rate(t, c):
        outer, slope = volume / 3 + uf - uf / minutes * t, -uf / minutes
        flow = cross * (c[1] - c[0])
        return [(flow + made / 3 - (clearance * dilute + slope) * c[0]) / outer,
                (-flow + made * 2 / 3) / inner]

    done = solve_ivp(rate, (0, minutes), [1.0, 1.0], rtol=1e-9, atol=1e-11)
    outside, inside = done.y[:, -1]
    return outside * dilute, (outside / 3 + inside * 2 / 3)


def check_two_pools(peer):
    """The rebound of the model and that of the equations agree roughly.

    Against rebound measured in children the rate and the Tattersall equation
    erred by 4.4 and 4.5 % of Kt/V in the mean, and by 11.8 and 12.3 % with
    two standard deviations added (Am J Kidney Dis 2000;36:98-104).  The model
    must stay inside that; only the mean of the venous Tattersall form lies
    above, with 5.3 % as measured here.
    """
    for blood, through_heart in ((0, True), (1, False)):
        rows, level = [], []
        for t, k, uf in product((150, 180, 210, 240, 300), (0.8, 1.0, 1.2, 1.4, 1.6), (0, 2.4)):
            post, later = two_pool(t, k, 35.0, uf, through_heart)
            rows.append((t, post, 1000 * uf))
            level.append(later)
        t, post, uf = np.array(rows).T
        kg = 35.0 / V_PER_KG
        sp = peer.ask('spktv', 1, post, t, uf, kg, 0.008)
        equal = peer.ask('spktv', 1, np.array(level), t, uf, kg, 0.008)
        for form, name, mean, each in ((0, 'rate', 4.4, 11.8),
                                       (1, 'tattersall', 5.5 if blood else 4.5, 12.3)):
            off = 100 * (peer.ask('ektv', form, blood, sp, t) / equal - 1)
            where = 'venous' if blood else 'arteriovenous'
            peer.inside(f'eKt/V {name} {where}, two pools, mean % off',
                        np.abs(off).mean(), 0, mean)
            peer.inside('   each', off, -each, each)


def main():
    if len(sys.argv) != 2:
        raise SystemExit('usage: kinetics.py PATH_TO_tool_dose')
    peer, rng = Peer(sys.argv[1]), np.random.default_rng(20260101)
    check_formulas(peer, rng)
    check_needles(peer, rng)
    check_dilution(peer, rng)
    check_noise(peer, rng)
    check_segments(peer)
    check_single_pool(peer)
    check_standard(peer)
    check_two_pools(peer)
    print(f'{peer.checks} checks, {peer.wrong} wrong')
    return 1 if peer.wrong else 0


if __name__ == '__main__':
    sys.exit(main())
