#!/usr/bin/env python3
"""planner - the band planner against NumPy and SciPy

    python3 planner.py PATH_TO_tool_plan

Needs Debian's python3-numpy and python3-scipy.  Everything that a plan rests
on is worked out here again, with other means than the planner's: its arm by
bisection on the pressure at the anastomosis (and by SciPy's root finder in two
unknowns), its normal scores and truncated normals by ndtri and ndtr, its
weighted quantiles by a full sort.  Then, of the program:

1. sample, normal scores, blood and elements;
2. plans: quantiles of every size, weights, index, hand, outflow;
3. plausibility: what published series and common practice lead to expect.

Parts 1 and 2 must agree to 1e-6 of each number.  The planner's solver stops
where its next step would be 1e-13 of the flow and the bisection here at 1e-16
of the pressure, so that agreement is far better where both are right; a wrong
constant, a wrong dimension of the sample or another reading of a formula shows
at 1e-3.  What is printed to people has four digits.

The tolerances of part 3 stand beside each check.  No published table of flow
by size of dowel exists: nothing here says that a plan is right for a patient.

Ends with the line "N checks, W wrong" and with status 1 if any was wrong.
"""

import json
import subprocess
import sys

import numpy as np
from planner_model import Arm, Blood, edge, order, pore, poiseuille, quantiles
from planner_model import head, quadratic_flow, reynolds, smooth_stenosis, tube_drop
from scipy.special import ndtri

NEAR = 1e-6


class Peer:
    """The program under test, and the tally of what it said."""

    def __init__(self, tool):
        self.checks, self.wrong = 0, 0
        self.child = subprocess.Popen([tool], stdin=subprocess.PIPE, text=True,
                                      stdout=subprocess.PIPE, bufsize=1)

    def ask(self, line):
        self.child.stdin.write(line + '\n')
        self.child.stdin.flush()
        answer = self.child.stdout.readline()
        if not answer:
            raise SystemExit(f'no answer to: {line}')
        return answer

    def numbers(self, line):
        return np.array([float(x) for x in self.ask(line).split()])

    def plan(self, **given):
        answer = json.loads(self.ask('plan ' + words(given)),
                            parse_constant=lambda x: np.nan)
        if 'err' in answer:
            raise SystemExit(f'{given}: {answer["err"]}')
        return answer

    def near(self, name, got, want, relative=NEAR, absolute=0.0):
        """A row of the table: the numbers agree; null stands for NaN."""
        got = np.array(got, dtype=float).ravel()
        want = np.array(want, dtype=float).ravel()
        if got.shape != want.shape or not len(want):
            raise SystemExit(f'{name}: {len(got)} numbers, not {len(want)}')
        off = np.abs(got - want)
        good = np.where(np.isnan(want), np.isnan(got),
                        off <= absolute + relative * np.abs(want))
        with np.errstate(divide='ignore', invalid='ignore'):
            worst = np.nanmax(np.append(off / np.abs(want), 0))
        self.checks += len(good)
        self.wrong += int(np.sum(~good))
        print(f'{name:<58} {len(good):5} {worst:9.1e}')
        for i in np.flatnonzero(~good)[:5]:
            print(f'WRONG {name}: number {i} is {got[i]:.12g}, not {want[i]:.12g}')

    def inside(self, name, value, least, most, ground):
        """A row of part 3: a number inside the range that its ground allows."""
        self.checks += 1
        good = least <= value <= most
        self.wrong += not good
        print(f'{"" if good else "WRONG "}{name:<46} {value:8.3f}  '
              f'{least:g} to {most:g}  {ground}')


def words(given):
    """A question in the words of tool_plan."""
    out = []
    for key, value in given.items():
        if value == '':
            continue
        if key == 'stages':
            for step, dowel, flows, *rest in value:
                parts = [step, dowel, ','.join(map(str, flows or ())), *rest]
                out.append('stage=' + ':'.join('' if p is None else str(p) for p in parts))
        elif isinstance(value, (tuple, list)):
            out.append(f'{key}={",".join(map(str, value))}')
        else:
            out.append(f'{key}={value}')
    return ' '.join(out)


# ---- 1. the parts ----------------------------------------------------------


