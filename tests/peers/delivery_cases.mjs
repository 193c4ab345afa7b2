/*
 * Invented patients, each with one fistula and readings of its flow.
 *
 * Two readings above the limit, 28 days apart, complete the high-flow rule.
 */

const BASE = 'https://headgate.example/fhir';
const UCUM = 'http://unitsofmeasure.org';
const SNOMED = 'http://snomed.info/sct';
const DAY_MS = 24 * 3600 * 1000;

/* A record may outlive a run, and keep what is of the run before. */
const RUN = Math.random().toString(36).slice(2, 7);

export class Person {
    constructor(service, tag) {
        this.service = service;
        this.tag = tag = `${tag}-${RUN}`;
        this.mrn = `E2E-${tag}`;
        this.access = `ACC-${tag}`;
        this.readings = 0;
    }

    /* Patient and access, both known to the service only. */
    async arrive() {
        this.patientId = await this.service.post({
            resourceType: 'Patient',
            identifier: [{ use: 'usual', system: 'urn:oid:2.999.1.1',
                value: this.mrn }],
            name: [{ family: 'Example', given: [`Case ${this.tag}`] }],
            gender: 'female', birthDate: '1961' });
        this.accessId = await this.service.post(this.bodyStructure());
        return this;
    }

    bodyStructure() {
        return {
            resourceType: 'BodyStructure',
            identifier: [{ system: 'https://site.example/ids/access',
                value: this.access }],
            active: true,
            morphology: { coding: [{ code: 'avf',
                system: `${BASE}/CodeSystem/av-access-type`,
                display: 'Arteriovenous fistula' }] },
            location: { text: 'Left upper arm, brachiocephalic' },
            locationQualifier: [{ coding: [{ system: SNOMED,
                code: '419161000', display: 'Unilateral left' }] }],
            patient: { reference: `Patient/${this.patientId}` } };
    }

    /* A reading taken so many days ago; today's was taken a minute ago. */
    reading(flow_ml_min, daysAgo, extra = {}) {
        this.readings++;
        const when = Date.now() - daysAgo * DAY_MS - 60000;
        return {
            resourceType: 'Observation',
            identifier: [{ system: 'https://site.example/ids/obs',
                value: `QA-${this.tag}-${this.readings}` }],
            status: 'final',
            code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
                code: 'access-flow', display: 'Access blood flow (Qa)' }] },
            subject: { reference: `Patient/${this.patientId}` },
            focus: [{ reference: `BodyStructure/${this.accessId}` }],
            effectiveDateTime: new Date(when).toISOString(),
            valueQuantity: { value: flow_ml_min, unit: 'mL/min',
                system: UCUM, code: 'mL/min' },
            method: { text: 'Ultrasound dilution' },
            ...extra };
    }

    /* Something else that is a number, of the same access. */
    other(code, value, unit, daysAgo = 0) {
        return { ...this.reading(0, daysAgo), method: undefined,
            code: { coding: [{ system: `${BASE}/CodeSystem/av-observation`,
                code }] },
            valueQuantity: { value, unit, code: unit, system: UCUM } };
    }

    /* The first of the two readings: no Task follows from it alone. */
    async firstReading(daysAgo = 28) {
        await this.arrive();
        await this.service.post(this.reading(2100, daysAgo));
        return this;
    }

    /* The reading that completes the rule. */
    async secondReading(daysAgo = 0) {
        this.second = this.reading(2050, daysAgo);
        this.secondId = await this.service.post(this.second);
    }

    async bothReadings() {
        await this.firstReading();
        await this.secondReading();
        return this;
    }

    /* Whether a resource speaks of this patient or access. */
    isIn(resource) {
        const literal = [`Patient/${this.patientId}`,
            `BodyStructure/${this.accessId}`];
        const mentions = (value) => typeof value === 'string'
            ? value === this.mrn || value === this.access
                || literal.some((l) => value === l || value.endsWith(`/${l}`))
            : value !== null && typeof value === 'object'
                && Object.values(value).some(mentions);
        return mentions(resource);
    }
}
