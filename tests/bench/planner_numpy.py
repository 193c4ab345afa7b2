#!/usr/bin/env python3
"""planner_numpy - how long one whole plan takes, here and in NumPy

    python3 planner_numpy.py PATH_TO_tool_plan [TIMES] [--scipy] [--rows FILE]

The yardstick is the band planner as one would write it in NumPy: all guesses
at once, Newton's method on all sizes together, the tree of what may follow
walked with all its nodes as one array.  Both have their sample ready and make
the same plan: 4096 guesses, five sizes with their quantiles, the look-ahead
over three ties, the readings to take, the card.  Its losses and its first size
must be the planner's, to 1e-6, or the comparison says nothing.

Prints milliseconds, the least of TIMES (20), and the ratio.  With --scipy also
beside the plan of one who has SciPy solve the circuit guess by guess (brentq), once;
all else of it is as in NumPy.  With --rows the ratios are added to that file as
JSON, for all.mjs.  Status 1 if the plans differ.
"""

import argparse
import json
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / 'peers'))
from planner_model import Arm, edge, head, pore  # noqa: E402

DOWELS = np.array([5, 4.5, 4, 3.5, 3])
GIVEN = dict(prior='reference', method='ultrasound-dilution', on_table=1, map_mmhg=95,
             flow_ml_min=(2650, 2550), floor_ml_min=500, dowels_mm=tuple(DOWELS),
             lead='reduction', reduction_low_frac=0.5, reduction_high_frac=0.6)
TIGHT_MOST, FLOOR_FIRST_MOST, FLOOR_MOST = 0.25, 0.02, 0.05
COST = dict(tie=0.25, loosen=0.35, read=0.015)
REACH, NODES, READINGS_MOST, STEP = 2, 0.7 * np.arange(-4, 5), 4, 25.0
NODE_WEIGHT = np.exp(-0.5 * NODES ** 2) / np.exp(-0.5 * NODES ** 2).sum()
BASE, STAND = 0, len(DOWELS) + 1


# ---- the ladder ------------------------------------------------------------


def newton(arm, lumen):
    """All guesses of all sizes: arrays of sizes by guesses."""
    r = arm.ra + pore(arm.blood, 1.5, lumen)
    k = arm.ka + arm.pulse * edge(lumen / arm.conduit, arm.contraction) * head(arm.blood, lumen)
    share = arm.rh / (arm.rc + arm.rh)
    inv = 1 / (arm.rd + arm.rc * share)
    drop = arm.map + arm.kappa * arm.q0 - arm.cvp
    rs, ks = r + arm.rf + arm.kappa, k + arm.kf
    q = 2 * drop / (rs + np.sqrt(rs * rs + 4 * ks * drop))
    for _ in range(4):
        above = arm.map + arm.kappa * (arm.q0 - q) - arm.cvp
        path = (r + k * q) * q
        qf = q + (path - share * above) * inv
        rise = r + 2 * k * q
        slope = arm.kappa + rise + (arm.rf + 2 * arm.kf * np.abs(qf)) \
            * (1 + (rise + arm.kappa * share) * inv)
        q = q + (above - path - (arm.rf + arm.kf * np.abs(qf)) * qf) / slope
    map_ = arm.map + arm.kappa * (arm.q0 - q)
    hand = arm.cvp + share * (map_ - arm.cvp)
    hand = hand + ((r + k * q) * q + arm.cvp - hand) * inv * arm.rc * share
    return q, hand, arm.gain * hand / map_


def one_by_one(arm, lumen):
    """The same, each circuit solved by itself, by SciPy."""
    r = arm.ra + pore(arm.blood, 1.5, lumen)
    k = arm.ka + arm.pulse * edge(lumen / arm.conduit, arm.contraction) * head(arm.blood, lumen)
    share = arm.rh / (arm.rc + arm.rh)
    inv = 1 / (arm.rd + arm.rc * share)
    given = np.broadcast_arrays(r, k, share, inv, arm.map, arm.kappa, arm.q0, arm.cvp,
                                arm.rf, arm.kf)
    q = np.array([brentq(residual, 0, 20 * x[6], args=x, xtol=1e-9, rtol=1e-12)
                  for x in zip(*(g.ravel().tolist() for g in given))]).reshape(r.shape)
    map_ = arm.map + arm.kappa * (arm.q0 - q)
    hand = arm.cvp + share * (map_ - arm.cvp)
    hand = hand + ((r + k * q) * q + arm.cvp - hand) * inv * arm.rc * share
    return q, hand, arm.gain * hand / map_


