// Keeps the page's files so that it works without a network: exactly those of
// files.json, each checked against its hash. A new version waits until it is asked
// to take over.

const version = new URL(self.location.href).searchParams.get("v") ?? "";
const cacheName = `singback-${version}`;

self.addEventListener("install", (e) => e.waitUntil(keep()));
self.addEventListener("activate", (e) => e.waitUntil(tidy()));
self.addEventListener("message", (e) => {
  if (e.data?.do === "take-over") self.skipWaiting();
});
self.addEventListener("fetch", (e) => {
  const url = new URL(e.request.url);
  const scope = new URL(self.registration.scope);
  if (e.request.method !== "GET" || url.origin !== scope.origin || !url.pathname.startsWith(scope.pathname)) return;
  const path = url.pathname.slice(scope.pathname.length);
  if (path === "files.json" || path === "sw.js") return;
  e.respondWith(find(e.request, path));
});

/** keep fetches every file of this version, or fails as a whole. */
async function keep() {
  const list = await (await fetch("files.json", { cache: "no-store" })).json();
  if (list.version !== version) throw new Error(`the server has version ${list.version}, not ${version}`);
  const cache = await caches.open(cacheName);
  await Promise.all(list.files.filter((f) => !f.later && f.path !== "sw.js" && f.path !== "files.json").map(async (f) => {
    const got = await fetch(f.path, { cache: "no-cache" });
    if (!got.ok) throw new Error(`${f.path}: ${got.status}`);
    const bytes = await got.clone().arrayBuffer();
    const hash = [...new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
    if (hash !== f.sha256) throw new Error(`${f.path} is not the file that files.json names`);
    // Servers that send index.html back to the folder are common, and what was sent
    // elsewhere is no answer to whoever opens the page.
    const headers = { "Content-Type": got.headers.get("Content-Type") ?? "" };
    await cache.put(f.path, got.redirected ? new Response(bytes, { headers }) : got);
  }));
}

/** tidy throws away what older versions kept. */
async function tidy() {
  for (const name of await caches.keys()) {
    if (name.startsWith("singback-") && name !== cacheName) await caches.delete(name);
  }
  await self.clients.claim();
}

/** find looks among what was kept first. The folder itself is index.html. */
async function find(request, path) {
  const cache = await caches.open(cacheName);
  const kept = await cache.match(path === "" ? "index.html" : path);
  if (kept) return kept;
  const got = await fetch(request);
  if (got.ok && path.startsWith("help/")) await cache.put(path, got.clone()); // what was read once can be read again
  return got;
}
