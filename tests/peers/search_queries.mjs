/*
 * The queries of search.mjs.  A query stands here as a person would write it;
 * encode() makes a URL of it.
 */

import { BASE, OWNERS, WARD } from './search_world.mjs';
import { OBS_SYSTEM } from './endpoint_kit.mjs';

const TASK_CODES = `${BASE}/CodeSystem/av-task`;
const KEYS = `${BASE}/NamingSystem/task-key`;
const STATUS = 'http://hl7.org/fhir/task-status';

export function encode(query) {
    const [type, rest = ''] = query.split(/\?(.*)/s);
    const pairs = rest.split('&').filter(Boolean).map((pair) => {
        const [name, value] = pair.split(/=(.*)/s);
        return `${encodeURIComponent(name)}=${encodeURIComponent(value)}`;
    });
    return pairs.length > 0 ? `${type}?${pairs.join('&')}` : type;
}

const tokens = (all) => {
    const [one, two, three] = [all.Task[2], all.Task[9], all.Task.at(-3)];
    const code = one.code.coding[0].code;
    const key = (t) => t.identifier[0].value;
    return [
        '', `_id=${one.id}`, `_id=${one.id},${two.id},x`, '_id=none',
        `identifier=${KEYS}|${key(one)}`, `identifier=${key(one)}`,
        `identifier=${key(one)},${KEYS}|${key(two)}`,
        `identifier=https://other.example|${key(one)}`,
        `identifier=${key(one)}&identifier=${key(two)}`,
        'status=requested', 'status=accepted', 'status=completed',
        'status=requested,accepted', 'status=request', 'status=on-hold',
        'status=accepted&priority=urgent', 'status:not=requested',
        'status:not=completed', 'status=requested&status=accepted',
        'priority=stat', 'priority=urgent', 'priority=stat,routine',
        'priority=asap&status=requested', 'priority:not=routine',
        'priority=high', 'intent=proposal', 'intent=order',
        `code=${code}`, `code=${TASK_CODES}|${code}`,
        `code=https://other.example|${code}`, `code:not=${code}`,
        'business-status=step-0', `business-status=${WARD}|step-2`,
        'business-status=step-0,step-1', 'business-status:not=step-0',
        'business-status=local', 'business-status:missing=true',
        'business-status:missing=false', 'business-status=none',
        'group-identifier=g-0', 'group-identifier=g-0,g-1',
        'group-identifier=https://ward.example/groups|g-1',
        'group-identifier:missing=false', `_id=${three.id}&status=requested`,
        `status=requested&code=${code}&priority:not=stat`,
    ];
};

const references = (all) => {
    const one = all.Task[4];
    const patient = one.for.reference;
    const other = all.Task.at(-1).for.reference;
    const access = one.focus.reference;
    const part = all.Task.find((t) => t.partOf !== undefined).partOf;
    return [
        `patient=${patient}`, `patient=${patient.split('/')[1]}`,
        `subject=${patient}`, `subject=${patient},${other}`,
        `patient=${patient},${other}`, `patient=${patient}&patient=${other}`,
        'patient=Patient/nobody', 'patient=nobody', `focus=${access}`,
        `focus=${access},BodyStructure/none`, 'focus=BodyStructure/none',
        'focus:missing=true', 'focus:missing=false',
        ...OWNERS.slice(0, 2).map((o) => `owner=${o}`),
        'owner=Organization/ward-1,Practitioner/nurse-7',
        'owner=Organization/none', 'owner:missing=true', 'owner:missing=false',
        ...part.map((p) => `part-of=${p.reference}`),
        'part-of=Task/none', 'part-of:missing=true', 'part-of:missing=false',
        `patient=${patient}&status=requested`,
        `focus=${access}&priority=stat,urgent`,
        'owner=Organization/ward-1&status:not=completed',
    ];
};

/* Whole times: there the peer goes by the same rules. */
const dates = (all) => {
    const times = [all.Task[1], all.Task[10]].map((t) => t.lastModified);
    const authored = all.Task[5].authoredOn;
    return [...times.flatMap((at) => ['gt', 'ge', 'lt', 'le'].map((p) =>
        `modified=${p}${at}`)),
    ...['gt', 'lt', 'ge', 'le'].map((p) => `authored-on=${p}${authored}`),
    'authored-on=ge2020-01-01T00:00:00Z', 'authored-on=lt2020-01-01T00:00:00Z',
    'authored-on=gt2020-01-01', 'authored-on=lt2120-06',
    `modified=ge${times[0]}&modified=lt${times[1]}`,
    'authored-on:missing=true', 'period:missing=true', 'period:missing=false',
    `status=requested&modified=ge${times[0]}`];
};