def check_sample(peer):
    for n, dimensions in ((4096, range(27)), (32768, (0, 20, 26))):
        got = [peer.numbers(f'sample {j} {n} {n}') for j in dimensions]
        want = [(order(j, n) + 0.5) / n for j in dimensions]
        peer.near(f'sample of {n}', got, want, relative=0)
    u = (np.arange(4096) + 0.5) / 4096
    got = [peer.numbers('normal ' + ' '.join(f'{x:.17g}' for x in part))
           for part in u.reshape(-1, 8)]
    peer.near('normal scores', got, ndtri(u), relative=1e-13)


def check_elements(peer, rng, rows=200):
    """Each formula again from its published form, see planner_model.py."""
    for hct in np.linspace(0.16, 0.64, 9):
        b = Blood(hct)
        peer_mu, peer_rho = peer.numbers(f'blood {hct:.17g}')
        peer.near(f'blood at {hct:.2f}', (peer_mu, peer_rho), (b.mu, b.rho), 1e-12)
    forms = {
        'poiseuille': (((5, 400), (1, 14)), lambda b, x: poiseuille(b, *x)),
        'head': (((1, 14),), lambda b, x: head(b, *x)),
        'reynolds': (((10, 5000), (1, 14)), lambda b, x: reynolds(b, *x)),
        'tube-drop': (((5, 400), (2, 14), (10, 5000)), lambda b, x: tube_drop(b, *x)),
        'pore': (((0, 5), (0.5, 8)), lambda b, x: pore(b, *x)),
        'band': (((0.5, 5), (5, 16), (0, 5), (0.5, 1), (1, 1.3)),
                 lambda b, x: (pore(b, x[2], x[0]),
                               x[4] * edge(x[0] / x[1], x[3]) * head(b, x[0]))),
        'smooth-stenosis': (((1, 5), (5, 16), (1, 40)), lambda b, x: smooth_stenosis(b, *x)),
        'edge': (((0, 1), (0.5, 1)), lambda b, x: edge(*x)),
        'quadratic-flow': (((1e-4, 0.1), (1e-7, 1e-4), (1, 150)),
                           lambda b, x: quadratic_flow(*x)),
    }
    for name, (ranges, form) in forms.items():
        got, want = [], []
        for _ in range(rows):
            b, x = Blood(rng.uniform(0.2, 0.5)), [rng.uniform(*r) for r in ranges]
            fluid = () if name in ('edge', 'quadratic-flow') else (b.mu, b.rho)
            got.append(peer.numbers(f'element {name} '
                                    + ' '.join(f'{y:.17g}' for y in (*fluid, *x))))
            want.append(form(b, x))
        peer.near(f'element {name}', got, want, 1e-11)


# ---- 2. plans --------------------------------------------------------------

USUAL = dict(prior='reference', method='ultrasound-dilution', on_table=1, map_mmhg=95,
             lead='reduction', reduction_low_frac=0.5, reduction_high_frac=0.6,
             floor_ml_min=500, index_least=0.6, dowels_mm=(5, 4.5, 4, 3.5, 3))
