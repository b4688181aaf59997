// Service worker: the pages open without a network. It keeps the pages themselves and the plausibility table, and
// nothing of a patient; every other request passes it by.

declare const self: ServiceWorkerGlobalScope;
export {};

const kCache = `pages-${EDITION}`;
const kPages = ['/', '/page.js', '/page.css', '/sheet', '/sheet.js', '/sheet.css', '/manifest.webmanifest', '/icon.svg'];
const kTable = '/plausibility';

self.addEventListener('install', (event) => {
  event.waitUntil(
    caches.open(kCache)
      .then((cache) => cache.addAll([...kPages, kTable].map((path) => new Request(path, { cache: 'reload' }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener('activate', (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((name) => name !== kCache).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

// The kept copy at once: a new edition of the pages comes with a new worker, which fetches them all together.
async function page(request: Request): Promise<Response> {
  const path = new URL(request.url).pathname;
  return (await caches.match(path, { cacheName: kCache })) ?? fetch(request);
}

async function table(request: Request): Promise<Response> {
  try {
    const answer = await fetch(request);
    if (answer.ok) await (await caches.open(kCache)).put(kTable, answer.clone());
    return answer;
  } catch {
    return (await caches.match(kTable, { cacheName: kCache })) ?? Response.error();
  }
}

self.addEventListener('fetch', (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== 'GET' || url.origin !== self.location.origin) return;
  if (kPages.includes(url.pathname)) event.respondWith(page(event.request));
  if (url.pathname === kTable) event.respondWith(table(event.request));
});
