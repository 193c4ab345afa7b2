/*
 * Is the noise of the cohort what its page says?  From the readings alone:
 * the coefficient of variation of replicates within a session, and of single
 * readings of different sessions of patients whose flow is steady.
 *
 * Source: Huisman et al., Nephrol Dial Transplant 2005 (ultrasound dilution):
 * 7.7 % within a session, 14.2 % between sessions.
 */
const WITHIN = 0.077, BETWEEN = 0.142, TOLERANCE = 0.12;

function flowsOf(text) {
    const flows = new Map();
    for (const line of text.split('\n')) {
        if (!line.includes('"access-flow"') || !line.includes('ultrasound-dilution'))
            continue;
        const o = JSON.parse(line);
        if (o.status !== 'final' || o.valueQuantity === undefined)
            continue;
        const id = `c-${o.identifier[0].value.split('-')[0]}`;
        const litres = o.valueQuantity.code === 'L/min';
        const flow = { at_s: Date.parse(o.effectiveDateTime) / 1000,
            ml_min: o.valueQuantity.value * (litres ? 1000 : 1) };
        if (flow.ml_min > 8) /* litres said to be millilitres */
            flows.set(id, [...flows.get(id) ?? [], flow]);
    }
    return flows;
}

function mean(list) {
    return list.reduce((a, b) => a + b, 0) / list.length;
}

/* Two readings four minutes apart differ by the root of two times the CV. */
function within(flows) {
    const squares = [];
    for (const list of flows.values()) {
        list.sort((a, b) => a.at_s - b.at_s);
        for (let i = 1; i < list.length; i++) {
            const [a, b] = [list[i - 1], list[i]];
            if (b.at_s - a.at_s <= 300 && b.at_s > a.at_s)
                squares.push(((a.ml_min - b.ml_min) / (a.ml_min + b.ml_min)) ** 2 * 2);
        }
    }
    return Math.sqrt(mean(squares));
}

/* By the quartiles, since some readings are mistyped on purpose. */
function between(flows, patients) {
    const ratios = [];
    for (const [id, list] of flows) {
        const single = list.filter((f) => !list.some((g) => g !== f &&
            Math.abs(g.at_s - f.at_s) < 3600));
        if (patients.get(id)?.flow !== 'steady' || single.length < 15)
            continue;
        const sorted = single.map((f) => f.ml_min).sort((a, b) => a - b);
        const middle = sorted[Math.floor(sorted.length / 2)];
        ratios.push(...sorted.map((v) => v / middle));
    }
    ratios.sort((a, b) => a - b);
    const quartile = (share) => ratios[Math.floor(share * ratios.length)];
    return (quartile(0.75) - quartile(0.25)) / 1.349;
}

/* [what, met, value] as the targets have it. */
export function checkNoise(feed, patients) {
    const flows = flowsOf(feed);
    return [['readings of one session vary as published', within(flows), WITHIN],
        ['readings of two sessions vary as published', between(flows, patients), BETWEEN]]
        .map(([what, value, want]) => [what, Math.abs(value / want - 1) < TOLERANCE,
            `${(100 * value).toFixed(1)} %, ${(100 * want).toFixed(1)} % published`]);
}
