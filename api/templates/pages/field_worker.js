/* Keeps the field page on the phone, so that it opens without a signal. Version {{ version }}. */
"use strict";
const KEPT = "spanstock-field-{{ version }}";
const FILES = [{% for file in files %}"{{ file }}"{% if not forloop.last %}, {% endif %}{% endfor %}];

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(KEPT)
      .then((cache) => cache.addAll(FILES.map((file) => new Request(file, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) =>
        Promise.all(
          names.filter((name) => name.startsWith("spanstock-field-") && name !== KEPT).map((name) => caches.delete(name)),
        ),
      )
      .then(() => self.clients.claim()),
  );
});

/* Only the page's own files come from here; days and reports are kept by the page itself. */
self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method === "GET" && FILES.includes(address.pathname)) {
    event.respondWith(caches.match(address.pathname, { cacheName: KEPT }).then((kept) => kept || fetch(event.request)));
  }
});