FIRST_TIE = ('tied', 4, (1820, 1760))
CASES = {
    'staged, before': dict(flow_ml_min=(2650, 2550)),
    'staged, 4.0 tied': dict(flow_ml_min=(2650, 2550), stages=[FIRST_TIE]),
    'staged, 3.5 tied': dict(flow_ml_min=(2650, 2550),
                             stages=[FIRST_TIE, ('tied', 3.5, (1480, 1420))]),
    'the same, pressure and index at each stage': dict(
        flow_ml_min=(2650, 2550), index_open=0.55,
        stages=[FIRST_TIE + (92, 0.62), ('tied', 3.5, (1480, 1420), 99, 0.7)]),
    'stretched after too tight': dict(
        flow_ml_min=(2650, 2550),
        stages=[('tied', 3.5, (950, 990)), ('stretched', None, (1300, 1250))]),
    'cut, and tied anew': dict(
        flow_ml_min=(2650, 2550),
        stages=[('tied', 3, (700, 720)), ('released', None, ()), ('tied', 4, (1700, 1650))]),
    'one wild reading': dict(flow_ml_min=(2650, 2550), stages=[('tied', 4, (2900, 2950))]),
    '2500, conduit 9 mm': dict(flow_ml_min=(2500, 2500), conduit_mm=9),
    '3000': dict(flow_ml_min=(3000, 3000)),
    '4500, conduit 12 mm': dict(flow_ml_min=(4500, 4500), conduit_mm=12, map_mmhg=90),
    'wrist 1800': dict(flow_ml_min=(1800, 1800), region='wrist'),
    'wrist with index': dict(flow_ml_min=(1200, 1250), region='wrist', index_open=0.45,
                             index_compressed=0.85, ischaemia=1),
    # At this flow the artery of some guesses would have to run backwards.
    'wrist 242': dict(flow_ml_min=(242, 242), region='wrist', floor_ml_min=60),
    'hand 1400, open and pressed shut': dict(flow_ml_min=(1400, 1400), index_open=0.40,
                                             index_compressed=0.78, ischaemia=1),
    'hand 1400, open only': dict(flow_ml_min=(1400, 1400), index_open=0.41, ischaemia=1),
    'disease further down': dict(flow_ml_min=(1100, 1100), index_open=0.35,
                                 index_compressed=0.50, ischaemia=1),
    'feeding artery of 4.5 mm': dict(flow_ml_min=(1400, 1400), index_open=0.45, artery_mm=4.5),
    'graft': dict(flow_ml_min=(2000, 2000), graft=1, floor_ml_min=600),
    'graft, conduit 6 mm': dict(flow_ml_min=(2000, 2000), graft=1, conduit_mm=6,
                                floor_ml_min=600),
    'CVP and haematocrit measured': dict(flow_ml_min=(2500, 2400), cvp_mmhg=14,
                                         haematocrit_frac=0.25),
    'no pressure, one reading, duplex': dict(flow_ml_min=(2500,), map_mmhg='nan',
                                             method='duplex'),
    'method not stated, shipped prior': dict(flow_ml_min=(2500, 2700, 2600), method='',
                                             prior='default', map_lowest_mmhg=70),
    'hand at its lowest pressure': dict(flow_ml_min=(1600, 1500), index_open=0.5,
                                        map_lowest_mmhg=72),
    'few guesses left': dict(flow_ml_min=(1500, 1500), index_open=0.30, artery_mm=6,
                             static_mmhg=60),
    'outflow 1500': dict(flow_ml_min=(1500, 1500), index_open=0.60, static_mmhg=55,
                         stenosis_frac=0.7, stenosis_after_frac=0.2),
    'outflow 2000': dict(flow_ml_min=(2000, 2000), index_open=0.50, static_mmhg=65,
                         stenosis_frac=0.7, stenosis_after_frac=0.2),
    'outflow, hardly a loss': dict(flow_ml_min=(1500, 1500), index_open=0.60,
                                   static_mmhg=25, stenosis_frac=0.7,
                                   stenosis_after_frac=0.2),
}


def spread(r):
    return [r['p05'], r['p50'], r['p95']]


def check_rungs(peer, name, plan, arm, given):
    got, want, chances, chances_want = [], [], [], []
    by_dowel = {r['dowel_mm']: r for r in plan['rungs']}
    baseline = np.exp(np.mean(np.log(given['flow_ml_min'])))
    if sorted(by_dowel) != sorted(given['dowels_mm']):
        raise SystemExit(f'{name}: not all sizes')
    for dowel, r in by_dowel.items():
        s = arm.solve(arm.tied(dowel))
        fall = 1 - s.q / arm.q0
        for key, value in (('flow_ml_min', s.q * arm.bias), ('reduction_pct', 100 * fall),
                           ('hand_pressure_mmhg', s.hand), ('index', arm.index(s))):
            got.append(spread(r[key]))
            want.append(quantiles(value, arm.w))
        got.append([r['fourth_power_ml_min']] * 3)
        want.append([baseline * min(dowel / (arm.w @ arm.conduit), 1) ** 4] * 3)
        if 'map_lowest_mmhg' in given:
            lowest = arm.solve(arm.tied(dowel), given['map_lowest_mmhg'] - given['map_mmhg'])
            got.append(spread(r['hand_lowest_mmhg']))
            want.append(quantiles(lowest.hand, arm.w))
        # Of the true baseline, unless the floor raises the zone's lower end.
        high, read = given['reduction_high_frac'], s.q * arm.bias
        if (1 - high) * baseline < given['floor_ml_min']:
            fall, high = 1 - read / baseline, 1 - given['floor_ml_min'] / baseline
        chances += [r[f'p_{x}'] for x in ('in_zone', 'too_tight', 'below_floor', 'index_low')]
        chances_want += [arm.w @ ((fall >= given['reduction_low_frac']) & (fall <= high)),
                         arm.w @ (fall > high), arm.w @ (read < given['floor_ml_min']),
                         arm.w @ (arm.index(s) < given['index_least'])]
    peer.near(f'{name}: sizes', got, want)
    peer.near(f'{name}: chances', chances, chances_want, absolute=1e-9)


