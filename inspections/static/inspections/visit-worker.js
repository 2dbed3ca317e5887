// Keeps the page of a visit, its scripts and its styles for when there is no network. The network comes first; nothing
// but visits is kept, nothing is ever sent from here, and a log-out, or a visit opened by somebody else, empties it.
"use strict";

const PAGE = /^\/visits\/[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\/$/;
const PAGES = "visit-pages-"; // and the number of whoever is logged in
const FILES = "visit-files";
const FOR = "X-Visit-For";
const PATIENCE = 5000; // milliseconds for a network that is there and does not answer

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("message", (event) => {
  const { page, files } = event.data;
  event.waitUntil(Promise.all([page && fetch(page).then((answer) => keepPage(page, answer)), keepFiles(files)]));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === "/account/logout/") event.respondWith(loggedOut(request));
  else if (request.method !== "GET") return;
  else if (request.mode === "navigate" && PAGE.test(url.pathname)) event.respondWith(page(event, url));
  else if (url.pathname.startsWith("/static/")) event.respondWith(file(request));
});

async function loggedOut(request) {
  const answer = await fetch(request);
  await forget(() => true);
  return answer;
}

async function page(event, url) {
  const kept = await caches.match(url.pathname);
  const fetched = fetch(event.request).then((answer) => {
    event.waitUntil(url.search ? undefined : keepPage(url.pathname, answer.clone()));
    return answer;
  });
  if (!kept) return fetched;
  event.waitUntil(fetched.catch(() => undefined));
  const usable = fetched.then((answer) => (answer.status >= 500 ? kept : answer)).catch(() => kept);
  const later = new Promise((done) => setTimeout(() => done(kept), PATIENCE));
  return Promise.race([usable, later]);
}

async function keepPage(path, answer) {
  const user = answer.headers.get(FOR);
  if (answer.ok && user) {
    await forget((name) => name !== PAGES + user);
    await (await caches.open(PAGES + user)).put(path, answer);
  } else if (answer.status === 404) {
    for (const name of await caches.keys()) if (name.startsWith(PAGES)) await (await caches.open(name)).delete(path);
  }
}

async function forget(which) {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGES) && which(name));
  await Promise.all(names.map((name) => caches.delete(name)));
}

async function keepFiles(files) {
  const cache = await caches.open(FILES);
  const held = new Set((await cache.keys()).map((request) => request.url));
  const fresh = files.filter((url) => !held.has(url));
  // One by one: a file that cannot be had now must not keep the others away.
  await Promise.all(fresh.map((url) => cache.add(url).catch(() => undefined)));
  const gone = [...held].filter((url) => !files.includes(url));
  await Promise.all(gone.map((url) => cache.delete(url)));
}

async function file(request) {
  try {
    const answer = await fetch(request);
    const cache = await caches.open(FILES);
    if (answer.ok && (await cache.match(request.url))) await cache.put(request.url, answer.clone());
    return answer;
  } catch (lost) {
    const kept = await caches.match(request.url);
    if (kept) return kept;
    throw lost;
  }
}
