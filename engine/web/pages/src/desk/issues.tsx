// The issues of an OperationOutcome, each with its severity in words.

import type { JSX } from 'preact';
import { issuesOf } from '../engine';
import type { JsonObject } from '../json';

export function Issues(p: { outcome: JsonObject | undefined }): JSX.Element | null {
  const issues = issuesOf(p.outcome);
  if (issues.length === 0) return null;
  return (
    <section><h3>What was found</h3>
      <ul class="issues">{issues.map((one, i) => (
        <li key={i} class={`judged ${one.severity === 'error' || one.severity === 'fatal' ? 'refuse' : one.severity === 'warning' ? 'confirm' : 'note'}`}>
          <b>{one.severity}</b> {one.text} {one.expression && <code>{one.expression}</code>}</li>))}</ul>
    </section>
  );
}
