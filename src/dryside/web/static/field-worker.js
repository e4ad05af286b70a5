// Keeps the page for the field on the phone. Only what the page is made of is kept; the book's data lies in IndexedDB.
const STORE = `dryside-field-${VERSION}`;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const store = await caches.open(STORE);
    await Promise.all(PIECES.map(async (path) => {
      const answer = await fetch(path, { cache: "reload" });
      // The door stands where the page should: kept, it would shut the phone out when the book is out of reach.
      if (!answer.ok || answer.redirected) throw new Error(`${path} is not to be had`);
      await store.put(path, answer);
    }));
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith("dryside-field-") && name !== STORE) await caches.delete(name);
    await self.clients.claim();
  })());
});

const soon = (promise, ms) => Promise.race([promise, new Promise((_, refuse) => setTimeout(() => refuse(new Error("slow")), ms))]);

async function pageFirstFromBook(request) {
  const store = await caches.open(STORE);
  try {
    const answer = await soon(fetch(request), 4000);
    if (answer.ok && !answer.redirected) await store.put("/field", answer.clone());
    return answer;
  } catch {
    return (await store.match("/field")) || Response.error();
  }
}

async function pieceFirstFromPhone(request) {
  const store = await caches.open(STORE);
  const kept = await store.match(request);
  if (kept) return kept;
  try {
    return await fetch(request);
  } catch {
    return (await store.match(request, { ignoreSearch: true })) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== location.origin) return;
  if (address.pathname === "/field") event.respondWith(pageFirstFromBook(event.request));
  else if (address.pathname.startsWith("/static/")) event.respondWith(pieceFirstFromPhone(event.request));
});
