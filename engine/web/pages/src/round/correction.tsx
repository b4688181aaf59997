// Corrects or withdraws one recorded entry. Both need a reason, which lands in the chart with the change.

import type { JSX } from 'preact';
import { useState } from 'preact/hooks';
import { Choice, Dialog, NumberField, Select, TextField } from '../controls';
import { type JsonObject, same } from '../json';
import { readNumber } from '../numbers';
import { type Judged, type Table, judge } from '../plausibility';
import { describe, kindWords, partsOf, withPart } from './describe';
import { kNoteMax } from './entries';
import type { Amend } from './receipts';

const kReasons: [string, string][] = ['Mistyped', 'Wrong patient', 'Read again', 'Wrong time or order'].map((one) => [one, one]);

export function Correction(p: {
  entry: JsonObject; table: Table | undefined; device: string; onAmend: (amend: Amend) => void; onClose: () => void;
}): JSX.Element {
  const parts = partsOf(p.entry);
  const [values, setValues] = useState<string[]>(parts.map((one) => one.value));
  const [confirmed, confirm] = useState('');
  const [reason, setReason] = useState('');
  const [withdraw, setWithdraw] = useState(false);
  const state = JSON.stringify(values);
  const put = (i: number, text: string): void => setValues(values.map((one, at) => (at === i ? text : one)));

  const judged: Judged[] = parts.map((part, i) => {
    const typed = values[i] ?? '';
    if (part.options) return { grade: 'good', text: '' };
    if (part.unit === '' && /\.(text|topic|what)$/.test(part.element)) {
      const problem = typed.trim() === '' ? 'Write something, or withdraw the entry.'
        : [...typed].length > kNoteMax ? `At most ${kNoteMax} characters.` : '';
      return { grade: problem ? 'refuse' : 'good', text: problem };
    }
    const number = readNumber(typed);
    if (number.problem || number.text === '') {
      return { grade: 'refuse', text: number.problem || 'Write a number, or withdraw the entry.' };
    }
    return judge(p.table, { element: part.element, ...(part.unit ? { unit: part.unit } : {}), device: p.device }, number.text);
  });
  const stood = confirmed === state;
  const bad = judged.some((one) => one.grade === 'refuse' || (one.grade === 'confirm' && !stood));
  const changed = parts.reduce((entry, part, i) => {
    const typed = values[i] ?? '';
    const isText = part.options !== undefined || (part.unit === '' && /\.(text|topic|what)$/.test(part.element));
    return typed === part.value ? entry : withPart(entry, part, isText ? typed.trim() : readNumber(typed).text || part.value);
  }, p.entry);
  // A value that was held is stood by without a change of it.
  const asks = judged.some((one) => one.grade === 'confirm');
  const made = asks && stood ? { ...changed, confirmed: true } : changed;
  const ready = reason.trim() !== '' && (withdraw || (!bad && !same(made, p.entry)));
  return (
    <Dialog title={`${kindWords(p.entry)}: correct or withdraw`} onClose={p.onClose}>
      <p class="none" dir="auto">{describe(p.entry)}</p>
      {!withdraw && parts.map((part, i) => {
        const value = values[i] ?? '';
        const said = judged[i] ?? { grade: 'good', text: '' };
        if (part.options) {
          return <Select key={i} label={part.label} options={part.options} value={value} onValue={(text) => put(i, text)} />;
        }
        if (part.unit === '' && /\.(text|topic|what)$/.test(part.element)) {
          return <TextField key={i} label={part.label} value={value} max={kNoteMax} {...(part.long ? { lines: 4 } : {})}
            onValue={(text) => put(i, text)} />;
        }
        return <NumberField key={i} label={part.label} unit={part.unit} value={value} judged={said} confirmed={stood}
          onConfirm={() => confirm(state)} onValue={(text) => put(i, text)} />;
      })}
      <label class="check"><input type="checkbox" checked={withdraw}
        onChange={(event) => setWithdraw(event.currentTarget.checked)} /> Withdraw the entry: it should never have been there</label>
      <Choice label="Why" options={kReasons} value={reason} onValue={setReason} />
      <TextField label="Reason in your words" value={reason} onValue={setReason} />
      <div class="row end">
        <button type="button" class="send" disabled={!ready}
          onClick={() => p.onAmend({ entry: made, withdrawn: withdraw, reason: reason.trim() })}>
          {withdraw ? 'Withdraw' : 'Correct'}</button>
      </div>
    </Dialog>
  );
}
