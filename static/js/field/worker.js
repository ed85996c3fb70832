// The service worker of a page that opens without signal: it keeps the page's files, and nothing else.
// What the server knows is never answered from here: an old answer would look like news. The server
// puts a line before this one: const SHELL = { version, files: [address, ...], name, page: address }.

const PREFIX = `${SHELL.name}-shell-`;
const CACHE = PREFIX + SHELL.version;
const PAGE = SHELL.page;
const files = new Set(SHELL.files);

self.addEventListener("install", (event) => event.waitUntil(keepShell()));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", answer);
// A new shell waits until the page says so: never in the middle of a tree.
self.addEventListener("message", ({ data }) => data === "skipWaiting" && self.skipWaiting());

// All of it or nothing: with one file missing the older shell stays.
async function keepShell() {
  const cache = await caches.open(CACHE);
  await Promise.all(SHELL.files.map((file) => keep(cache, file)));
}

async function keep(cache, file) {
  // Past the browser's own cache, which may still hold the file of the version before.
  const response = await fetch(file, { cache: "reload" });
  if (!response.ok || response.redirected) {
    throw new Error(`${file} was answered with ${response.status}`);
  }
  await cache.put(file, response);
}

async function takeOver() {
  const names = await caches.keys();
  const older = names.filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  await Promise.all(older.map((name) => caches.delete(name)));
  await self.clients.claim();
}

function answer(event) {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) {
    return;
  }
  if (pathname === PAGE ? request.mode === "navigate" : files.has(pathname)) {
    event.respondWith(fromShell(pathname, request));
  }
}

async function fromShell(pathname, request) {
  const cache = await caches.open(CACHE);
  return (await cache.match(pathname)) ?? fetch(request);
}
