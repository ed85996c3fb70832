// A service worker that does nothing: whether a phone takes it at all is what the test asks.

self.addEventListener("install", () => self.skipWaiting());