const others = (all) => {
    const patient = all.Patient[3];
    const [id] = patient.identifier;
    const access = all.BodyStructure[2];
    const reading = all.Observation[5];
    return [
        ['Patient', ['', `_id=${patient.id}`, `identifier=${id.value}`,
            `identifier=${id.system}|${id.value}`, 'identifier=none',
            `identifier=https://other.example|${id.value}`]],
        ['BodyStructure', ['', `_id=${access.id}`,
            `identifier=${access.identifier[0].value}`,
            `patient=Patient/${patient.id}`, 'patient=Patient/none']],
        ['Observation', ['', `_id=${reading.id},${all.Observation[7].id}`,
            `identifier=${reading.identifier[0].value}`,
            `patient=Patient/${patient.id}`, `subject=Patient/${patient.id}`,
            'status=final', 'status=amended', 'status:not=final',
            'code=access-flow', 'code=hand-ulcer',
            `code=${OBS_SYSTEM}|access-flow`, 'code:not=access-flow',
            `focus=${reading.focus[0].reference}`,
            `code=access-flow&patient=Patient/${patient.id}`,
            `date=ge${reading.effectiveDateTime}`,
            `date=lt${reading.effectiveDateTime}`,
            'date=ge2020-01-01&code=hand-ulcer']],
    ].flatMap(([type, list]) => list.map((query) => `${type}?${query}`));
};

export function queries(all) {
    return [...[tokens, references, dates].flatMap((make) => make(all))
        .map((query) => `Task?${query}`), ...others(all)];
}

/* ---- on purpose ------------------------------------------------------------ */

const DAY_MS = 86400000;
const span = (text) => {
    const from = Date.parse(text.length === 4 ? `${text}-01-01` : text);
    const year = new Date(from).getUTCFullYear();
    const month = new Date(from).getUTCMonth();
    return [from, text.length === 4 ? Date.UTC(year + 1, 0, 1)
        : text.length === 7 ? Date.UTC(year, month + 1, 1)
            : text.length === 10 ? from + DAY_MS
                : from + (text.includes('.') ? 1 : 1000)];
};
const due = (t) => t.restriction?.period?.end;
const when = (t) => {
    const p = t.executionPeriod;
    return p && [p.start ? span(p.start)[0] : -Infinity,
        p.end ? span(p.end)[1] : Infinity];
};

/* search.html, 3.1.1.4.6, on intervals [from, to) */
const holds = {
    eq: ([f, t], [a, b]) => f >= a && t <= b,
    ne: (r, q) => !holds.eq(r, q),
    gt: ([, t], [, b]) => t > b,
    lt: ([f], [a]) => f < a,
    ge: (r, q) => holds.gt(r, q) || holds.eq(r, q),
    le: (r, q) => holds.lt(r, q) || holds.eq(r, q),
    sa: ([f], [, b]) => f >= b,
    eb: ([, t], [a]) => t <= a,
};

const intervals = (name, value, dates) => dates.flatMap((date) =>
    Object.keys(holds).map((prefix) => [`Task?${name}=${prefix}${date}`, (t) => {
        const of = value(t);
        return of !== undefined && holds[prefix](of, span(date));
    }]));

/*
 * Where headgate and the peer do not answer alike:
 *
 * - dates without a time, and Periods, are intervals, and a time is equal to
 *   itself (3.1.1.4.6); the peer compares texts, and finds nothing by "eq"
 * - a bar within a value is written "\\|" (3.1.1.4.0.1)
 * - "|code" asks for a code without a system, "system|" for any code of it
 *   (3.1.1.4.10)
 * - patient.identifier, and Reference.identifier by :identifier (3.1.1.4.12)
 * - an id alone, and the address of the server before it (3.1.1.4.12): the
 *   peer compares the text
 * - due is no parameter of R4
 */