def residual(q, r, k, share, inv, map_, kappa, q0, cvp, rf, kf):
    above = map_ + kappa * (q0 - q) - cvp
    path = (r + k * q) * q
    qf = q + (path - share * above) * inv
    return above - path - (rf + kf * abs(qf)) * qf


def quantile_rows(rows, w):
    out = []
    for value in rows:
        o = np.argsort(value)
        c = np.cumsum(w[o]) - w[o] / 2
        out.append(np.interp((0.05, 0.5, 0.95), c, value[o]))
    return np.array(out)


def ladder(arm, solve):
    plain = DOWELS[:, None] - arm.offset
    q, hand, index = solve(arm, np.clip(plain - arm.prior['knot'] * arm.z(16), 0.5,
                                        0.98 * arm.conduit))
    read, fall = q * arm.bias, 1 - q / arm.q0
    tables = [quantile_rows(x, arm.w) for x in (read, 100 * fall, hand, index)]
    tight, floor = (fall > GIVEN['reduction_high_frac']) @ arm.w, (read < 500) @ arm.w
    free = np.log(solve(arm, np.clip(plain, 0.5, 0.98 * arm.conduit))[0] * arm.bias)
    base = np.log(arm.q0 * arm.bias)
    logs = np.vstack([base, free, base])
    mean = logs @ arm.w
    apart = logs - mean[:, None]
    return SimpleBelief(mean[None, :], (apart * arm.w) @ apart.T), \
        (np.log(read) - free) ** 2 @ arm.w, \
        (tight <= TIGHT_MOST) & (floor <= FLOOR_FIRST_MOST), tables


# ---- looking ahead ---------------------------------------------------------


class SimpleBelief:
    """Normal: one row of means for each node, one covariance for all."""

    def __init__(self, mean, cov):
        self.mean, self.cov = mean, cov

    def tied(self, d, knot):
        mean, cov = self.mean.copy(), self.cov.copy()
        mean[:, STAND] = mean[:, 1 + d]
        cov[STAND], cov[:, STAND] = self.cov[1 + d], self.cov[:, 1 + d]
        cov[STAND, 1 + d] = cov[1 + d, STAND] = self.cov[1 + d, 1 + d]
        cov[STAND, STAND] = self.cov[1 + d, 1 + d] + knot[d]
        return SimpleBelief(mean, cov)

    def measured(self, variable, sigma):
        """The gain, the spread of what is read, and the spread after it."""
        total = self.cov[variable, variable] + sigma ** 2
        gain = self.cov[variable] / total
        return gain, np.sqrt(total), self.cov - np.outer(gain, gain) * total

    def nodes(self, variable, sigma):
        gain, sd, cov = self.measured(variable, sigma)
        mean = self.mean[:, None, :] + (NODES * sd)[None, :, None] * gain
        return SimpleBelief(mean.reshape(-1, mean.shape[-1]), cov)

    def some(self, rows):
        return SimpleBelief(self.mean[rows], self.cov)