def check_outflow(peer, name, plan, arm):
    o = plan['outflow']
    before, after = arm.solve(None), arm.solve(None, **arm.opened())
    index = arm.index(after)
    values = {'flow_ml_min': after.q * arm.bias, 'surge': after.q / before.q,
              'hand_pressure_mmhg': after.hand, 'index': index,
              'index_before': arm.index(before)}
    peer.near(f'{name}: opened', [spread(o[k]) for k in values],
              [quantiles(v, arm.w) for v in values.values()])
    peer.near(f'{name}: index at risk', [o['p_index_low'], o['p_index_falls']],
              [arm.w @ (index < 0.4), arm.w @ (arm.index(before) - index > 0.1)],
              absolute=1e-9)
    share = arm.w @ (arm.lesion / arm.drop)
    peer.near(f'{name}: bounds', [o['lesion_frac'], o['surge_least'], o['surge_most']],
              [share, (1 - 0.9 * share) ** -0.5, 1 / (1 - 0.9 * share)])
    s = arm.solve(arm.tied(o['holding_dowel_mm']), **arm.opened())
    index = arm.index(s)
    peer.near(f'{name}: opened, and banded',
              [*spread(o['holding_flow_ml_min']), *spread(o['holding_index']),
               o['holding_p_index_low'], o['holding_p_index_falls']],
              [*quantiles(s.q * arm.bias, arm.w), *quantiles(index, arm.w),
               arm.w @ (index < 0.4), arm.w @ (arm.index(before) - index > 0.1)],
              absolute=1e-9)


