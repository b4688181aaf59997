// Keeps what waits on this device unreadable in the browser's files: AES-GCM under keys that no script can read out
// (WebCrypto, not extractable). Pure but for the device's own keys; owner.ts says whose keys are in force.

import { request } from './idb';

export interface Sealed { iv: Uint8Array; bytes: ArrayBuffer }
export interface Keys { seal: CryptoKey; name: CryptoKey } // AES-GCM; HMAC for names

let device: Promise<Keys> | undefined;

async function makeDeviceKeys(): Promise<Keys> {
  const fresh: Keys = {
    seal: await crypto.subtle.generateKey({ name: 'AES-GCM', length: 256 }, false, ['encrypt', 'decrypt']),
    name: await crypto.subtle.generateKey({ name: 'HMAC', hash: 'SHA-256', length: 256 }, false, ['sign']),
  };
  // Two tabs may come here at once: add() fails for the second, which then takes what the first wrote.
  await request('keys', 'readwrite', (store) => store.add(fresh, 'device')).catch(() => undefined);
  return (await request('keys', 'readonly', (store) => store.get('device'))) as Keys;
}

// Of this browser, for everybody who uses it.
export function deviceKeys(): Promise<Keys> {
  device ??= request('keys', 'readonly', (store) => store.get('device'))
    .then((known) => (known as Keys | undefined) ?? makeDeviceKeys());
  device.catch(() => { device = undefined; });
  return device;
}

// Of one person on this browser: what the engine hands out at the sign-in (`secret`, hexadecimal), drawn with HKDF
// (RFC 5869) together with the device's own key. Neither alone is enough to make them again.
export async function personKeys(secret: string): Promise<Keys> {
  const bytes = Uint8Array.from(secret.match(/../g) ?? [], (two) => parseInt(two, 16));
  const drawn = await crypto.subtle.importKey('raw', bytes, 'HKDF', false, ['deriveKey']);
  const salt = await crypto.subtle.sign('HMAC', (await deviceKeys()).name, new TextEncoder().encode('salt of a person'));
  const from = (info: string): HkdfParams => ({ name: 'HKDF', hash: 'SHA-256', salt, info: new TextEncoder().encode(info) });
  return {
    seal: await crypto.subtle.deriveKey(from('seal'), drawn, { name: 'AES-GCM', length: 256 }, false, ['encrypt', 'decrypt']),
    name: await crypto.subtle.deriveKey(from('name'), drawn, { name: 'HMAC', hash: 'SHA-256', length: 256 }, false, ['sign']),
  };
}

export async function seal(keys: Keys, value: unknown): Promise<Sealed> {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const plain = new TextEncoder().encode(JSON.stringify(value));
  return { iv, bytes: await crypto.subtle.encrypt({ name: 'AES-GCM', iv }, keys.seal, plain) };
}

// Errors: rejects when the bytes are not what these keys sealed.
export async function open<T>(keys: Keys, sealed: Sealed): Promise<T> {
  const iv = new Uint8Array(sealed.iv);
  const plain = await crypto.subtle.decrypt({ name: 'AES-GCM', iv }, keys.seal, sealed.bytes);
  return JSON.parse(new TextDecoder().decode(plain)) as T;
}

// A name under which something of a patient is kept, which does not tell the patient.
export async function hidden(keys: Keys, text: string): Promise<string> {
  const mac = await crypto.subtle.sign('HMAC', keys.name, new TextEncoder().encode(text));
  return [...new Uint8Array(mac).slice(0, 16)].map((one) => one.toString(16).padStart(2, '0')).join('');
}