class Look:
    def __init__(self, knot, sigma):
        self.knot, self.sigma = knot, sigma

    def losses(self, b, places, knot):
        """Expected loss of every band in places, for each node."""
        var = b.cov[places, places] + knot
        flow, flow_sd = b.mean[:, places], np.sqrt(var)
        left = flow - b.mean[:, [BASE]]
        sd = np.sqrt(np.maximum(var + b.cov[BASE, BASE] - 2 * b.cov[places, BASE], 1e-12))
        most, least = 1 - GIVEN['reduction_low_frac'], 1 - GIVEN['reduction_high_frac']
        whole = np.exp(left + sd * sd / 2)
        to_most, to_least = (left - np.log(most)) / sd, (left - np.log(least)) / sd
        loose, tight = ndtr(to_most), ndtr(-to_least)
        by = whole * ndtr(to_most + sd) - most * loose
        over = whole * ndtr(to_least + sd) - least * (1 - tight) + least - whole
        floor = ndtr((np.log(500) - flow) / flow_sd)
        return 3 * np.minimum(tight + loose, 1) + 2 * (over + by) + 5 * floor

    def standing(self, b):
        return self.losses(b, np.array([STAND]), 0.0)[:, 0]

    def tie_value(self, b, d, depth, cost):
        if depth == 1:
            return cost + self.losses(b, np.array([1 + d]), self.knot[d])[:, 0]
        return cost + self.after(b.tied(d, self.knot), d, depth - 1, STAND, self.sigma)

    def after(self, b, d, depth, variable, sigma):
        best = self.least(b.nodes(variable, sigma), d, depth)
        return best.reshape(-1, len(NODES)) @ NODE_WEIGHT

    def steps(self, b, at):
        """Sizes to tie next, what each costs, and at which nodes: what is too loose is not
        loosened, its own size may be tied anew."""
        loose = b.mean[:, STAND] - b.mean[:, BASE] > np.log(1 - GIVEN['reduction_low_frac'])
        for d in range(max(at - REACH, 0), min(at + REACH + 1, len(DOWELS))):
            rows = np.full(len(loose), True) if d > at else loose if d == at else ~loose
            yield d, COST['tie' if d > at else 'loosen'], rows

    def least(self, b, at, depth):
        """The best that follows where the size at is in place."""
        best = self.standing(b)
        if depth == 1:
            sizes, costs, rows = zip(*self.steps(b, at))
            places = np.array(sizes) + 1
            value = self.losses(b, places, self.knot[places - 1]) + costs
            return np.minimum(best, np.min(np.where(np.array(rows).T, value, np.inf), axis=1))
        for d, cost, rows in self.steps(b, at):
            rows = rows & (best > cost)
            if np.any(rows):
                best[rows] = np.minimum(best[rows], self.tie_value(b.some(rows), d, depth, cost))
        return best

    def choose(self, b, at, depth, read_sigma):
        """The best step at each node: -1 accept, -2 measure again, a size."""
        best, step = self.standing(b), np.full(len(b.mean), -1)
        for d, cost, rows in self.steps(b, at):
            var = b.cov[1 + d, 1 + d] + self.knot[d]
            low = ndtr((np.log(500) - b.mean[:, 1 + d]) / np.sqrt(var)) > FLOOR_MOST
            rows = rows & (best > cost) & ~low
            if np.any(rows):
                self.keep(best, step, rows, d, self.tie_value(b.some(rows), d, depth, cost))
        rows = best > COST['read']
        if read_sigma > 0 and np.any(rows):
            value = COST['read'] + self.after(b.some(rows), at, depth, STAND, read_sigma)
            self.keep(best, step, rows, -2, value)
        return step

    @staticmethod
    def keep(best, step, rows, what, value):
        better = np.flatnonzero(rows)[value < best[rows]]
        step[better], best[better] = what, value[value < best[rows]]


def readings(look, b, d, cv):
    values = []
    for k in range(2, READINGS_MOST + 1):
        look.sigma = cv / np.sqrt(k)
        values.append(look.tie_value(b, d, 2, COST['tie'])[0] + k * COST['read'])
    return 2 + int(np.argmin(values))


def readings_before(look, b, allowed, cv, have):
    least = min(look.tie_value(b, d, 2, COST['tie'])[0] for d in allowed)
    best = have
    for n in range(have + 1, READINGS_MOST + 1):
        nodes = b.nodes(BASE, cv / np.sqrt(n - have))
        each = np.min([look.tie_value(nodes, d, 2, COST['tie']) for d in allowed], axis=0)
        value = (n - have) * COST['read'] + each @ NODE_WEIGHT
        if value < least:
            least, best = value, n
    return max(best, 2)


def card(look, b, d, cv, reads):
    tied = b.tied(d, look.knot)
    gain, sd, cov = tied.measured(STAND, look.sigma)
    mean = tied.mean[0, STAND]
    low, high = np.exp(mean - 2.5758 * sd), np.exp(mean + 2.5758 * sd)
    flow = np.arange(STEP * np.floor(low / STEP), STEP * np.ceil(high / STEP), STEP)
    moved = tied.mean + (np.log(flow + STEP / 2) - mean)[:, None] * gain
    return look.choose(SimpleBelief(moved, cov), d, 2, cv if reads < READINGS_MOST else 0.0)


