#!/usr/bin/env python3
"""circuit - the circuit of the arm against a circuit simulator

    python3 circuit.py PATH_TO_tool_plan

Needs ngspice and Debian's python3-numpy and python3-scipy.  Writes the arm as
an electrical circuit of four nodes, a volt for each mmHg and an ampere for
each mL/min: resistors for what is linear, behavioural sources for what goes
with the square of the flow.  Band and lesion are sources of their own there,
where the planner adds everything in series into one R and one K.

All flows and pressures must agree to 1e-6 of each, as is asked of the solver:
both sides stop far below that, so a difference means another circuit.  And
what the planner says must balance at both inner nodes.

Ends with the line "N checks, W wrong" and with status 1 if any was wrong.
"""

import re
import subprocess
import sys
import tempfile

import numpy as np
from planner_model import Blood, edge, head, pore, smooth_stenosis

NEAR = 1e-6
NAMES = ('access', 'artery', 'distal', 'MAP', 'PA', 'PH')
PRINTED = ('i(vaccess)', 'i(vfeeding)', 'i(vdistal)', 'v(s)', 'v(a)', 'v(h)')


def band(lumen, conduit=9.0, contraction=0.64, pulse=1.06):
    b = Blood(0.33)
    return (pore(b, 1.5, lumen),
            pulse * edge(lumen / conduit, contraction) * head(b, lumen))


LESION = smooth_stenosis(Blood(0.33), 3.0, 8.0, 15.0)
ELBOW = dict(feeding=(.004, 1.6e-6), path=(.012, 6e-6), rd=.2, rc=.9, rh=1.3, map=95, cvp=8)
STEAL = dict(feeding=(.015, 9e-6), path=(.02, 1e-5), rd=.35, rc=1.5, rh=1.3, map=90, cvp=6)
WRIST = dict(feeding=(.045, 1e-5), path=(.03, 2e-5), rd=.08, rc=.05, rh=1.2, map=92, cvp=7)
COUPLED = dict(kappa=.0025, q0=2500)
CASES = {
    'elbow, no band': ELBOW,
    'elbow, 4 mm': dict(ELBOW, band=band(3.5)),
    'elbow, 4 mm, pressure follows': dict(ELBOW, band=band(3.5), **COUPLED),
    'elbow, all but shut': dict(ELBOW, band=band(0.5), **COUPLED),
    'elbow, lesion': dict(ELBOW, lesion=LESION),
    'elbow, lesion, 4.5 mm, pressure follows': dict(ELBOW, band=band(4), lesion=LESION, **COUPLED),
    'steal, no band': STEAL,
    'steal, 3 mm': dict(STEAL, band=band(2.5)),
    'wrist, backwards': WRIST,
    'wrist, backwards, 3.5 mm': dict(WRIST, band=band(3), kappa=.004, q0=1000),
    'wrist, lesion': dict(WRIST, lesion=LESION),
    'wrist, artery narrowed upstream': dict(WRIST, feeding=(.3, 2e-4)),
    'all linear': dict(feeding=(.01, 0), path=(.08, 0), rd=.2, rc=.9, rh=1.3, map=100, cvp=10),
    'artery linear, 4 mm': dict(ELBOW, feeding=(.01, 0), band=band(3.5)),
    'access without friction': dict(ELBOW, path=(0, 8e-6), **COUPLED),
}


def drawn(rng):
    """Arms of any kind, far wider than patients."""
    for i in range(25):
        yield f'drawn {i}', dict(
            feeding=(10 ** rng.uniform(-3, -1), 10 ** rng.uniform(-7, -4)),
            path=(10 ** rng.uniform(-3, -1), 10 ** rng.uniform(-7, -4)),
            band=band(rng.uniform(1, 5)), rd=10 ** rng.uniform(-2, 0.5),
            rc=10 ** rng.uniform(-2, 0.5), rh=10 ** rng.uniform(-0.5, 0.7),
            map=rng.uniform(50, 140), cvp=rng.uniform(0, 20),
            kappa=rng.uniform(0, .008), q0=rng.uniform(300, 4000))


def element(name, start, end, loss):
    """An ammeter, a resistor and a source of the square; without the two last
    where there is nothing to lose."""
    r, k = loss
    lines, at = [f'V{name} {start} {name}1 0'], f'{name}1'
    for kind, value in (('r', r), ('k', k)):
        if value == 0:
            continue
        into = f'{name}{kind}'
        lines.append(f'R{name} {at} {into} {value:.17g}' if kind == 'r' else
                     f'B{name} {at} {into} V={value:.17g}*i(V{name})*abs(i(V{name}))')
        at = into
    return lines + [f'V{name}0 {at} {end} 0']


