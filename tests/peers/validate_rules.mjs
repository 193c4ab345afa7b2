/*
 * The walk through one resource by the StructureDefinitions: JSON rules at
 * every value, R4 invariants at every element.
 *
 * The invariants are those of the definitions, run by fhirpath.  Only the
 * following are not, and each of them is looked after here in another way or
 * has no meaning outside a server:
 */

import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4';
import { typeTable } from './validate_types.mjs';
import { attachmentFault, narrativeFault, primitiveFault }
    from './validate_text.mjs';

const NOT_RUN = new Map([
    ['ele-1', 'a value or children: the JSON rules refuse what is empty'],
    ['txt-1', 'htmlChecks() is not FHIRPath: see narrativeFault()'],
    ['txt-2', 'htmlChecks() is not FHIRPath: see narrativeFault()'],
    ['dom-3', 'the library does not know as(canonical): see containedFaults()'],
    ['ctm-1', 'resolve() needs a server that has the other resource'],
    ['eld-19', 'the published pattern is no pattern where Unicode is on'],
    ['ig-1', 'the published expression has a misprint and does not parse'],
    ['ig-2', 'the published expression has a misprint and does not parse'],
]);

/* Yields { path, rule, text } for everything that is wrong. */
export function ruleFindings(resource) {
    const walk = new Walk(resource);
    walk.resource(resource, resource.resourceType ?? 'resource', resource);
    return walk.findings;
}

class Walk {
    constructor() {
        this.table = typeTable();
        this.findings = [];
    }

    report(path, rule, text) {
        this.findings.push({ path, rule, text });
    }

    /* container is the resource that references with "#" refer to. */
    resource(node, path, container) {
        const type = node?.resourceType;
        if (!this.table.isResource(type))
            return this.report(path, 'json', 'not a FHIR resource');
        const scope = { resource: node, rootResource: container };
        this.complex(node, type, type, path, scope, []);
        if (node === container)
            containedFaults(node).forEach((id) => this.report(path, 'dom-3',
                `contained ${id} is not referred to`));
        return undefined;
    }

    /* An object of a type, or a part of one that has no type of its own. */
    complex(node, below, type, path, scope, constraints) {
        if (node === null || typeof node !== 'object' || Array.isArray(node))
            return this.report(path, 'json', `object expected for ${below}`);
        if (Object.keys(node).length === 0)
            return this.report(path, 'json', 'empty object');
        const own = this.table.roots.get(below)?.constraint ?? [];
        this.invariants(node, below, path, scope, [...constraints, ...own]);
        this.members(node, below, path, scope);
        if (type === 'Narrative' && typeof node.div === 'string')
            this.fault(`${path}.div`, 'narrative', narrativeFault(node.div));
        if (type === 'Attachment')
            this.fault(path, 'attachment', attachmentFault(node));
        return undefined;
    }

    fault(path, rule, text) {
        if (text !== null)
            this.report(path, rule, text);
    }

    members(node, below, path, scope) {
        const known = this.table.children.get(below);
        const isResource = this.table.isResource(below);
        const seen = new Map();     /* element name -> JSON keys present */
        for (const [key, value] of Object.entries(node)) {
            if (key === 'resourceType' && isResource)
                continue;
            const bare = key.startsWith('_') ? key.slice(1) : key;
            const element = known?.get(bare);
            if (element === undefined) {
                this.report(`${path}.${key}`, 'json', 'unknown element');
                continue;
            }
            seen.set(element.name,
                (seen.get(element.name) ?? new Set()).add(bare));
            this.member(element, key, value, node, `${path}.${key}`, scope);
        }
        this.presence(known ?? new Map(), seen, path);
    }

    presence(known, seen, path) {
        for (const [name, keys] of seen)
            if (keys.size > 1)
                this.report(`${path}.${name}`, 'json',
                    `more than one of a choice: ${[...keys].join(', ')}`);
        for (const { name, min } of new Set(known.values()))
            if (min > 0 && !seen.has(name)) {
                this.report(`${path}.${name}`, 'json', 'missing element');
                seen.set(name, new Set());
            }
    }

    member(element, key, value, node, path, scope) {
        if (value === null)
            return this.report(path, 'json', 'null');
        if (Array.isArray(value) !== element.many)
            return this.report(path, 'json', element.many
                ? 'array expected' : 'no array expected');
        const values = element.many ? value : [value];
        if (values.length === 0)
            return this.report(path, 'json', 'empty array');
        values.forEach((item, at) => {
            const here = element.many ? `${path}[${at}]` : path;
            if (item === null && hasTwin(node, key, at))
                return;
            this.value(element, key, item, here, scope);
        });
        return undefined;
    }

    value(element, key, item, path, scope) {
        if (item === null)
            this.report(path, 'json', 'null');
        else if (key.startsWith('_'))
            this.extended(element, item, path, scope);
        else if (element.type === 'Resource')
            this.resource(item, path,
                element.name === 'contained' ? scope.rootResource : item);
        else if (element.type === 'xhtml')
            this.fault(path, 'json',
                typeof item === 'string' ? null : 'string expected for xhtml');
        else if (this.table.isPrimitive(element.type))
            this.primitive(element, item, path, scope);
        else
            this.complex(item, element.below, element.type, path, scope,
                element.constraints);
    }

    /* "_birthDate": the id and extensions of a primitive value. */
    extended(element, item, path, scope) {
        if (this.table.isPrimitive(element.type))
            this.complex(item, 'Element', 'Element', path, scope, []);
        else
            this.report(path, 'json', 'no twin: this is no primitive');
    }

    primitive(element, item, path, scope) {
        const regex = this.table.regexes.get(element.type);
        const fault = primitiveFault(element.type, item, regex);
        this.fault(path, 'json', fault);
        if (fault === null)
            this.invariants(item, element.type, path, scope,
                element.constraints);
    }

    invariants(node, base, path, scope, constraints) {
        const done = new Set();
        for (const { key, severity, expression, human } of constraints) {
            if (severity !== 'error' || done.has(key) || NOT_RUN.has(key))
                continue;
            done.add(key);
            const result = holds(node, base, expression, scope);
            if (result !== true)
                this.report(path, key, result === false ? human
                    : `not computed: ${result}`);
        }
    }
}

/* A null in an array stands for a value that has only its twin, or none. */
function hasTwin(node, key, at) {
    const twin = key.startsWith('_') ? key.slice(1) : `_${key}`;
    return Array.isArray(node[twin]) && (node[twin][at] ?? null) !== null;
}

const compiled = new Map();

/*
 * True, false, or the reason why an expression cannot be computed.  An empty
 * result is no violation: several of the published expressions (ref-1) are
 * empty where what they speak of is absent.
 */
function holds(node, base, expression, scope) {
    const id = `${base}|${expression}`;
    try {
        if (!compiled.has(id))
            compiled.set(id, fhirpath.compile({ base, expression }, model,
                { traceFn: () => {} }));
        const result = compiled.get(id)(node, scope);
        return result.every((item) => item === true);
    } catch (e) {
        return e.message;
    }
}

/* Ids of contained resources that neither are referred to nor refer. */
function containedFaults(node) {
    if (!Array.isArray(node.contained))
        return [];
    const strings = new Set();
    const collect = (value) => {
        if (typeof value === 'string')
            strings.add(value);
        else if (value !== null && typeof value === 'object')
            Object.values(value).forEach(collect);
    };
    collect(node);
    return node.contained.filter((inner) => !strings.has(`#${inner?.id}`)
        && !JSON.stringify(inner).includes('"reference":"#"'))
        .map((inner) => inner?.id);
}
