// The phone's database: what stores it has, how an older one is brought up to date, and writing that
// is done only when it is on the disk.

const NAME = "field";

// One step for each version, applied once to whatever an older app left behind. Steps are only ever
// added, and a step only adds: so an older app, still open in another tab, can go on with it.
const STEPS = [
  (database) => {
    // The key that items are sealed with.
    database.createObjectStore("keys");
    // What there is one of: the device, the screen that was open, the turn of whoever sends.
    database.createObjectStore("phone");
    database.createObjectStore("packages", { keyPath: "draw" });
    database.createObjectStore("audits", { keyPath: "id" }).createIndex("draw", "draw");
    // The database's own generator counts the items: it never takes a number twice, whatever is
    // deleted, and takes one back only with the whole transaction (Indexed Database API 3.0, 2.11).
    database
      .createObjectStore("items", { keyPath: "counter", autoIncrement: true })
      .createIndex("audit", "audit");
    const queue = database.createObjectStore("queue", { keyPath: "counter" });
    queue.createIndex("id", "id");
    queue.createIndex("state", ["state", "counter"]);
    database.createObjectStore("photos", { keyPath: "id" }).createIndex("state", ["state", "id"]);
  },
];

export const STORES = ["keys", "phone", "packages", "audits", "items", "queue", "photos"];

// Nothing of the write is there; what was there before is untouched.
export class StoreFailed extends Error {
  constructor(cause) {
    super(cause?.message ?? "the phone could not keep it", { cause });
    this.name = new.target.name;
  }
}

export class StoreFull extends StoreFailed {}

// A database that opens itself again after the system has closed it, as some do in the background.
// The practice page has one of its own, with other steps.
export class Database {
  #connection = null;
  #name;
  #steps;

  constructor(name = NAME, steps = STEPS) {
    this.#name = name;
    this.#steps = steps;
  }

  async read(stores, work) {
    const transaction = await this.#begin(stores, "readonly");
    const ended = endOf(transaction);
    const result = await finish(transaction, ended, work);
    return result;
  }

  // Resolves when all of it is on the disk; otherwise none of it is.
  async write(stores, work) {
    try {
      const transaction = await this.#begin(stores, "readwrite", { durability: "strict" });
      const ended = endOf(transaction);
      const result = await finish(transaction, ended, work);
      await ended;
      return result;
    } catch (error) {
      throw failure(error);
    }
  }

  async #begin(stores, mode, options) {
    const connection = await this.#connect();
    try {
      return connection.transaction(stores, mode, options);
    } catch (error) {
      if (error.name !== "InvalidStateError") {
        throw error;
      }
      this.#connection = null;
      return (await this.#connect()).transaction(stores, mode, options);
    }
  }

  #connect() {
    this.#connection ??= open(this.#name, this.#steps).then(
      (connection) => {
        const forget = () => (this.#connection = null);
        connection.onclose = forget;
        // A newer app in another tab waits for this: let it add its stores, then go on with them.
        connection.onversionchange = () => {
          connection.close();
          forget();
        };
        return connection;
      },
      (error) => {
        this.#connection = null;
        throw error;
      },
    );
    return this.#connection;
  }
}

async function open(name, steps) {
  try {
    return await opened(name, steps, steps.length);
  } catch (error) {
    if (error.name !== "VersionError") {
      throw failure(error);
    }
    // A newer app has been here: what this one knows is still there.
    return opened(name, steps, undefined);
  }
}

function opened(name, steps, version) {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(name, version);
    request.onupgradeneeded = (event) => {
      steps.slice(event.oldVersion).forEach((step) => step(request.result, request.transaction));
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

export function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function endOf(transaction) {
  const ended = new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new DOMException("", "AbortError"));
  });
  // Whoever waits for it hears of a failure; nobody else needs to.
  ended.catch(() => {});
  return ended;
}

async function finish(transaction, ended, work) {
  try {
    return await work((name) => transaction.objectStore(name));
  } catch (error) {
    try {
      transaction.abort();
    } catch {
      // It has ended by itself, and says why.
    }
    await ended.catch((reason) => {
      if (reason.name === "QuotaExceededError") {
        throw reason;
      }
    });
    throw error;
  }
}

function failure(error) {
  if (error instanceof StoreFailed) {
    return error;
  }
  return error?.name === "QuotaExceededError" ? new StoreFull(error) : new StoreFailed(error);
}
