/*
 * What the peer says of itself at /metadata.
 */

const INTERACTIONS = ['create', 'read', 'vread', 'update', 'patch', 'delete',
    'history-instance', 'search-type'];

export function capabilities(base, resourceTypes) {
    return {
        resourceType: 'CapabilityStatement',
        status: 'active',
        date: '2024-01-01',
        kind: 'instance',
        implementation: { description: 'Record peer of the tests', url: base },
        fhirVersion: '4.0.1',
        format: ['json'],
        patchFormat: ['application/json-patch+json'],
        rest: [{
            mode: 'server',
            resource: resourceTypes.map(capability),
            interaction: [{ code: 'transaction' }, { code: 'batch' }],
        }],
    };
}

function capability(type) {
    return {
        type,
        interaction: INTERACTIONS.map((code) => ({ code })),
        versioning: 'versioned-update',
        readHistory: true,
        updateCreate: true,
        conditionalCreate: true,
        conditionalRead: 'not-match',
        conditionalUpdate: true,
        conditionalDelete: 'single',
    };
}
