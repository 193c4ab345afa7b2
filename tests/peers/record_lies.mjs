/*
 * Faults by which a record does something else than it was asked, or says
 * something else than it did.
 *
 *   entry         the entry "index" of a Bundle is answered "status" and not
 *                 carried out; the others are
 *   as-batch      a transaction is carried out as a batch
 *   no-condition  If-None-Exist is passed over
 *   lenient       all search parameters are passed over
 *   text          carried out, and answered "status" with "text" as it is, or
 *                 so many times ("repeat")
 */

export const LIES = ['entry', 'as-batch', 'no-condition', 'lenient', 'text'];

/* The request as the record takes it. */
export function misread(fault, request) {
    switch (fault?.kind) {
    case 'entry':
        return withBundle(request, (bundle) =>
            bundle.entry.splice(fault.index, 1));
    case 'as-batch':
        return withBundle(request, (bundle) => { bundle.type = 'batch'; });
    case 'no-condition':
        return unconditional(request);
    case 'lenient':
        return { ...request, path: request.path.replace(/\?.*/, '') };
    default:
        return request;
    }
}

/* The answer as the record gives it; a string body is sent as it is. */
export function misanswer(fault, answer) {
    if (fault?.kind === 'entry')
        answer.body.entry.splice(fault.index, 0, { response: {
            status: String(fault.status), outcome: {
                resourceType: 'OperationOutcome', issue: [{
                    severity: 'error', code: 'throttled',
                    diagnostics: 'A fault that was asked for' }] } } });
    if (fault?.kind === 'text')
        return { status: fault.status, headers: fault.headers,
            body: fault.text.repeat(fault.repeat ?? 1) };
    return answer;
}

function withBundle(request, change) {
    const bundle = JSON.parse(request.text);
    change(bundle);
    return { ...request, text: JSON.stringify(bundle) };
}

function unconditional(request) {
    const { 'if-none-exist': _, ...headers } = request.headers;
    const dropped = { ...request, headers };
    return /"resourceType":"Bundle"/.test(request.text)
        ? withBundle(dropped, (bundle) => bundle.entry.forEach(
            (entry) => delete entry.request.ifNoneExist))
        : dropped;
}
