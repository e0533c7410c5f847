// Keeps the program's own files and the page that says the server is away. Pages of patients are never kept.
"use strict";
const SHELL = {{ shell|tojson }};
const NAME = "shell-{{ version }}";
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(SHELL)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  const old = (names) => Promise.all(names.filter((name) => name !== NAME).map((name) => caches.delete(name)));
  event.waitUntil(caches.keys().then(old).then(() => self.clients.claim()));
});
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(() => caches.match("{{ away }}")));
  } else if (SHELL.includes(address.pathname + address.search)) {
    event.respondWith(caches.match(request).then((known) => known ?? fetch(request)));
  }
});