def check_plans(peer):
    for name, given in CASES.items():
        given = {**USUAL, **given}
        plan, arm = peer.plan(**given), Arm.of(given)
        peer.near(f'{name}: effective part', [plan['sample_count'], plan['sample_share']],
                  [arm.n, 1 / np.sum(arm.w ** 2) / arm.n])
        check_rungs(peer, name, plan, arm, given)
        if arm.seen:
            peer.near(f'{name}: seen', [[x['measured_ml_min'], x['tail'],
                                         *spread(x['predicted_ml_min'])]
                                        for x in plan['seen']], arm.seen, absolute=1e-9)
        now = arm.solve(None)
        peer.near(f'{name}: hand', [spread(plan['hand_now_mmhg']), spread(plan['index_now'])],
                  [quantiles(now.hand, arm.w), quantiles(arm.index(now), arm.w)])
        if 'stenosis_frac' in given:
            check_outflow(peer, name, plan, arm)
        # The bisection, against a root finder that knows nothing of it.
        one = arm.solve(arm.tied(4))
        some = np.arange(0, arm.n, arm.n // 16)
        peer.near(f'{name}: two unknowns', one.q[some], arm.two_unknowns(arm.tied(4), some))


# ---- 3. what is known from elsewhere ---------------------------------------

FINE = tuple(np.arange(2.25, 5, 0.25))


def curve(peer, key, **given):
    """The median of a number by size of dowel, from 2.25 to 4.75 mm."""
    plan = peer.plan(**{**USUAL, **given, 'dowels_mm': FINE})
    rungs = sorted(plan['rungs'], key=lambda r: r['dowel_mm'])
    return [np.array([r[k]['p50'] for r in rungs]) for k in ('flow_ml_min', key)]


def check_series(peer):
    """Mean flows before and after banding; the size that would explain them.
    The sizes were not published beside the flows; high-flow accesses were
    banded to 3 to 5 mm (Toegel and Hentschel, ASN 2018)."""
    for before, after, least, most, ground in (
            (3070, 1490, 3, 5, 'Vaes, n=50, 96 % brachial; 3 to 5 mm'),
            (3784, 1174, 3, 5, 'Balamuthusamy 2016, n=12; 3 to 5 mm'),
            (1469, 499, 2, 3, 'Zanow 2006, ischaemia; below the usual 3 mm')):
        flow, _ = curve(peer, 'flow_ml_min', flow_ml_min=(before, before))
        peer.inside(f'{before} to {after} mL/min: mm', np.interp(after, flow, FINE),
                    least, most, ground)
    # Index from .41 to .74, SD .11, over the same fall of flow.
    flow, index = curve(peer, 'index', flow_ml_min=(1469, 1469), index_open=0.41, ischaemia=1)
    peer.inside('index after 1469 to 499', np.interp(499, flow, index), 0.63, 0.85,
                'Zanow 2006: .74, SD .11')


def check_hand(peer):
    plan = peer.plan(**{**USUAL, 'flow_ml_min': (1000, 1000)})
    peer.inside('index with an access, not measured', plan['index_now']['p50'], 0.52, 0.88,
                'creation of 41 fistulas: .70, SD .18')
    wrist = Arm.of({**USUAL, 'flow_ml_min': (242, 242), 'region': 'wrist'})
    # The arm itself, which part 2 found to be the planner's, at the flow of
    # that series, which varied by a third (242, SD 72): within 40 % of each.
    peer.inside('wrist: part fed backwards', quantiles(-wrist.distal0 / wrist.q0, wrist.w)[1],
                0.20, 0.467, 'Anderson 1977, n=21: a third')
    wrist.rd = np.full(wrist.n, 1e9)
    peer.inside('wrist: part lost, distal artery shut',
                quantiles(1 - wrist.solve(None).q / wrist.q0, wrist.w)[1], 0.216, 0.504,
                'Anderson 1977: flow falls by 36 %')


def check_losses(peer):
    # 90 % of the area, 3 mm tube; geometry and fluid from memory.  Above the
    # measured drops, since there the pressure had not fully come back.
    r, k = peer.numbers('element smooth-stenosis 3.5e-3 1050 0.95 3.0 6.75')
    for flow, drop in ((55, 14), (79, 24), (89, 32), (115, 50.3)):
        peer.inside(f'stenosis in vitro at {flow} mL/min: over measured',
                    (r + k * flow) * flow / drop, 0.95, 1.25, 'measured in vitro')
    for beta, want, ground in ((0.5, 2.72 * (1 - 0.25) * (1 / 0.0625 - 1) * 0.0625,
                                "Hooper's thin plate, within 0.5 %"),
                               (0.0, 2.81, 'Rennels and Hudson, within 0.5 %')):
        got = peer.numbers(f'element edge {beta} {1 / 1.622:.17g}')[0]
        peer.inside(f'sharp orifice, beta {beta:g}', got, 0.995 * want, 1.005 * want, ground)


def check_practice(peer):
    """Common practice, no source.  Five points: two pairs of readings do not
    tell a reduction better than that."""
    for flow, dowel, want, ground in (
            (2500, 4, 45, 'the offset was chosen for it: no check'),
            (3000, 4, 50, 'common practice, no source'),
            (3500, 4, 55, 'common practice, no source'),
            (1400, 3, 50, 'common practice, no source')):
        plan = peer.plan(**{**USUAL, 'flow_ml_min': (flow, flow), 'dowels_mm': (dowel,)})
        peer.inside(f'{flow} mL/min over {dowel} mm: %', plan['rungs'][0]['reduction_pct']['p50'],
                    want - 5, want + 5, ground)
    # "If only 30 % is reached with 4 mm: 3.5, then 3."
    plan = peer.plan(**{**USUAL, 'flow_ml_min': (2600, 2600),
                        'stages': [('tied', 4, (1820, 1820))]})
    reduced = {r['dowel_mm']: r['reduction_pct']['p50'] for r in plan['rungs']}
    for dowel, least, most in ((4, 25, 35), (3.5, 45, 55), (3, 55, 65)):
        peer.inside(f'4 mm gave 30 %; over {dowel:g} mm: %', reduced[dowel], least, most,
                    'common practice, no source')


def main():
    if len(sys.argv) != 2:
        raise SystemExit('usage: planner.py PATH_TO_tool_plan')
    peer = Peer(sys.argv[1])
    print(f'{"":<58} count     worst')
    check_sample(peer)
    check_elements(peer, np.random.default_rng(20260301))
    check_plans(peer)
    print(f'\n{"":<46}  here     allowed')
    check_series(peer)
    check_hand(peer)
    check_losses(peer)
    check_practice(peer)
    print(f'{peer.checks} checks, {peer.wrong} wrong')
    return 1 if peer.wrong else 0


if __name__ == '__main__':
    sys.exit(main())
