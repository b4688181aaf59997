// Sealed values by name: what waits to be sent, drafts, the ward list, who works here. Tabs tell each other of changes.

import { request } from './idb';
import { open, seal, type Sealed } from './seal';

const channel = new BroadcastChannel('chartferry');
const listeners = new Set<(name: string) => void>();
channel.onmessage = (event: MessageEvent<string>) => listeners.forEach((tell) => tell(event.data));

export async function keep(name: string, value: unknown): Promise<void> {
  const sealed = await seal(value);
  await request('kept', 'readwrite', (store) => store.put(sealed, name));
  tell(name);
}

export async function kept<T>(name: string): Promise<T | undefined> {
  const sealed = (await request('kept', 'readonly', (store) => store.get(name))) as Sealed | undefined;
  return sealed === undefined ? undefined : open<T>(sealed);
}

export async function forget(name: string): Promise<void> {
  await request('kept', 'readwrite', (store) => store.delete(name));
  tell(name);
}

export async function namesOf(prefix: string): Promise<string[]> {
  const range = IDBKeyRange.bound(prefix, `${prefix}\uffff`);
  return (await request('kept', 'readonly', (store) => store.getAllKeys(range))) as string[];
}

// Of changes by this tab and the others.
export function onKept(listener: (name: string) => void): () => void {
  listeners.add(listener);
  return () => void listeners.delete(listener);
}

function tell(name: string): void {
  channel.postMessage(name);
  listeners.forEach((one) => one(name));
}

// One tab at a time; the others wait their turn.
export function alone<T>(name: string, work: () => Promise<T>): Promise<T> {
  return navigator.locks.request(`chartferry-${name}`, work) as Promise<T>;
}
