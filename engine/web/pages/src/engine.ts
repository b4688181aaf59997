// The engine's HTTP interface, as far as the pages use it. Same origin always.

import { learn } from './clock';
import { type JsonObject, isObject, listAt, objectAt, parse, textAt } from './json';
import { whyNow } from './why';

export interface Answer { status: number; body: string; location: string }

const strangers = new EventTarget();

// Calls back when the engine does not know who asks (any more); the answer ends that.
export function onStranger(look: () => void): () => void {
  strangers.addEventListener('stranger', look);
  return () => strangers.removeEventListener('stranger', look);
}

// Rejects when there is no answer: network off, engine down, too slow.
// `patience`: milliseconds that it may take.
export async function ask(method: string, path: string, body?: string, patience = 20_000): Promise<Answer> {
  const why = await whyNow();
  const from = performance.now();
  const response = await fetch(path, {
    method,
    cache: 'no-store',
    credentials: 'same-origin',
    signal: AbortSignal.timeout(patience),
    ...(body === undefined ? {} : { body }),
    headers: {
      ...(body === undefined ? {} : { 'Content-Type': 'application/json' }),
      ...(why ? { 'Read-Why': encodeURIComponent(why) } : {}),
    },
  });
  if (response.status === 401 && path !== '/sign-in') strangers.dispatchEvent(new Event('stranger'));
  learn(response.headers.get('date'), performance.now() - from);
  return { status: response.status, body: await response.text(), location: response.headers.get('location') ?? '' };
}

export interface Issue { severity: string; text: string; expression: string; rule: string }

export function issuesOf(outcome: JsonObject | undefined): Issue[] {
  return listAt(outcome, 'issue').map((one) => {
    const where = one['expression'];
    return {
      severity: textAt(one, 'severity'),
      text: textAt(objectAt(one, 'details'), 'text') || textAt(one, 'diagnostics'),
      expression: Array.isArray(where) && typeof where[0] === 'string' ? where[0] : '',
      rule: textAt(one, 'diagnostics').replace(/ at \d+:\d+$/, ''),
    };
  });
}

// The issues of an answer that is an OperationOutcome, or one that says what came instead.
export function problemsOf(answer: Answer): Issue[] {
  try {
    const body = parse(answer.body);
    const issues = isObject(body) ? issuesOf(body) : [];
    if (issues.length > 0) return issues;
  } catch {
    // a proxy's page, for example
  }
  return [{ severity: 'error', text: `The engine answered ${answer.status} in a form that this page does not know.`,
            expression: '', rule: '' }];
}

export interface DryRun {
  verdict: 'ready' | 'held' | 'refused';
  reason: string;
  issues: Issue[];
  findings: JsonObject[];
}

// What the engine would say of a document; undefined when it cannot be asked just now.
export async function dryRun(document: string): Promise<DryRun | undefined> {
  try {
    const answer = await ask('POST', '/sessions?dry-run', document);
    if (answer.status === 400 || answer.status === 422) {
      return { verdict: 'refused', reason: '', issues: problemsOf(answer), findings: [] };
    }
    if (answer.status !== 200) return undefined;
    const body = parse(answer.body);
    return {
      verdict: textAt(body, 'verdict') === 'ready' ? 'ready' : 'held',
      reason: textAt(body, 'reason'),
      issues: issuesOf(objectAt(body, 'outcome')),
      findings: listAt(body, 'findings'),
    };
  } catch {
    return undefined;
  }
}
