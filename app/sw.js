// Keeps the whole app on the device. The two lists below are written at build time.
const VERSION = "{{version}}";
const FILES = new Map([
/* {{files}} */]);

const PREFIX = "tartwright-";
const SCOPE = new URL(registration.scope);
// Two copies of the app may live on one origin, each under its own path: the scope tells them apart.
const OURS = ` ${SCOPE.pathname}`;
const CACHE = `${PREFIX}${VERSION}${OURS}`;
const PAGE = new URL("./", SCOPE).href;

// The file a request asks for, by its name in the list, or undefined.
function known(url) {
  if (url.origin !== SCOPE.origin || !url.pathname.startsWith(SCOPE.pathname)) return undefined;
  const name = url.pathname.slice(SCOPE.pathname.length);
  return FILES.has(name) ? new URL(name, SCOPE).href : undefined;
}

// All or nothing: one missing or altered file, and this version is not installed. The checksum also
// refuses a half-deployed host that mixes two versions. Names with a hash may come from the browser's
// cache, which holds them since the page loaded; the others are asked for anew.
self.addEventListener("install", (event) => {
  const requests = [...FILES].map(([name, integrity]) => {
    const cache = /-[0-9a-f]{16}\./.test(name) ? "default" : "no-cache";
    return new Request(new URL(name, SCOPE), { integrity, cache });
  });
  event.waitUntil(
    caches
      .open(CACHE)
      .then((cache) => cache.addAll(requests))
      .catch(async (problem) => {
        await caches.delete(CACHE);
        throw problem;
      }),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => names.filter((name) => name.startsWith(PREFIX) && name.endsWith(OURS) && name !== CACHE))
      .then((stale) => Promise.all(stale.map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

// A new version takes over only when a person agreed to it on a page.
self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

// A timer rang: to the page that is open, or to a new one at its batch.
self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(
    self.clients
      .matchAll({ type: "window" })
      .then(([page]) => page?.focus() ?? self.clients.openWindow(new URL(event.notification.data, SCOPE))),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  const url = new URL(request.url);
  const inScope = url.origin === SCOPE.origin && url.pathname.startsWith(SCOPE.pathname);
  const file = request.mode === "navigate" && inScope ? PAGE : known(url);
  if (file === undefined) return;
  event.respondWith(
    caches
      .open(CACHE)
      .then((cache) => cache.match(file))
      .then((kept) => kept ?? fetch(request)),
  );
});