def plan(solve=newton):
    arm = Arm(GIVEN, 4096)
    now = arm.cvp + arm.s * (arm.a * (arm.map - arm.psi * arm.drop)
                             + (1 - arm.a) * arm.map - arm.cvp)
    quantile_rows((now, arm.gain * now / arm.map), arm.w)
    belief, knot, allowed, tables = ladder(arm, solve)
    look = Look(knot, arm.cv / np.sqrt(2))
    allowed = np.flatnonzero(allowed)
    losses = {DOWELS[d]: look.tie_value(belief, d, 3, COST['tie'])[0] for d in allowed}
    first = min(losses, key=losses.get)
    d = int(np.flatnonzero(DOWELS == first)[0])
    before = readings_before(look, belief, allowed, arm.cv, len(GIVEN['flow_ml_min']))
    reads = readings(look, belief, d, arm.cv)
    look.sigma = arm.cv / np.sqrt(reads)
    return dict(tables=tables, losses=losses, first=first, before=before, reads=reads,
                card=card(look, belief, d, arm.cv, reads))


# ---- the comparison --------------------------------------------------------


def words():
    return ' '.join(f'{k}={",".join(map(str, v)) if isinstance(v, tuple) else v}'
                    for k, v in GIVEN.items())


def differences(ours, theirs):
    """What the two plans do not agree in."""
    out = []
    rungs = {r['dowel_mm']: r for r in theirs['rungs']}
    for dowel, loss in ours['losses'].items():
        off = abs(rungs[dowel]['loss'] / loss - 1) if rungs[dowel]['allowed'] else np.inf
        if not off <= 1e-6:
            out.append(f'loss of {dowel:g} mm: {rungs[dowel]["loss"]}, here {loss}')
    for d, table in zip(DOWELS, ours['tables'][0]):
        got = [rungs[d]['flow_ml_min'][p] for p in ('p05', 'p50', 'p95')]
        if not np.allclose(got, table, rtol=1e-6, atol=0):
            out.append(f'flows of {d:g} mm: {got}, here {table}')
    for name, key in (('first', 'first_dowel_mm'), ('reads', 'readings_advised'),
                      ('before', 'readings_advised_baseline')):
        if ours[name] != theirs[key]:
            out.append(f'{key}: {theirs[key]}, here {ours[name]}')
    return out


def least_ms(times, solve):
    best = np.inf
    for _ in range(times):
        start = time.perf_counter()
        made = plan(solve)
        best = min(best, 1e3 * (time.perf_counter() - start))
    return made, best


def said(name, peer_ms, ours_ms, rows):
    print(f'{name} {peer_ms:.1f} ms, planner {ours_ms:.2f} ms, ratio {peer_ms / ours_ms:.1f}')
    if rows is not None:
        with open(rows, 'a', encoding='utf-8') as out:
            print(json.dumps(dict(name='a whole band plan', unit='ms', ours=ours_ms,
                                  peer=name, theirs=peer_ms, ratio=peer_ms / ours_ms)), file=out)


def main():
    words_of = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words_of.add_argument('tool')
    words_of.add_argument('times', nargs='?', type=int, default=20)
    words_of.add_argument('--scipy', action='store_true')
    words_of.add_argument('--rows')
    args = words_of.parse_args()
    plan()
    ours, best = least_ms(args.times, newton)
    done = subprocess.run([args.tool], input=f'plan {words()}\nbench {args.times} {words()}\n',
                          capture_output=True, text=True, check=True).stdout.splitlines()
    differ, theirs = differences(ours, json.loads(done[0])), float(done[1])
    if args.scipy:
        slow, once = least_ms(1, one_by_one)
        differ += differences(slow, json.loads(done[0]))
    for line in differ:
        print(f'DIFFERENT {line}')
    said('NumPy', best, theirs, args.rows)
    if args.scipy:
        said('SciPy, guess by guess', once, theirs, args.rows)
    return 1 if differ else 0


if __name__ == '__main__':
    sys.exit(main())
