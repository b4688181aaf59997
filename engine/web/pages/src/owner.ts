// Whose is what this device keeps: the device's, where nobody has to sign in, else the signed-in person's. The person's
// keys lie in the browser's database while the sign-in lasts, so that a round goes on without a network and over a
// reload, and are forgotten when it ends; the engine hands out what they are made of again at the next sign-in. The
// database is asked each time: all tabs have one truth.

import { request } from './idb';
import { type Keys, deviceKeys, hidden, personKeys } from './seal';

export interface Owner { tag: string; keys: Keys } // tag: before the names of what is kept; '' for the device
export interface Person { name: string; display: string; may: string[]; secret: string; lasts: number } // lasts: seconds

interface Kept {
  needed: boolean; // the engine wants a sign-in
  leaving?: boolean; // signed out here, and the engine does not know yet
  person?: { name: string; display: string; may?: string[]; owner: Owner; until: number };
}
export interface Standing { known: boolean; needed: boolean; leaving: boolean; name: string; display: string; may: string[] }

// Nobody is signed in, and the engine wants it: nothing can be kept or read.
export class Locked extends Error {}

async function standing(): Promise<Kept | undefined> {
  const kept = (await request('keys', 'readonly', (store) => store.get('standing'))) as Kept | undefined;
  if (kept?.person && kept.person.until < Date.now()) return { needed: true };
  return kept;
}
async function stand(kept: Kept): Promise<void> {
  await request('keys', 'readwrite', (store) => store.put(kept, 'standing'));
}

export async function deviceOwner(): Promise<Owner> {
  return { tag: '', keys: await deviceKeys() };
}

// Undefined when nobody is signed in who has to be.
export async function owner(): Promise<Owner | undefined> {
  const kept = await standing();
  return kept?.needed ? kept.person?.owner : deviceOwner();
}

export async function howItStands(): Promise<Standing> {
  const kept = await standing();
  return { known: kept !== undefined, needed: kept?.needed ?? false, leaving: kept?.leaving ?? false,
    name: kept?.person?.name ?? '', display: kept?.person?.display ?? '', may: kept?.person?.may ?? [] };
}

// The person is signed in; until so many seconds from now without a word of the engine.
export async function becomePerson(person: Person): Promise<void> {
  const keys = await personKeys(person.secret);
  const tag = `p-${(await hidden(keys, 'tag')).slice(0, 16)}/`;
  await stand({ needed: true, person: { name: person.name, display: person.display, may: person.may, owner: { tag, keys },
    until: Date.now() + 1000 * person.lasts } });
}
// `leaving`: by a person's wish, and the engine has not been told.
export async function becomeStranger(leaving = false): Promise<void> {
  await stand({ needed: true, ...(leaving ? { leaving } : {}) });
}
export async function becomeDevice(): Promise<void> {
  await stand({ needed: false });
}

// How many sessions of whom wait here, for the form that is shown to whoever comes: numbers by tag, nothing else.
const kWaiting = 'waiting';
function noted(): Record<string, number> {
  try {
    return JSON.parse(localStorage.getItem(kWaiting) ?? '{}') as Record<string, number>;
  } catch {
    return {};
  }
}
export async function noteWaiting(count: number): Promise<void> {
  const who = await owner();
  if (!who) return;
  const { [who.tag]: _, '': __, ...others } = noted(); // the device's are taken over by who signs in
  localStorage.setItem(kWaiting, JSON.stringify(count > 0 ? { ...others, [who.tag]: count } : others));
}
export function waitingHere(): number {
  return Object.values(noted()).reduce((sum, one) => sum + one, 0);
}
