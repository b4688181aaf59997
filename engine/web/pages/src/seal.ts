// Keeps what waits on this device unreadable in the browser's files: AES-GCM under a key that no script can read out
// (WebCrypto, not extractable). It does not protect from somebody who can use this browser while it is open.

import { request } from './idb';

export interface Sealed { iv: Uint8Array; bytes: ArrayBuffer }

let keys: Promise<{ seal: CryptoKey; name: CryptoKey }> | undefined;

async function loadKeys(): Promise<{ seal: CryptoKey; name: CryptoKey }> {
  const fresh = {
    seal: await crypto.subtle.generateKey({ name: 'AES-GCM', length: 256 }, false, ['encrypt', 'decrypt']),
    name: await crypto.subtle.generateKey({ name: 'HMAC', hash: 'SHA-256', length: 256 }, false, ['sign']),
  };
  // Two tabs may come here at once: add() fails for the second, which then takes what the first wrote.
  await request('keys', 'readwrite', (store) => store.add(fresh, 'device')).catch(() => undefined);
  return (await request('keys', 'readonly', (store) => store.get('device'))) as typeof fresh;
}

async function deviceKeys(): Promise<{ seal: CryptoKey; name: CryptoKey }> {
  keys ??= (async () => {
    const known = await request('keys', 'readonly', (store) => store.get('device'));
    return (known as { seal: CryptoKey; name: CryptoKey } | undefined) ?? loadKeys();
  })();
  return keys;
}

export async function seal(value: unknown): Promise<Sealed> {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const plain = new TextEncoder().encode(JSON.stringify(value));
  return { iv, bytes: await crypto.subtle.encrypt({ name: 'AES-GCM', iv }, (await deviceKeys()).seal, plain) };
}

// Errors: rejects when the bytes are not what this device sealed.
export async function open<T>(sealed: Sealed): Promise<T> {
  const iv = new Uint8Array(sealed.iv);
  const plain = await crypto.subtle.decrypt({ name: 'AES-GCM', iv }, (await deviceKeys()).seal, sealed.bytes);
  return JSON.parse(new TextDecoder().decode(plain)) as T;
}

// A name under which something of a patient is kept, which does not tell the patient.
export async function hidden(text: string): Promise<string> {
  const mac = await crypto.subtle.sign('HMAC', (await deviceKeys()).name, new TextEncoder().encode(text));
  return [...new Uint8Array(mac).slice(0, 16)].map((one) => one.toString(16).padStart(2, '0')).join('');
}
