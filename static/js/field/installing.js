// Keeps the page itself on the phone, and tells when a newer one is there.

const WORKER = "/field/worker.js";
const SCOPE = "/field/";
const ASK_AGAIN_MS = 3600 * 1000;

// onUpdate(takeIt) is called when a newer page lies ready; takeIt() changes over to it and loads the
// page anew. The queue is untouched by that. Resolves with false where the page cannot be kept.
export async function registerWorker({ onUpdate = () => {}, worker = WORKER, scope = SCOPE } = {}) {
  if (!navigator.serviceWorker) {
    return false;
  }
  const options = { scope, updateViaCache: "none" };
  let registration;
  try {
    registration = await navigator.serviceWorker.register(worker, options);
  } catch {
    // Without signal it is the one registered before; without a trusted certificate there is none.
    registration = await navigator.serviceWorker.getRegistration(scope);
  }
  if (!registration) {
    return false;
  }
  const offer = () => {
    const { waiting } = registration;
    // With nobody in charge yet this is the first one, not a newer one.
    if (waiting && navigator.serviceWorker.controller) {
      onUpdate(() => changeOver(waiting));
    }
  };
  registration.addEventListener("updatefound", () => {
    registration.installing?.addEventListener("statechange", offer);
  });
  offer();
  askNowAndThen(registration);
  return true;
}

function changeOver(waiting) {
  navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
  waiting.postMessage("skipWaiting");
}

function askNowAndThen(registration) {
  let askedAt = performance.now();
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && performance.now() - askedAt > ASK_AGAIN_MS) {
      askedAt = performance.now();
      registration.update().catch(() => {});
    }
  });
}