export function onPurpose(all) {
    const person = all.Patient[6];
    const [number] = person.identifier;
    const isOf = (t) => t.for.reference === `Patient/${person.id}`;
    const none = () => false;
    const group = all.Task[2].groupIdentifier;
    const access = all.Task[3].focus.reference;
    const identified = (t, value) => t.owner?.identifier?.value === value;
    return [
        ...intervals('authored-on', (t) => span(t.authoredOn),
            ['2026', '2026-11', new Date().toISOString().slice(0, 10),
                all.Task[7].authoredOn]),
        ...intervals('modified', (t) => span(t.lastModified),
            [new Date().toISOString().slice(0, 10), all.Task[8].lastModified]),
        ...intervals('period', when, ['2026', '2026-03', '2026-05-05',
            '2026-06-01T00:00:00Z']),
        ...intervals('due', (t) => due(t) && span(due(t)), ['2026-12',
            '2026-12-24', '2027', '2027-01', due(all.Task.find(due))]),
        ['Task?due:missing=true', (t) => due(t) === undefined],
        [`Task?status=${STATUS}|requested`, (t) => t.status === 'requested'],
        [`Task?status=${STATUS}|`, () => true],
        ['Task?status=|requested', none],
        ['Task?status=https://other.example|requested', none],
        ['Task?status=https://other.example|requested,accepted',
            (t) => t.status === 'accepted'],
        [`Task?identifier=${KEYS}|`, () => true],
        ['Task?business-status=|local', (t) => t.businessStatus?.coding
            .some((c) => c.code === 'local')],
        [`Task?business-status=${WARD}|`, (t) => t.businessStatus
            ?.coding.some((c) => c.system === WARD)],
        [`Task?group-identifier=${group.system}|${group.value
            .replaceAll('|', '\\|')}`, (t) =>
            t.groupIdentifier.value === group.value],
        [`Task?patient.identifier=${number.system}|${number.value}`, isOf],
        [`Task?patient.identifier=${number.value}`, isOf],
        [`Task?subject:Patient.identifier=${number.value}`, isOf],
        [`Task?subject:Patient=${person.id}`, isOf],
        ['Task?patient.identifier=none', none],
        [`Task?patient:identifier=${number.value}`, none],
        ['Task?owner:identifier=n-0', (t) => identified(t, 'n-0')],
        ['Task?owner:identifier=https://staff.example/ids|n-1',
            (t) => identified(t, 'n-1')],
        ['Task?owner:identifier=|n-1', none],
        ['Task?owner=nurse-7', (t) =>
            t.owner?.reference === 'Practitioner/nurse-7'],
        [`Task?owner=${OWNERS[2]}`, (t) => t.owner?.reference === OWNERS[2]],
        [`Task?focus=${access.split('/')[1]}`, (t) =>
            t.focus.reference === access],
        [`Task?focus:BodyStructure=${access.split('/')[1]}`, (t) =>
            t.focus.reference === access],
        [`Observation?subject.identifier=${number.value}`, (o) =>
            o.subject.reference === `Patient/${person.id}`, 'Observation'],
    ];
}

/* ---- sorting ---------------------------------------------------------------- */

const URGENCY = ['routine', 'urgent', 'asap', 'stat'];
const updated = (t) => t.meta.lastUpdated;
const priority = (t) => URGENCY.indexOf(t.priority);
const status = (t) => t.status;
const dueAt = (t) => due(t) === undefined ? -Infinity : span(due(t))[0];

/* A query, and the keys that its answer has to be in the order of. */
export const sorts = [
    ['Task?_sort=_lastUpdated', [[updated]]],
    ['Task?_sort=-_lastUpdated', [[updated, true]]],
    ['Task?_sort=_id', [[(t) => t.id]]],
    ['Task?_sort=-_id', [[(t) => t.id, true]]],
    ['Task?_sort=authored-on', [[(t) => Date.parse(t.authoredOn)]]],
    ['Task?_sort=-modified', [[(t) => Date.parse(t.lastModified), true]]],
    ['Task?_sort=-priority', [[priority, true]]],
    ['Task?_sort=priority,-_lastUpdated', [[priority], [updated, true]]],
    ['Task?_sort=status,due', [[status], [dueAt]]],
    ['Task?_sort=-due', [[dueAt, true]]],
    ['Task?_sort=due,-priority,_id', [[dueAt], [priority, true],
        [(t) => t.id]]],
];
