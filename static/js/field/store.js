// What the phone keeps: answers until the server has them and after, packages, photos, the device.
// An answer is kept in one transaction that ends on the disk; until then nobody is told that it is.

import { Database, STORES, StoreFailed, StoreFull, asked } from "./database.js";
import { newId, toBase64 } from "./ids.js";
import { newKey, seal, unseal } from "./sealing.js";

export { StoreFailed, StoreFull };

// What the items look like. The server takes every schema that a phone was ever given.
const SCHEMA = 1;
const DAY_MS = 24 * 3600 * 1000;
// Unsent for longer than a day: from the second day on, people are told.
const LATE_MS = DAY_MS;
// Audits that the server has in full stay this long, so that a phone does not fill up in a season.
const KEPT_DAYS = 14;
// A damaged item is sent as far as a batch has room for it.
const MOST_DAMAGED_BYTES = 24 * 1024;
const DRAFT = "draft";
const SETTLED = ["stored", "duplicate"];
const TRIES = 3;

let opened = null;

// The one store of this page.
export function openStore() {
  opened ??= Store.open().catch((error) => {
    opened = null;
    throw error;
  });
  return opened;
}

class Store {
  #database = new Database();
  #key = null;
  // Items that were read or made before, by counter: they never change.
  #known = new Map();
  #listeners = new Set();
  #channel = globalThis.BroadcastChannel ? new BroadcastChannel("field") : null;
  // Taps are kept in the order in which they came, however long sealing takes.
  #sealing = Promise.resolve();
  #drafting = Promise.resolve();

  static async open() {
    const store = new Store();
    await store.#itemKey();
    store.#channel?.addEventListener("message", ({ data }) => store.#hear(data));
    if (await store.device()) {
      store.#keepAlways();
    }
    return store;
  }

  // --- the device ------------------------------------------------------------------------------

