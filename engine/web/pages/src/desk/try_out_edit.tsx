// A text with line numbers and marked lines: a textarea and a gutter beside it, because the pages' policy lets no
// library write styles.

import type { JSX } from 'preact';
import { useEffect, useId, useRef, useState } from 'preact/hooks';

export interface Spot { file: string; line: number; column: number }

const kLine = 20; // pixels; as in desk.css

export function Editor(p: {
  label: string; text: string; onText: (text: string) => void; marked: Set<number>; spot: Spot | undefined; onTry: () => void;
}): JSX.Element {
  const id = useId();
  const area = useRef<HTMLTextAreaElement>(null);
  const gutter = useRef<HTMLPreElement>(null);
  const lines = p.text.split('\n').length;
  useEffect(() => {
    const at = area.current;
    if (!at || !p.spot || p.spot.line < 1) return;
    const before = p.text.split('\n').slice(0, p.spot.line - 1).join('\n').length + (p.spot.line > 1 ? 1 : 0);
    const line = p.text.slice(before).split('\n')[0] ?? '';
    // Columns count characters, and a textarea counts UTF-16 units.
    const from = before + [...line].slice(0, Math.max(0, p.spot.column - 1)).join('').length;
    at.focus();
    at.scrollIntoView({ block: 'nearest' });
    at.setSelectionRange(from, before + line.length);
    at.scrollTop = Math.max(0, (p.spot.line - 1) * kLine - at.clientHeight / 2);
    at.scrollLeft = 0;
  }, [p.spot]);
  return (
    <div class="editor">
      <label for={id} class="quiet">{p.label}</label>
      <pre ref={gutter} class="gutter" aria-hidden="true">{Array.from({ length: lines }, (_, i) => (
        <span key={i} class={p.marked.has(i + 1) ? 'wrong' : ''}>{i + 1}{'\n'}</span>))}</pre>
      <textarea id={id} ref={area} value={p.text} wrap="off" spellcheck={false} autocomplete="off" autocapitalize="off" dir="ltr"
        onInput={(event) => p.onText(event.currentTarget.value)}
        onKeyDown={(event) => {
          if (event.key === 'Enter' && (event.ctrlKey || event.metaKey)) {
            event.preventDefault();
            p.onTry();
          }
        }}
        onScroll={(event) => { if (gutter.current) gutter.current.scrollTop = event.currentTarget.scrollTop; }} />
    </div>
  );
}

// As the engine takes them: a map, a code table, a profile; in a folder below, with '/'.
const kName = /^[A-Za-z0-9_][A-Za-z0-9._-]*(\/[A-Za-z0-9_][A-Za-z0-9._-]*)*\.(map|csv|json)$/;

export function NewFile(p: { taken: string[]; onAdd: (name: string) => void }): JSX.Element {
  const [name, type] = useState('');
  const wrong = p.taken.includes(name) ? 'There is a file of this name.'
    : name !== '' && !kName.test(name) ? 'A name such as entry-cough.map or concepts/cough.csv: letters, digits, “.”, “_”, “-”.' : '';
  return (
    <details class="search"><summary>A new file</summary>
      <form onSubmit={(event) => {
        event.preventDefault();
        if (name === '' || wrong !== '') return;
        p.onAdd(name);
        type('');
      }}>
        <label class="searched">Name of the new file
          <input type="text" value={name} autocomplete="off" autocapitalize="none" spellcheck={false} maxLength={100} dir="ltr"
            onInput={(event) => type(event.currentTarget.value.trim())} /></label>
        <div class="row"><button type="submit" class="chip" disabled={name === '' || wrong !== ''}>Add it</button>
          <span class="judged refuse" role="alert" hidden={wrong === ''}>{wrong}</span></div>
      </form></details>
  );
}

export function download(name: string, text: string): void {
  const address = URL.createObjectURL(new Blob([text], { type: 'text/plain' }));
  const link = document.createElement('a');
  link.href = address;
  link.download = name.slice(name.lastIndexOf('/') + 1);
  link.click();
  URL.revokeObjectURL(address);
}
