// Sends what the phone keeps, in the order in which it was tapped, until the server says of each item
// that it has it. A reply that was lost changes nothing: the same items are sent again.

const SCHEMA = 1;
const MOST_ITEMS = 50;
const FEWEST_ITEMS = 5;
const MOST_BYTES = 200 * 1024;
const EVERY_MS = 30_000;
const SELDOM_MS = 5 * 60_000;
// Within one round a broken connection is tried again soon, a silent one is left to the timer.
const SOON_MS = [500, 1_500, 4_000];
const BETWEEN_ROUNDS_MS = 3_000;
// A slow link of 2G carries a batch or a photo in this time.
const REPLY_MS = 90_000;
const TURN_MS = 2 * REPLY_MS;
// Said like the server's own reasons, by the phrase of this key.
const [, TOO_LARGE] = "held.too_large".split(".");
const MOST_REFUSED_ALONE = 3;
const LOCK = "field-sync";

// What the server may say about a whole request, and what is done then. "stop": nothing more can be
// sent now. "smaller": the batch goes in parts, until the item that is meant stands alone.
const PROBLEMS = { 400: "smaller", 413: "smaller", 415: "smaller", 422: "smaller", 401: "stop", 403: "stop" };

export function startSync({ store, device, onState = () => {} }) {
  const sync = new Sync(store, device, onState);
  sync.start();
  return {
    syncNow: () => sync.run({ pressed: true }),
    stop: () => sync.stop(),
    get state() {
      return sync.state;
    },
  };
}

class Sync {
  #store;
  #device;
  #onState;
  #running = null;
  #again = false;
  #timer = null;
  #wait = EVERY_MS;
  #startedAt = -Infinity;
  #most = MOST_ITEMS;
  #reached = false;
  #refusedAlone = 0;
  #passedOver = null;
  #leave = new AbortController();
  #holder = String(Math.random());

  constructor(store, device, onState) {
    this.#store = store;
    this.#device = device;
    this.#onState = onState;
    this.state = { sending: false, online: false, lastContact: null, problem: null, clockAheadMs: null };
  }

  start() {
    const { signal } = this.#leave;
    const seen = () => document.visibilityState === "visible" && this.run({ soon: true });
    addEventListener("online", () => this.run({ soon: true }), { signal });
    addEventListener("offline", () => this.#show({ online: false }), { signal });
    document.addEventListener("visibilitychange", seen, { signal });
    const forget = this.#store.onChange(({ what, elsewhere }) => {
      // Another tab sends what it keeps itself, unless this one is just at it.
      if (["recorded", "photo", "device"].includes(what) && (!elsewhere || this.#running)) {
        this.run({ soon: what === "device" });
      }
    });
    signal.addEventListener("abort", forget);
    this.run({ soon: true });
  }

  stop() {
    this.#leave.abort();
    clearTimeout(this.#timer);
  }

  // One round: everything that waits, then the photos. Never two at once; a call during a round
  // makes one more after it. Resolves when the round is over.
  run({ pressed = false, soon = false }) {
    if (this.#leave.signal.aborted) {
      return Promise.resolve();
    }
    if (this.#running) {
      this.#again = true;
      return this.#running;
    }
    // A tap tries at once, but a dead link is not knocked at with every tap.
    const early = this.state.problem !== null && performance.now() - this.#startedAt < BETWEEN_ROUNDS_MS;
    if (early && !pressed && !soon) {
      return Promise.resolve();
    }
    this.#startedAt = performance.now();
    clearTimeout(this.#timer);
    this.#running = this.#alone(() => this.#round()).finally(() => {
      this.#running = null;
      this.#show({ sending: false });
      this.#plan();
    });
    return this.#running;
  }