  async device() {
    return (await this.#database.read(["phone"], (at) => asked(at("phone").get("device")))) ?? null;
  }

  async saveDevice(record) {
    await this.#database.write(["phone"], (at) => asked(at("phone").put(record, "device")));
    this.#keepAlways();
    this.#tell({ what: "device" });
  }

  // Changes the device in one step, where there is one: `changed` is told what it is and returns what
  // is new. Returns what it was, or null.
  async changeDevice(changed) {
    const before = await this.#database.write(["phone"], async (at) => {
      const record = (await asked(at("phone").get("device"))) ?? null;
      if (record) {
        await asked(at("phone").put({ ...record, ...changed(record) }, "device"));
      }
      return record;
    });
    this.#tell({ what: "device" });
    return before;
  }

  // The screen that was open, where the page comes back after the battery was empty.
  async place() {
    return (await this.#database.read(["phone"], (at) => asked(at("phone").get("place")))) ?? null;
  }

  async keepPlace(place) {
    if (place !== (await this.place())) {
      await this.#database.write(["phone"], (at) => asked(at("phone").put(place, "place")));
    }
  }

  // --- the tree on the screen -------------------------------------------------------------------

  // A tree half answered, or null: what was tapped last is what is kept.
  keepDraft(draft) {
    const kept = this.#drafting.then(() => this.#writeDraft(draft));
    this.#drafting = kept.catch(() => {});
    return kept;
  }

  async draft() {
    const record = await this.#database.read(["phone"], (at) => asked(at("phone").get(DRAFT)));
    if (!record) {
      return null;
    }
    try {
      return JSON.parse(new TextDecoder().decode(await unseal(await this.#itemKey(), DRAFT, record)));
    } catch {
      // Nothing that was kept rests on it.
      return null;
    }
  }

  // --- packages --------------------------------------------------------------------------------

  packages() {
    return this.#database.read(["packages"], (at) => asked(at("packages").getAll()));
  }

  // Adds to the packages that are here; one of the same draw takes the older one's place.
  async savePackages(packages) {
    await this.#database.write(["packages"], (at) =>
      Promise.all(packages.map((one) => asked(at("packages").put(one)))),
    );
    await this.#dropOldAudits();
    this.#tell({ what: "packages" });
  }

  // A draw that is closed in the office is no work any more, unless this phone has begun on it.
  async dropClosed(open) {
    await this.#database.write(["packages", "audits"], async (at) => {
      const [draws, audits] = await Promise.all([
        asked(at("packages").getAllKeys()),
        asked(at("audits").getAll()),
      ]);
      const wanted = new Set([...open, ...audits.map(({ draw }) => draw)]);
      const closed = draws.filter((draw) => !wanted.has(draw));
      await Promise.all(closed.map((draw) => asked(at("packages").delete(draw))));
    });
    this.#tell({ what: "packages" });
  }

  // --- audits ----------------------------------------------------------------------------------

  // The audit of a draw on this phone: the one that was begun, or else a new one.
  async beginAudit(draw) {
    const audit = { id: newId(), draw, begunAt: new Date().toISOString(), sealed: false };
    const id = await this.#database.write(["audits"], async (at) => {
      const kept = await asked(at("audits").index("draw").get(draw));
      return kept ? kept.id : asked(at("audits").add(audit));
    });
    this.#tell({ what: "audit", audit: id });
    return id;
  }

  // Every audit with its items in the order of their counters, also those that were sent.
  async audits() {
    const [audits, records] = await this.#database.read(["audits", "items"], (at) =>
      Promise.all([asked(at("audits").getAll()), asked(at("items").getAll())]),
    );
    const items = await Promise.all(records.map((record) => this.#item(record)));
    return audits.map(({ id, draw, sealed }) => ({
      id,
      draw,
      sealed,
      items: items.filter((item) => item?.audit === id),
    }));
  }

  // Keeps one tap. Throws StoreFull, or StoreFailed, with everything as it was before.
  record(audit, { draw, standard }, kind, body) {
    const item = {
      schema: SCHEMA,
      id: newId(),
      at: new Date().toISOString(),
      kind,
      audit,
      draw,
      standard,
      body,
    };
    const kept = this.#sealing.then(() => this.#keep(item));
    this.#sealing = kept.then(
      ({ begun }) => begun,
      () => {},
    );
    return kept.then(({ done }) => done);
  }

  // The queue in the order of its counters: waiting, damaged, or sent back by the server.
  queue() {
    return this.#queued((entries) => asked(entries.getAll()));
  }

  // Up to so many of those that were not sent yet, after a counter.
  waiting(most, after = 0) {
    const range = IDBKeyRange.bound(["waiting", after], ["waiting", Infinity], true);
    return this.#queued((entries) => asked(entries.index("state").getAll(range, most)));
  }

  // What the server answered: what it has leaves the queue, what it sent back stays in sight.
  async settle(receipts) {
    const settled = await this.#database.write(["queue"], async (at) => {
      let count = 0;
      for (const { id, outcome, because = null, words = null } of receipts) {
        for (const entry of await asked(at("queue").index("id").getAll(id))) {
          if (SETTLED.includes(outcome)) {
            await asked(at("queue").delete(entry.counter));
            count += 1;
          } else if (outcome === "rejected") {
            await asked(at("queue").put({ ...entry, state: "rejected", because, words }));
            count += 1;
          }
        }
      }
      return count;
    });
    this.#tell({ what: "settled" });
    return settled;
  }

  async counts() {
    return this.#database.read(["items", "queue", "photos"], async (at) => {
      const of = (name, state) => asked(at(name).index("state").count(allIn(state)));
      const [all, queued, waiting, rejected, photos, oldest] = await Promise.all([
        asked(at("items").count()),
        asked(at("queue").count()),
        of("queue", "waiting"),
        of("queue", "rejected"),
        of("photos", "waiting"),
        asked(at("queue").index("state").get(allIn("waiting"))),
      ]);
      // A clock that was set back makes nothing older than new.
      const age = oldest ? Math.max(0, Date.now() - Date.parse(oldest.at)) : 0;
      return {
        waiting,
        sent: all - queued,
        all,
        rejected,
        photos,
        oldestDays: oldest ? Math.floor(age / DAY_MS) : null,
        isLate: age >= LATE_MS,
      };
    });
  }

  // What the server sent back and what the phone cannot read any more, as a file for the office.
  async exportRejected() {
    const device = await this.device();
    const entries = (await this.queue()).filter(({ state }) => state !== "waiting");
    const file = {
      schema: SCHEMA,
      device: device?.uid ?? null,
      exported_at: new Date().toISOString(),
      items: entries,
    };
    return new Blob([JSON.stringify(file, null, 2)], { type: "application/json" });
  }

  // --- photos ----------------------------------------------------------------------------------

  async addPhoto({ id = newId(), audit, tree, stage = null, at, blob }) {
    const content = await blob.arrayBuffer();
    await this.#sealed(["photos"], id, content, (stores, sealed) =>
      asked(
        stores("photos").add({
          id,
          audit,
          tree,
          stage,
          at: at ?? new Date().toISOString(),
          state: "waiting",
          because: null,
          ...sealed,
        }),
      ),
    );
    this.#tell({ what: "photo" });
    return id;
  }

  async photos() {
    const records = await this.#database.read(["photos"], (at) => asked(at("photos").getAll()));
    return Promise.all(records.map((record) => this.#photo(record)));
  }

  // The next photo to send, after an id.
  async nextPhoto(after = "") {
    const range = IDBKeyRange.bound(["waiting", after], ["waiting", []], true);
    const record = await this.#database.read(["photos"], (at) =>
      asked(at("photos").index("state").get(range)),
    );
    return record ? this.#photo(record) : null;
  }

  async dropPhoto(id) {
    await this.#database.write(["photos"], (at) => asked(at("photos").delete(id)));
    this.#tell({ what: "photo" });
  }

  // A photo that the server will never take: it stays here and is not sent again.
  async refusePhoto(id, because) {
    await this.#database.write(["photos"], async (at) => {
      const record = await asked(at("photos").get(id));
      return record && asked(at("photos").put({ ...record, state: "rejected", because }));
    });
    this.#tell({ what: "photo" });
  }

  // --- who has the phone -----------------------------------------------------------------------

  // Nothing of the farm or of the person stays; what was not sent yet does, and the key to sign it.
  async signOut() {
    await this.#database.write(["phone", "packages"], async (at) => {
      const device = await asked(at("phone").get("device"));
      await asked(at("packages").clear());
      await asked(at("phone").delete(DRAFT));
      return device && asked(at("phone").put({ ...device, person: null }, "device"));
    });
    this.#tell({ what: "device" });
  }

  // Everything goes, also the keys. With `unlessWaiting` nothing does while a tap was not sent yet;
  // returns whether it is gone.
  async wipe({ unlessWaiting = false } = {}) {
    const isGone = await this.#database.write(STORES, async (at) => {
      if (unlessWaiting && (await asked(at("queue").index("state").count(allIn("waiting")))) > 0) {
        return false;
      }
      await Promise.all(STORES.map((name) => asked(at(name).clear())));
      return true;
    });
    if (isGone) {
      this.#forget();
      this.#tell({ what: "wiped" });
    }
    return isGone;
  }

  // Whether the holder may send now, where the browser has no locks: a turn ends by itself.
  takeTurn(holder, ms) {
    return this.#database.write(["phone"], async (at) => {
      const turn = await asked(at("phone").get("turn"));
      const left = turn ? turn.until - Date.now() : 0;
      // More than a whole turn left: the clock was set back since.
      if (turn && turn.holder !== holder && left > 0 && left <= ms) {
        return false;
      }
      await asked(at("phone").put({ holder, until: Date.now() + ms }, "turn"));
      return true;
    });
  }

  endTurn(holder) {
    return this.#database.write(["phone"], async (at) => {
      const turn = await asked(at("phone").get("turn"));
      return turn?.holder === holder ? asked(at("phone").delete("turn")) : undefined;
    });
  }

  // Calls after every change, also one made in another tab; returns how to stop that.
  onChange(listener) {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  // --- inside ----------------------------------------------------------------------------------

  // Resolves as soon as the transaction has begun, so that the next tap cannot overtake this one.
  async #keep(item) {
    const content = new TextEncoder().encode(JSON.stringify(item));
    const { id, at, audit, draw } = item;
    const stores = ["items", "queue", "audits"];
    let begin;
    const begun = new Promise((resolve) => (begin = resolve));
    const counted = this.#sealed(stores, id, content, async (store, sealed) => {
      const counting = asked(store("items").add({ id, audit, ...sealed }));
      begin();
      const counter = await counting;
      const entry = { counter, id, audit, draw, at, state: "waiting", because: null, words: null };
      await asked(store("queue").add(entry));
      if (item.kind === "seal") {
        const kept = await asked(store("audits").get(audit));
        await asked(store("audits").put({ begunAt: at, ...kept, id: audit, draw, sealed: true }));
      }
      return counter;
    });
    counted.catch(() => begin());
    const done = counted.then((counter) => {
      const kept = { ...item, counter };
      this.#known.set(counter, kept);
      this.#tell({ what: "recorded", audit });
      return kept;
    });
    return { begun, done };
  }

  // Writes something sealed; `put` hands it to the stores inside the transaction. Another tab may
  // have wiped the phone meanwhile: then the key is gone, and what it sealed must not be kept.
  async #sealed(stores, id, content, put) {
    for (let tries = 1; ; tries += 1) {
      const key = await this.#itemKey();
      const sealed = await seal(key, id, content);
      try {
        return await this.#database.write(["keys", ...stores], async (at) => {
          const kept = await asked(at("keys").get("items"));
          if (kept?.id !== key.id) {
            throw new KeyGone();
          }
          return put(at, sealed);
        });
      } catch (error) {
        if (!(error.cause instanceof KeyGone) || tries === TRIES) {
          throw error;
        }
        this.#forget();
      }
    }
  }

  async #writeDraft(draft) {
    if (draft === null) {
      await this.#database.write(["phone"], (at) => asked(at("phone").delete(DRAFT)));
      return;
    }
    const content = new TextEncoder().encode(JSON.stringify(draft));
    await this.#sealed(["phone"], DRAFT, content, (at, sealed) => asked(at("phone").put(sealed, DRAFT)));
  }

  async #itemKey() {
    if (this.#key) {
      return this.#key;
    }
    const kept = await this.#database.read(["keys"], (at) => asked(at("keys").get("items")));
    const key = kept ?? (await this.#makeKey());
    this.#key = key;
    return key;
  }

  async #makeKey() {
    const made = await newKey();
    return this.#database.write(["keys"], async (at) => {
      // Another tab may have been faster.
      const kept = await asked(at("keys").get("items"));
      if (!kept) {
        await asked(at("keys").put(made, "items"));
      }
      return kept ?? made;
    });
  }

  async #queued(chosen) {
    const [entries, records] = await this.#database.read(["queue", "items"], async (at) => {
      const found = await chosen(at("queue"));
      return [found, await Promise.all(found.map(({ counter }) => asked(at("items").get(counter))))];
    });
    return Promise.all(entries.map((entry, order) => this.#entry(entry, records[order])));
  }

  async #entry({ counter, id, audit, draw, at, state, because, words }, record) {
    const item = record ? await this.#item(record) : null;
    if (item) {
      return { id, counter, state, because, words, item };
    }
    return {
      id,
      counter,
      state: state === "waiting" ? "damaged" : state,
      because,
      words,
      item: null,
      // What is sent in its place, and the same each time: its id and what is left of it.
      damaged: {
        schema: SCHEMA,
        id,
        counter,
        at,
        kind: "damaged",
        audit,
        draw,
        standard: null,
        body: { raw: await this.#remains(record) },
      },
    };
  }

  // An item as it was kept, or null if it cannot be read.
  async #item(record) {
    const known = this.#known.get(record.counter);
    if (known) {
      return known;
    }
    try {
      const text = new TextDecoder().decode(await unseal(await this.#itemKey(), record.id, record));
      const item = { ...JSON.parse(text), counter: record.counter };
      if (item.id !== record.id || item.audit !== record.audit || typeof item.kind !== "string") {
        return null;
      }
      this.#known.set(record.counter, item);
      return item;
    } catch {
      return null;
    }
  }

  async #remains(record) {
    try {
      const bytes = await unseal(await this.#itemKey(), record.id, record);
      return new TextDecoder().decode(bytes.slice(0, MOST_DAMAGED_BYTES));
    } catch {
      // Not by the key of this phone: the bytes as they lie there.
    }
    const bytes = record?.sealed instanceof ArrayBuffer ? record.sealed : asBytes(record);
    return `base64:${toBase64(bytes.slice(0, MOST_DAMAGED_BYTES))}`;
  }

  async #photo(record) {
    const { id, audit, tree, stage, at, state, because } = record;
    const photo = { id, audit, tree, stage, at, state, because };
    try {
      const content = await unseal(await this.#itemKey(), id, record);
      return { ...photo, blob: new Blob([content], { type: "image/jpeg" }) };
    } catch {
      return { ...photo, blob: null };
    }
  }

  async #dropOldAudits() {
    const oldest = new Date(Date.now() - KEPT_DAYS * DAY_MS).toISOString();
    const audits = await this.#database.read(["audits"], (at) => asked(at("audits").getAll()));
    const old = audits.filter(({ sealed, begunAt }) => sealed && begunAt < oldest);
    if (old.length === 0) {
      return;
    }
    await this.#database.write(["audits", "items", "queue"], async (at) => {
      const queued = new Set((await asked(at("queue").getAll())).map(({ audit }) => audit));
      for (const { id } of old.filter((audit) => !queued.has(audit.id))) {
        const counters = await asked(at("items").index("audit").getAllKeys(id));
        await Promise.all(counters.map((counter) => asked(at("items").delete(counter))));
        await asked(at("audits").delete(id));
      }
    });
  }

  // Asks the browser, once a visit, not to throw away what is kept here when space runs short.
  async #keepAlways() {
    const storage = navigator.storage;
    try {
      if (storage?.persist && !(await storage.persisted())) {
        await storage.persist();
      }
    } catch {
      // It may refuse; what was not sent is counted and told either way.
    }
  }

  #tell(change) {
    this.#channel?.postMessage(change);
    this.#listeners.forEach((listener) => listener(change));
  }

  #hear(change) {
    if (change.what === "wiped") {
      this.#forget();
    }
    this.#listeners.forEach((listener) => listener({ ...change, elsewhere: true }));
  }

  #forget() {
    this.#key = null;
    this.#known.clear();
  }
}

class KeyGone extends Error {}

// In an index of states everything in one of them: a list comes after any number and any text.
const allIn = (state) => IDBKeyRange.bound([state], [state, []]);

function asBytes(value) {
  return new TextEncoder().encode(JSON.stringify(value ?? null)).buffer;
}
