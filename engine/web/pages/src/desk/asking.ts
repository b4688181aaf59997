// Answers of the engine for the desk: parsed, or said in words what came instead.

import { useEffect, useRef, useState } from 'preact/hooks';
import { ask, problemsOf } from '../engine';
import { type Json, parse } from '../json';

// Of an identifier that is searched for.
export const kHalf = 'An identifier has a system and a value: write both.';
export function isHalf(system: string, value: string): boolean {
  return (system === '') !== (value === '');
}

export interface Told { value: Json | undefined; problem: string; loading: boolean }

export async function told(method: string, path: string, body?: string, patience?: number): Promise<Told> {
  try {
    const answer = await ask(method, path, body, patience);
    if (answer.status < 200 || answer.status >= 300) {
      return { value: undefined, problem: problemsOf(answer)[0]?.text ?? `HTTP ${answer.status}`, loading: false };
    }
    return { value: parse(answer.body), problem: '', loading: false };
  } catch {
    return { value: undefined, problem: 'The engine does not answer.', loading: false };
  }
}

// Asks when something of it changes, and nothing at all while `path` is empty; what was there stays until the answer comes. An older answer never replaces a
// younger one.
export function useTold(method: string, path: string, body: string | undefined, count: number): Told {
  const [answer, set] = useState<Told>({ value: undefined, problem: '', loading: true });
  const asked = useRef('');
  useEffect(() => {
    let current = true;
    const key = `${method} ${path} ${body ?? ''}`;
    if (asked.current !== key) set({ value: undefined, problem: '', loading: true });
    asked.current = key;
    if (path === '') return undefined;
    void told(method, path, body).then((one) => { if (current) set(one); });
    return () => { current = false; };
  }, [method, path, body, count]);
  return answer;
}