  #plan() {
    if (this.#leave.signal.aborted) {
      return;
    }
    if (this.#again && this.state.problem === null) {
      this.#again = false;
      this.run({});
      return;
    }
    this.#again = false;
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.run({ soon: true }), this.#wait * between(0.8, 1.2));
  }

  // Only one tab sends. Where there are no locks the tabs take turns through the database.
  async #alone(round) {
    if (navigator.locks) {
      return navigator.locks.request(LOCK, { ifAvailable: true }, (lock) => lock && round());
    }
    if (!(await this.#store.takeTurn(this.#holder, TURN_MS))) {
      return null;
    }
    try {
      return await round();
    } finally {
      await this.#store.endTurn(this.#holder);
    }
  }

  async #round() {
    try {
      const device = await this.#store.device();
      if (!device?.uid) {
        return;
      }
      this.#show({ sending: true });
      this.#refusedAlone = 0;
      this.#passedOver = null;
      const revoked = await this.#sendItems(device);
      if (revoked) {
        await this.#leavePhone();
        return;
      }
      await this.#sendPhotos(device);
      if (this.#passedOver) {
        throw this.#passedOver;
      }
      this.#wait = EVERY_MS;
      this.#show({ problem: null });
    } catch (error) {
      this.#fail(error);
    }
  }

  #fail(error) {
    const answered = error instanceof Refused;
    this.#wait = Math.min(this.#wait * 2, SELDOM_MS);
    if (error.afterMs) {
      this.#wait = Math.min(Math.max(error.afterMs, 1_000), SELDOM_MS);
    }
    if (answered) {
      this.#show({ problem: error.problem, online: true, lastContact: new Date() });
    } else if (error instanceof Unreached) {
      this.#show({ problem: "unreachable", online: false });
    } else {
      // The phone itself could not: its storage is full, or its key is gone.
      console.warn("sending stopped", error);
      this.#show({ problem: "phone" });
    }
  }

  // --- items -----------------------------------------------------------------------------------

  // Sends until nothing waits; an empty batch asks whether the phone is still welcome. Returns
  // whether it was revoked, once the server has an answer for every item.
  async #sendItems(device) {
    let after = 0;
    let revoked = false;
    do {
      const batch = fitting(await this.#store.waiting(this.#most, after));
      const reply = await this.#sendBatch(device, batch);
      if (reply) {
        revoked = reply.revoked === true;
      }
      after = batch.length > 0 ? batch.at(-1).counter : after;
    } while ((await this.#store.waiting(1, after)).length > 0);
    return revoked && (await this.#store.waiting(1)).length === 0;
  }

  async #sendBatch(device, batch) {
    try {
      const reply = await this.#soonAgain(() => this.#postBatch(device, batch));
      const settled = await this.#settle(batch, reply);
      this.#contact(reply);
      if (settled < batch.length) {
        throw new Refused("unanswered");
      }
      this.#refusedAlone = 0;
      return reply;
    } catch (error) {
      if (error.action !== "smaller" || batch.length === 0) {
        throw error;
      }
      return this.#sendParts(device, batch, error);
    }
  }

  // The server cannot take this batch as a whole: find the item that it means, send the others.
  async #sendParts(device, batch, error) {
    if (batch.length === 1) {
      await this.#passOver(batch[0], error);
      return null;
    }
    const half = Math.ceil(batch.length / 2);
    const first = await this.#sendBatch(device, batch.slice(0, half));
    const second = await this.#sendBatch(device, batch.slice(half));
    return second ?? first;
  }

  // One that is too large will always be. Any other stays in the queue for the next round: the fault
  // may be the server's, and then it is the same with every item.
  async #passOver({ id }, error) {
    if (error.status === 413) {
      await this.#store.settle([{ id, outcome: "rejected", because: TOO_LARGE }]);
      return;
    }
    this.#goOn(error);
  }

  // Past what was refused alone, a few times a round.
  #goOn(error) {
    this.#passedOver = error;
    this.#refusedAlone += 1;
    if (this.#refusedAlone > MOST_REFUSED_ALONE) {
      throw new Refused(error.problem, { status: error.status });
    }
  }

  async #postBatch(device, batch) {
    const body = new TextEncoder().encode(
      JSON.stringify({
        schema: SCHEMA,
        device: device.uid,
        sent_at: new Date().toISOString(),
        items: batch.map(({ item, damaged }) => item ?? damaged),
      }),
    );
    const headers = { "Content-Type": "application/json" };
    try {
      const reply = await this.#post("/field/sync", device, body, headers);
      this.#most = Math.min(this.#most * 2, MOST_ITEMS);
      return reply;
    } catch (error) {
      if (error instanceof Unreached) {
        // The less there is in a batch, the likelier it gets through a bad link.
        this.#most = Math.max(Math.floor(this.#most / 2), FEWEST_ITEMS);
      }
      throw error;
    }
  }

  // Only what was in the batch can be settled, and only by an answer that names it.
  #settle(batch, reply) {
    if (!Array.isArray(reply.receipts)) {
      throw new Unreached("no receipts");
    }
    const sent = new Set(batch.map(({ id }) => id));
    const receipts = reply.receipts.filter(({ id }) => sent.has(id));
    return receipts.length > 0 ? this.#store.settle(receipts) : 0;
  }

  // --- photos ----------------------------------------------------------------------------------

  async #sendPhotos(device) {
    let photo = await this.#store.nextPhoto();
    while (photo) {
      await this.#sendPhoto(device, photo);
      photo = await this.#store.nextPhoto(photo.id);
    }
  }

  async #sendPhoto(device, { id, audit, tree, stage, at, blob }) {
    if (!blob) {
      await this.#store.refusePhoto(id, "damaged");
      return;
    }
    const headers = {
      "Content-Type": "image/jpeg",
      "X-Audit": audit,
      "X-Tree": String(tree),
      "X-At": at,
      ...(stage && { "X-Stage": stage }),
    };
    const body = new Uint8Array(await blob.arrayBuffer());
    try {
      await this.#soonAgain(() => this.#post(`/field/photos/${id}`, device, body, headers));
      await this.#store.dropPhoto(id);
      this.#contact({});
    } catch (error) {
      if (error.action === "smaller") {
        await this.#store.refusePhoto(id, error.problem);
      } else if (error.status >= 500 && error.status !== 503) {
        // The fault may be this photo's: it comes again, and keeps no other back.
        this.#goOn(error);
      } else if (error.status !== 409) {
        throw error;
      }
      // 409: the audit has not arrived yet; the photo goes with a later round.
    }
  }

  // --- the wire --------------------------------------------------------------------------------

  async #soonAgain(send) {
    // After a round that failed there is one try only: the timer decides when to go on.
    const waits = this.state.problem === "unreachable" && !this.#reached ? [] : SOON_MS;
    for (let tries = 0; ; tries += 1) {
      try {
        const reply = await send();
        this.#reached = true;
        return reply;
      } catch (error) {
        if (!(error instanceof Unreached) || tries >= waits.length || navigator.onLine === false) {
          throw error;
        }
        await pause(waits[tries] * between(0.7, 1.3));
      }
    }
  }

  async #post(address, device, body, headers) {
    const signature = await this.#device.sign(body);
    let status;
    let content;
    let retryAfter;
    try {
      const response = await fetch(address, {
        method: "POST",
        body,
        headers: { ...headers, "X-Device": device.uid, "X-Signature": signature },
        cache: "no-store",
        redirect: "error",
        signal: AbortSignal.timeout?.(REPLY_MS),
      });
      status = response.status;
      retryAfter = response.headers.get("Retry-After");
      content = (await response.json()) ?? {};
    } catch (error) {
      this.#reached = false;
      throw new Unreached(error.message);
    }
    if (status === 200) {
      return content;
    }
    if (content?.problem === "cut_short") {
      throw new Unreached(content.problem);
    }
    throw refusal(status, content, retryAfter);
  }

  // --- telling ---------------------------------------------------------------------------------

  #contact(reply) {
    this.#show({
      online: true,
      lastContact: new Date(),
      problem: null,
      ...(Number.isFinite(reply.clock_ahead_ms) && { clockAheadMs: reply.clock_ahead_ms }),
    });
  }

  #show(change) {
    const before = JSON.stringify(this.state);
    this.state = { ...this.state, ...change };
    if (JSON.stringify(this.state) !== before) {
      this.#onState(this.state);
    }
  }

  // The phone was given up by the farm: once everything it had to say is there, everything goes.
  async #leavePhone() {
    if (await this.#store.wipe({ unlessWaiting: true })) {
      this.#show({ problem: "revoked" });
    } else {
      // Tapped since the last answer.
      this.#again = true;
    }
  }
}

class Unreached extends Error {}

class Refused extends Error {
  constructor(problem, { status = 200, action = "stop", afterMs = null } = {}) {
    super(problem);
    Object.assign(this, { problem, status, action, afterMs });
  }
}

function refusal(status, content, retryAfter) {
  const action = PROBLEMS[status] ?? "stop";
  const problem = typeof content?.problem === "string" ? content.problem : `status_${status}`;
  // Seconds (RFC 9110, 10.2.3); a date is left to the usual wait.
  const afterMs = status === 503 && /^\d+$/.test(retryAfter ?? "") ? Number(retryAfter) * 1000 : null;
  return new Refused(problem, { status, action, afterMs });
}

// As many of the items, from the first on, as one request carries.
function fitting(entries) {
  const sizes = entries.map(({ item, damaged }) => new Blob([JSON.stringify(item ?? damaged)]).size + 1);
  let bytes = 0;
  const tooMany = sizes.findIndex((size) => (bytes += size) > MOST_BYTES);
  return tooMany < 0 ? entries : entries.slice(0, Math.max(tooMany, 1));
}

function between(least, most) {
  return least + Math.random() * (most - least);
}

function pause(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms));
}
