// @ts-check
/**
 * The service worker. It keeps what KEPT lists, which the service puts before this script, under one name: all of it or
 * nothing. What is kept takes the place of what was kept before only while no conversation is open. No conversation
 * passes through here: those go over the socket.
 */
/** @type {{version: string, locales: string[], pages: string[], files: string[], parts: Record<string, string>}} */
const WANTED = /** @type {any} */ (globalThis).KEPT;
const worker = /** @type {any} */ (self),
  NAME = "lightoff " + WANTED.version,
  SETTINGS = "/settings";
const ALL = [...WANTED.files, ...WANTED.pages, ...Object.values(WANTED.parts)];
const whatever = { ignoreVary: true };

/** Whether fetching megabytes may cost somebody money or patience. */
function dear() {
  const c = /** @type {any} */ (navigator).connection;
  return !!c && (c.saveData || c.type === "cellular" || (c.effectiveType && c.effectiveType !== "4g"));
}

async function fill() {
  if (dear()) throw new Error("not over this connection");
  const cache = await caches.open(NAME);
  for (const url of ALL) {
    if (await cache.match(url, whatever)) continue;
    // What lies at an address of its own content is the same in whatever was kept before.
    const known = url.startsWith("/offline/") && (await caches.match(url, whatever));
    const answer = known || (await fetch(url, { cache: "no-cache", credentials: "same-origin" }));
    if (!answer.ok) throw new Error("no " + url);
    await cache.put(url, answer);
  }
}

async function complete() {
  const cache = await caches.open(NAME);
  for (const url of ALL) if (!(await cache.match(url, whatever))) return false;
  return true;
}

/** In which language and by which light pages come. @returns {Promise<{lang?: string, night?: boolean}>} */
async function settings() {
  const kept = await (await caches.open(NAME)).match(SETTINGS);
  return kept ? kept.json() : {};
}

/** @param {URL} url @param {any} request */
async function page(url, request) {
  const { lang, night } = await settings(),
    cache = await caches.open(NAME);
  const wanted = [url.searchParams.get("lang"), lang, ...navigator.languages].map((l) => (l || "").slice(0, 2));
  const locale = wanted.find((l) => WANTED.locales.includes(l)) || WANTED.locales[0];
  const kept = await cache.match(`/?lang=${locale}&night=${night ? 1 : 0}`, whatever);
  return kept || fetch(request);
}

worker.addEventListener("install", (/** @type {any} */ e) => e.waitUntil(fill()));

worker.addEventListener("activate", (/** @type {any} */ e) =>
  e.waitUntil(
    (async () => {
      for (const name of await caches.keys())
        if (name.startsWith("lightoff ") && name !== NAME) await caches.delete(name);
      await worker.clients.claim();
    })(),
  ),
);

worker.addEventListener("fetch", (/** @type {any} */ e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== "GET" || url.origin !== location.origin) return;
  if (e.request.mode === "navigate") {
    if (url.pathname === "/" || url.pathname.startsWith("/c/")) e.respondWith(page(url, e.request));
  } else if (/^\/(static|offline)\//.test(url.pathname) || url.pathname === "/manifest.webmanifest") {
    e.respondWith(caches.match(url.pathname, whatever).then((kept) => kept || fetch(e.request)));
  }
});

/** Lets what was fetched anew take over, unless a conversation is open somewhere. */
async function takeOver() {
  const open = await worker.clients.matchAll({ type: "window", includeUncontrolled: true });
  if (!open.some((/** @type {any} */ c) => new URL(c.url).pathname.startsWith("/c/"))) await worker.skipWaiting();
}

worker.addEventListener("message", (/** @type {any} */ e) =>
  e.waitUntil(
    (async () => {
      const { ask, settings: wanted } = e.data;
      if (wanted) await (await caches.open(NAME)).put(SETTINGS, new Response(JSON.stringify(wanted)));
      if (ask === "take over") await takeOver();
      if (ask === "complete") e.ports[0].postMessage({ complete: await complete(), parts: WANTED.parts });
    })(),
  ),
);
