/**
 * The service worker: keeps one whole copy of the built page, so that it opens without its server. The build puts the
 * list of files and their version in front of this (bin/offline-plugin.ts). A copy is complete or is not made at all;
 * a newer one waits until no window shows the older, so that no window ever mixes two versions: a page that starts as
 * the only window asks for it and begins again with it. Nothing but the page's own files is kept, and nothing is asked
 * of any other server.
 */
declare const self: ServiceWorkerGlobalScope;
/** Paths beside this script, '' for the page itself, and a digest of their content. */
declare const PAGE_FILES: string[];
declare const PAGE_VERSION: string;

/** Other pages may be served from the same address: only caches with this name and place are ours. */
const OURS = `cornerwise ${self.registration.scope} `;
const CACHE = OURS + PAGE_VERSION;
const addressOf = (path: string): string => new URL(path, self.registration.scope).href;
const KEPT = new Set(PAGE_FILES.map(addressOf));

self.addEventListener('install', (event) => event.waitUntil(keepCopy()));
self.addEventListener('activate', (event) => event.waitUntil(takeOver()));
self.addEventListener('message', (event) => event.waitUntil(takeOverIfAlone(event.ports[0])));
self.addEventListener('fetch', (event) => {
  const { request } = event;
  if (request.method !== 'GET') return;
  const address = request.url.replace(/[?#].*$/, '');
  const path = address === addressOf('index.html') ? addressOf('') : address;
  if (KEPT.has(path)) event.respondWith(answer(path, request));
});

/** Asks the server whether what the browser already has is still right ('no-cache'): an update costs only what changed. */
async function keepCopy(): Promise<void> {
  const cache = await caches.open(CACHE);
  try {
    await cache.addAll([...KEPT].map((address) => new Request(address, { cache: 'no-cache' })));
  } catch (error) {
    await caches.delete(CACHE);
    throw error;
  }
}

async function takeOver(): Promise<void> {
  const names = await caches.keys();
  const older = names.filter((name) => name.startsWith(OURS) && name !== CACHE);
  await Promise.all(older.map((name) => caches.delete(name)));
  await self.clients.claim();
}

/** Answers whether the page that asks is the only window: only then may this version take the place of its own. */
async function takeOverIfAlone(asker: MessagePort | undefined): Promise<void> {
  const windows = await self.clients.matchAll({ type: 'window', includeUncontrolled: true });
  const alone = windows.length <= 1;
  asker?.postMessage(alone);
  if (alone) await self.skipWaiting();
}

/** The copy first: at the telescope a server that does not answer must cost no waiting. */
async function answer(address: string, request: Request): Promise<Response> {
  const copy = await caches.match(address, { cacheName: CACHE, ignoreVary: true });
  return copy ?? fetch(request);
}

export {};
