// Sealed values by name: what waits to be sent, drafts, the ward list, who works here. What one person keeps no other can
// open, nor see by name. Tabs tell each other of changes.

import { request } from './idb';
import { Locked, type Owner, deviceOwner, owner } from './owner';
import { hidden, open, seal, type Sealed } from './seal';

const channel = new BroadcastChannel('chartferry');
const listeners = new Set<(name: string) => void>();
channel.onmessage = (event: MessageEvent<string>) => listeners.forEach((hear) => hear(event.data));

export class Drawer {
  constructor(private readonly whose: () => Promise<Owner | undefined>) {}

  // Of whom it is now, also when they sign out in the meantime. Errors: Locked when nobody is signed in.
  async held(): Promise<Drawer> {
    const mine = await this.mine();
    return new Drawer(() => Promise.resolve(mine));
  }
  // Errors: QuotaExceededError when the device is full, Locked.
  async keep(name: string, value: unknown): Promise<void> {
    const { tag, keys } = await this.mine();
    const sealed = await seal(keys, value);
    await request('kept', 'readwrite', (store) => store.put(sealed, tag + name));
    tell(name);
  }
  // Undefined also when nobody is signed in. Errors: what lies there was sealed with other keys.
  async kept<T>(name: string): Promise<T | undefined> {
    const mine = await this.whose();
    const sealed = mine && (await request('kept', 'readonly', (store) => store.get(mine.tag + name))) as Sealed | undefined;
    return mine && sealed ? open<T>(mine.keys, sealed) : undefined;
  }
  async forget(name: string): Promise<void> {
    const { tag } = await this.mine();
    await request('kept', 'readwrite', (store) => store.delete(tag + name));
    tell(name);
  }
  async namesOf(prefix: string): Promise<string[]> {
    const mine = await this.whose();
    if (!mine) return [];
    const from = mine.tag + prefix;
    const names = (await request('kept', 'readonly', (store) => store.getAllKeys(IDBKeyRange.bound(from, `${from}\uffff`)))) as string[];
    return names.map((name) => name.slice(mine.tag.length));
  }
  // See seal.ts; another one for each person.
  async hidden(text: string): Promise<string> {
    return hidden((await this.mine()).keys, text);
  }
  private async mine(): Promise<Owner> {
    const mine = await this.whose();
    if (!mine) throw new Locked();
    return mine;
  }
}

// Of the person who is signed in; of the device where nobody has to be.
export const drawer = new Drawer(owner);
export const deviceDrawer = new Drawer(deviceOwner);

// Of changes by this tab and the others.
export function onKept(listener: (name: string) => void): () => void {
  listeners.add(listener);
  return () => void listeners.delete(listener);
}

export function tell(name: string): void {
  channel.postMessage(name);
  listeners.forEach((hear) => hear(name));
}

// One tab at a time; the others wait their turn.
export function alone<T>(name: string, work: () => Promise<T>): Promise<T> {
  return navigator.locks.request(`chartferry-${name}`, work) as Promise<T>;
}
