// Finds out on the phone itself whether it can work without a signal. A browser that was told to
// go on past a warning still calls the page secure; it refuses the service worker, though, so each
// thing is tried and not asked for.

const PATIENCE_MS = 10000;
const DATABASE = "setup-test";

const rows = document.querySelector("[data-worker]");
if (rows) {
  checkAll();
}

async function checkAll() {
  const results = [
    await check("secure", async () => window.isSecureContext),
    await check("worker", registersWorker),
    await check("storage", keepsRecords),
  ];
  const outcome = results.every(Boolean) ? "ready" : "not_ready";
  document.querySelector(`[data-outcome=${outcome}]`).hidden = false;
}

async function check(name, tried) {
  const row = rows.querySelector(`[data-check=${name}]`);
  const good = await soon(tried()).catch(() => false);
  for (const state of row.querySelectorAll("[data-state]")) {
    state.hidden = state.dataset.state !== (good ? "good" : "bad");
  }
  row.querySelector("[data-problem]").hidden = good;
  return good;
}

async function registersWorker() {
  if (!("serviceWorker" in navigator)) {
    return false;
  }
  // Its scope is its own folder, where no page lies: it never stands between a page and the farm.
  const registration = await navigator.serviceWorker.register(rows.dataset.worker);
  await registration.unregister();
  return true;
}

async function keepsRecords() {
  const database = await asked(indexedDB.open(DATABASE, 1), (opening) => {
    opening.onupgradeneeded = () => opening.result.createObjectStore("records");
  });
  const writing = database.transaction("records", "readwrite");
  writing.objectStore("records").put("kept", 1);
  const kept = await asked(writing.objectStore("records").get(1));
  database.close();
  await asked(indexedDB.deleteDatabase(DATABASE));
  return kept === "kept";
}

function asked(request, prepare = () => {}) {
  return new Promise((resolve, reject) => {
    prepare(request);
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function soon(promise) {
  return Promise.race([
    promise,
    new Promise((_, reject) => setTimeout(() => reject(new Error("too slow")), PATIENCE_MS)),
  ]);
}