def deck(arm):
    """The netlist; ngspice takes its first line as a title."""
    lines = ['* the arm', f'Vveins v 0 {arm["cvp"]:.17g}',
             f'Bheart s 0 V={arm["map"]:.17g}+{arm.get("kappa", 0):.17g}'
             f'*({arm.get("q0", 0):.17g}-i(Vaccess))']
    lines += element('feeding', 's', 'a', arm['feeding'])
    lines += element('access', 'a', 'b', arm['path'])
    lines += element('band', 'b', 'c', arm.get('band', (0, 0)))
    lines += element('lesion', 'c', 'v', arm.get('lesion', (0, 0)))
    lines += ['Vdistal a d 0', f'Rd d h {arm["rd"]:.17g}', f'Rc s h {arm["rc"]:.17g}',
              f'Rh h v {arm["rh"]:.17g}',
              '.options reltol=1e-13 abstol=1e-12 vntol=1e-12 gmin=1e-20 itl1=500',
              '.control', 'op', 'set numdgt=15', *(f'print {x}' for x in PRINTED),
              '.endc', '.end']
    return '\n'.join(lines) + '\n'


def simulate(arm):
    with tempfile.NamedTemporaryFile('w', suffix='.cir') as file:
        file.write(deck(arm))
        file.flush()
        done = subprocess.run(['ngspice', '-b', file.name], capture_output=True, text=True,
                              check=False)
    found = dict(re.findall(r'^(\S+) = (\S+)$', done.stdout, re.MULTILINE))
    if set(PRINTED) - set(found):
        raise SystemExit(f'ngspice: {done.stdout}{done.stderr}')
    return np.array([float(found[x]) for x in PRINTED])


def ask(tool, arms):
    """The planner's answer to each arm."""
    lines = []
    for arm in arms:
        series = [arm[x] for x in ('path', 'band', 'lesion') if x in arm]
        given = dict(rf=arm['feeding'][0], kf=arm['feeding'][1],
                     ra=sum(x[0] for x in series), ka=sum(x[1] for x in series),
                     **{k: arm[k] for k in ('rd', 'rc', 'rh', 'map', 'cvp', 'kappa', 'q0')
                        if k in arm})
        lines.append('circuit ' + ' '.join(f'{k}={v:.17g}' for k, v in given.items()))
    done = subprocess.run([tool], input='\n'.join(lines) + '\n', capture_output=True,
                          text=True, check=True)
    return [np.array([float(x) for x in line.split()]) for line in done.stdout.splitlines()]


def balance(arm, state):
    """What is lost at the inner nodes, as part of the flow through them."""
    access, feeding, distal, map_, _, hand = state
    collateral, bed = (map_ - hand) / arm['rc'], (hand - arm['cvp']) / arm['rh']
    return np.array([(feeding - access - distal) / access,
                     (distal + collateral - bed) / bed])


def main():
    if len(sys.argv) != 2:
        raise SystemExit('usage: circuit.py PATH_TO_tool_plan')
    cases = {**CASES, **dict(drawn(np.random.default_rng(20260302)))}
    answers = ask(sys.argv[1], cases.values())
    if len(answers) != len(cases):
        raise SystemExit(f'{len(cases)} questions, {len(answers)} answers')
    checks = wrong = backwards = 0
    print(f'{"":<40} access  distal   worst')
    for (name, arm), got in zip(cases.items(), answers):
        want = simulate(arm)
        # The flow of the distal artery goes through nought: measured against
        # the flow of the access, beside which it counts.
        scale = np.where(np.array(NAMES) == 'distal', abs(want[0]), np.abs(want))
        off = np.append(np.abs(got - want) / scale, np.abs(balance(arm, got)))
        checks += len(off)
        wrong += int(np.sum(~(off <= NEAR)))
        backwards += got[2] < 0
        print(f'{name:<40} {got[0]:6.0f} {got[2]:7.1f} {np.max(off):7.1e}'
              f'{"" if np.all(off <= NEAR) else "  WRONG"}')
    if not 3 <= backwards <= len(cases) - 3:
        raise SystemExit('hardly any flow backwards, or hardly any forwards')
    print(f'{checks} checks, {wrong} wrong')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
