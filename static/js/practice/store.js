// What the phone keeps of practice: the trees of a block, whose turn it is, how far each learner is,
// and what was done, until the office has it and after. A tree counts as done when it is on the disk.

import { asked, Database, StoreFailed, StoreFull } from "../field/database.js";
import { newId } from "../field/ids.js";

export { StoreFailed, StoreFull };

const NAME = "practice";
// One step for each version, as in the field's database.
const STEPS = [
  (database) => {
    // What there is one of: the learner, the block, the tree that is open.
    database.createObjectStore("phone");
    database.createObjectStore("packs", { keyPath: "block.id" });
    database.createObjectStore("progress", { keyPath: "worker_id" });
    const results = database.createObjectStore("results", { keyPath: "counter", autoIncrement: true });
    results.createIndex("uid", "item.uid", { unique: true });
    results.createIndex("state", ["state", "counter"]);
  },
];
const WAITING = "waiting";
const SENT = "sent";
const BACK = "back";
const OUTCOMES = { stored: SENT, known: SENT, refused: BACK };

export const openStore = () => new Store();

class Store {
  #database = new Database(NAME, STEPS);
  #listeners = new Set();
  #channel = globalThis.BroadcastChannel ? new BroadcastChannel("practice") : null;

  constructor() {
    this.#channel?.addEventListener("message", () => this.#hear());
    // A phone that runs out of room may otherwise throw away what was not sent yet.
    navigator.storage?.persist?.().catch(() => {});
  }

  onChange(listener) {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  async get(key) {
    return (await this.#database.read(["phone"], (at) => asked(at("phone").get(key)))) ?? null;
  }

  put(key, value) {
    return this.#database.write(["phone"], (at) => asked(at("phone").put(value, key)));
  }

  // --- trees -----------------------------------------------------------------------------------

  savePack(pack) {
    return this.#database.write(["packs"], (at) => asked(at("packs").put(pack)));
  }

  async pack(blockId) {
    return (await this.#database.read(["packs"], (at) => asked(at("packs").get(blockId)))) ?? null;
  }

  // The blocks whose trees are here: { id, name }.
  async packedBlocks() {
    const packs = await this.#database.read(["packs"], (at) => asked(at("packs").getAll()));
    return packs.map(({ block }) => block);
  }

  // --- what was done ---------------------------------------------------------------------------

  async progress(workerId) {
    return (await this.#database.read(["progress"], (at) => asked(at("progress").get(workerId)))) ?? null;
  }

  // The result, how far its learner is with it, and that no tree is open any more: all or nothing.
  async finish(item, progress) {
    const kept = { uid: newId(), ...item };
    await this.#database.write(["results", "progress", "phone"], async (at) => {
      await asked(at("results").add({ state: WAITING, item: kept }));
      await asked(at("progress").put(progress));
      await asked(at("phone").delete("open"));
    });
    this.#tell();
    return kept;
  }

  async waiting(most) {
    const range = IDBKeyRange.bound([WAITING], [WAITING, Infinity]);
    const found = await this.#database.read(["results"], (at) =>
      asked(at("results").index("state").getAll(range, most)),
    );
    return found.map(({ item }) => item);
  }

  // What the office said of results; of one that is gone it says nothing any more.
  async settle(receipts) {
    await this.#database.write(["results"], async (at) => {
      for (const { uid, outcome, words } of receipts) {
        const result = await asked(at("results").index("uid").get(uid));
        if (result && OUTCOMES[outcome]) {
          await asked(at("results").put({ ...result, state: OUTCOMES[outcome], words }));
        }
      }
    });
    this.#tell();
  }

  async counts() {
    const count = (at, state) =>
      asked(at("results").index("state").count(IDBKeyRange.bound([state], [state, Infinity])));
    return this.#database.read(["results"], async (at) => {
      const [all, sent, back] = await Promise.all([asked(at("results").count()), count(at, SENT), count(at, BACK)]);
      return { all, sent, back };
    });
  }

  // Why the office did not take results, each reason once.
  async reasons() {
    const range = IDBKeyRange.bound([BACK], [BACK, Infinity]);
    const found = await this.#database.read(["results"], (at) => asked(at("results").index("state").getAll(range)));
    return [...new Map(found.filter(({ words }) => words).map(({ words }) => [words.en, words])).values()];
  }

  #tell() {
    this.#channel?.postMessage("changed");
    this.#hear();
  }

  #hear() {
    this.#listeners.forEach((listener) => listener());
  }
}
