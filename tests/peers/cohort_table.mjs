/* The numbers of the cohort test as Markdown. */
import { CONFIRMED_RULES } from './cohort_read.mjs';

function pct(share) {
    return share === null ? '-' : `${(100 * share).toFixed(0)} %`;
}

function rate(n) {
    return n.toFixed(3);
}

function spreadText({ median, p90 }, digits) {
    return median === null ? '-' : `${median.toFixed(digits)} (${p90.toFixed(digits)})`;
}

function table(head, rows) {
    const line = (cells) => `| ${cells.join(' | ')} |`;
    return [line(head), line(head.map(() => '---')), ...rows.map(line)].join('\n');
}

function overall(runs) {
    const rows = runs.map(({ name, result: { all } }) => [name,
        rate(all.suggestions_per_year), rate(all.false_routine_per_year),
        rate(all.false_urgent_per_year), pct(all.near),
        `${pct(all.falls_found)} of ${all.falls}`,
        `${pct(all.flows_found)} of ${all.flows}`,
        `${pct(all.immediate_found)} of ${all.immediate}`]);
    return table(['confirmation', 'suggestions', 'false, routine', 'false, urgent',
        'of the false: truth within 10 %', 'falls of 35 % in four readings',
        'flows 20 % beyond in four readings', 'immediate at the first reading'], rows);
}

function ruleRow(name, r) {
    return [r.rule, name, r.cases, pct(r.found), pct(r.within_four),
        r.targets === 0 ? '-' : `${pct(r.target_share)} of ${r.targets}`,
        spreadText(r.days, 0), spreadText(r.readings, 0),
        rate(r.false_per_year), pct(r.near)];
}

/* Only the rules that the settings change have a row of each. */
function perRule(runs) {
    const shipped = runs.find((r) => r.shipped);
    const rows = shipped.result.rules.flatMap((r) =>
        CONFIRMED_RULES.includes(r.rule)
            ? runs.map((run) => [run, run.result.rules.find((x) => x.rule === r.rule)])
                .filter(([, x]) => x !== undefined)
                .map(([run, x]) => ruleRow(run.name, x))
            : [ruleRow('as shipped', r)]);
    return table(['rule', 'confirmation', 'true cases', 'found', 'within four readings',
        'far beyond, within four', 'delay, days', 'delay, readings',
        'false a patient-year', 'of the false: within 10 %'], rows);
}

export function markdown(runs, about) {
    return [`${about.patients} patients, ${about.years.toFixed(0)} patient-years, ` +
        `seed ${about.seed}, end ${about.end}. Rates are per patient-year; delays are ` +
        'median (90th percentile). Left out of the targets, with fewer than four valid ' +
        `readings since: ${runs[0].result.all.left_out}.`, '', overall(runs), '', perRule(runs)].join('\n');
}

const day = (s) => new Date(s * 1000).toISOString().slice(0, 10);

/* Every target that was missed and every false suggestion, a line each. */
export function missesText(judged) {
    const targets = judged.targets.filter((t) => !t.within_four).map((t) =>
        `missed  ${t.rule} ${t.patient} from ${day(t.from_s)}, ` +
        `${t.beyond_pct} % beyond, every ${t.every_days} d, ${t.unit}` +
        `${t.found ? `, found after ${t.delay_readings} readings` : ''}`);
    const signs = judged.signs.filter((s) => !s.at_once).map((s) =>
        `missed  ${s.rule} ${s.patient} ${s.sign} ${day(s.at_s)}` +
        `${s.immediate ? ', immediate' : ''}`);
    const wrong = judged.suggestions.filter((s) => s.false).map((s) =>
        `false   ${s.rules.join('+')} ${s.patient} ${day(s.opened_s)} ${s.urgency}` +
        `${s.distance_pct === null ? '' : `, truth ${-s.distance_pct} % inside`}` +
        `, ${s.flow}${s.by_duplex ? ', by duplex' : ''}, ${s.unit}`);
    return [...targets, ...signs, ...wrong].join('\n');
}

const BEGIN = '<!-- table: written by tests/peers/cohort.mjs --write -->';
const END = '<!-- end of table -->';

/* Put the table between the two marks of a page. */
export function replaceTable(page, text) {
    const from = page.indexOf(BEGIN), to = page.indexOf(END);
    if (from < 0 || to < from)
        throw new Error(`the page has no lines "${BEGIN}" and "${END}"`);
    return `${page.slice(0, from + BEGIN.length)}\n${text}\n${page.slice(to)}`;
}
