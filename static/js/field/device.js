// The phone as the server knows it: its key, its six digits, and whether it is open.
//
// The key signs what the phone sends; its private half cannot be taken out of this browser. The
// digits open the phone for twelve hours: with signal the server checks them together with a
// signature, without signal the phone checks them by itself, ten times at most. What it keeps for
// that holds off whoever finds the phone, not whoever copies its storage and tries a million numbers
// elsewhere: such a phone is revoked, and its queue holds codes and no names.

import { toBase64 } from "./ids.js";
import { openStore } from "./store.js";

const SIGNING = { name: "ECDSA", namedCurve: "P-256" };
const SIGNATURE = { name: "ECDSA", hash: "SHA-256" };
// OWASP's password storage cheat sheet: PBKDF2 with HMAC-SHA-256, 600,000 rounds.
const ROUNDS = 600_000;
const SALT_BYTES = 16;
const VERIFIER_BITS = 256;
const MOST_TRIES = 10;
const OPEN_MS = 12 * 3600 * 1000;
// A link that takes longer than this is none: the phone then checks the digits by itself.
const ANSWER_MS = 8_000;

// --- enrolling ----------------------------------------------------------------------------------

// Makes this phone known to the server under the token of a QR code, and opens it. Returns
// { ok: true, person } or { ok: false, problem, words }, `words` by language where the server has any.
export const enrol = async ({ token, name, pin }) => {
  if (!globalThis.crypto?.subtle) {
    return refusal("insecure");
  }
  return reached(async () => {
    const store = await openStore();
    const known = await store.device();
    const standing = await askStanding(known?.uid);
    if (standing.revoked && (await holdsUnsent(store))) {
      // What was tapped under the old key is judged as the old phone's: it goes first.
      return refusal("send_first");
    }
    const keepsKeys = known?.signKey && known.publicKey && !standing.revoked;
    const keys = keepsKeys ? known : await newKeys();
    const reply = await post("/field/enrol", standing, { token, name, public_key: keys.publicKey, pin });
    if (!reply.ok) {
      return reply;
    }
    const { device: uid, person } = reply.answer;
    const { signKey, publicKey } = keys;
    const verifier = await makeVerifier(pin);
    await store.saveDevice({ uid, name, person, signKey, publicKey, verifier, ...opened() });
    return { ok: true, person };
  });
};

// --- opening and locking ------------------------------------------------------------------------

// With signal: the server checks the digits and opens a session. `problem` is "unreachable" where
// there is no signal.
export const unlock = (pin) =>
  reached(async () => {
    const store = await openStore();
    const record = await store.device();
    if (!record) {
      return refusal("unknown_device");
    }
    const standing = await askStanding(record.uid);
    const { nonce } = standing;
    const signature = await signWith(record.signKey, new TextEncoder().encode(nonce));
    const reply = await post("/field/unlock", standing, { device: record.uid, pin, nonce, signature });
    if (!reply.ok) {
      if (reply.problem === "enrol_again") {
        await store.changeDevice(() => ({ tries: MOST_TRIES }));
      }
      return reply;
    }
    const { person } = reply.answer;
    await store.changeDevice(() => ({ person, ...opened() }));
    return { ok: true, person };
  });

// Without signal: the phone checks the digits. The server still asks for them at the next contact.
export const unlockHere = async (pin) => {
  const store = await openStore();
  // Counted before the digits are looked at: closing the page takes no try back, and many tries at
  // once are ten all the same.
  const record = await store.changeDevice(({ tries = 0 }) => ({ tries: Math.min(tries + 1, MOST_TRIES) }));
  if (!record?.verifier) {
    return refusal("unknown_device");
  }
  const tries = record.tries ?? 0;
  if (tries >= MOST_TRIES) {
    return refusal("online_only");
  }
  if (!(await fits(record.verifier, pin))) {
    const left = MOST_TRIES - tries - 1;
    return left === 0 ? refusal("online_only") : { ...refusal("wrong_digits"), left };
  }
  await store.changeDevice(opened);
  return { ok: true };
};

// Whether the digits are asked for: locked by hand, or open for twelve hours. A clock that was set
// back before the phone was opened says nothing about how long that is ago.
export const isLocked = async () => {
  const store = await openStore();
  const record = await store.device();
  const openFor = Date.now() - (record?.unlockedAt ?? -Infinity);
  return !record || record.locked === true || !(openFor >= 0 && openFor < OPEN_MS);
};

export const lock = async () => (await openStore()).changeDevice(() => ({ locked: true }));

// --- signing ------------------------------------------------------------------------------------

// The signature over exactly these bytes: r and s, 32 bytes each, in base64.
export const sign = async (bytes) => {
  const record = await (await openStore()).device();
  if (!record) {
    throw new Error("this phone has no key");
  }
  return signWith(record.signKey, bytes);
};

const signWith = async (key, bytes) => toBase64(await crypto.subtle.sign(SIGNATURE, key, bytes));

const newKeys = async () => {
  const pair = await crypto.subtle.generateKey(SIGNING, false, ["sign", "verify"]);
  const { kty, crv, x, y } = await crypto.subtle.exportKey("jwk", pair.publicKey);
  return { signKey: pair.privateKey, publicKey: { kty, crv, x, y } };
};

// --- the digits without signal ------------------------------------------------------------------

// PBKDF2 with HMAC-SHA-256 (RFC 8018, 5.2).
export const derive = async (secret, salt, rounds, bits = VERIFIER_BITS) => {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(secret), "PBKDF2", false, ["deriveBits"]);
  const parameters = { name: "PBKDF2", hash: "SHA-256", salt, iterations: rounds };
  return new Uint8Array(await crypto.subtle.deriveBits(parameters, key, bits));
};

const makeVerifier = async (pin) => {
  const salt = crypto.getRandomValues(new Uint8Array(SALT_BYTES));
  return { salt, rounds: ROUNDS, derived: await derive(pin, salt, ROUNDS) };
};

const fits = async ({ salt, rounds, derived }, pin) => {
  const tried = await derive(pin, salt, rounds, 8 * derived.length);
  return tried.every((byte, place) => byte === derived[place]);
};

// --- what is kept -------------------------------------------------------------------------------

const opened = () => ({ unlockedAt: Date.now(), locked: false, tries: 0 });

const holdsUnsent = async (store) => {
  const { waiting = 0, photos = 0 } = await store.counts();
  return waiting + photos > 0;
};

// --- the server ---------------------------------------------------------------------------------

class Unreached extends Error {}

const refusal = (problem, words = null) => ({ ok: false, problem, words });

const reached = async (step) => {
  try {
    return await step();
  } catch (error) {
    if (error instanceof Unreached) {
      return refusal("unreachable");
    }
    throw error;
  }
};

const askStanding = async (uid) => {
  const query = uid ? `?device=${encodeURIComponent(uid)}` : "";
  const answer = await ask(`/field/token${query}`);
  if (!answer.ok) {
    throw new Unreached(`the server answered ${answer.status}`);
  }
  return read(answer);
};

const post = async (address, { csrf }, sent) => {
  const headers = { "Content-Type": "application/json", "X-CSRFToken": csrf };
  const answer = await ask(address, { method: "POST", headers, body: JSON.stringify(sent) });
  const said = await read(answer);
  return answer.ok ? { ok: true, answer: said } : refusal(said.problem, said.words ?? null);
};

const ask = async (address, options = {}) => {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), ANSWER_MS);
  try {
    return await fetch(address, {
      ...options,
      cache: "no-store",
      credentials: "same-origin",
      redirect: "error",
      signal: patience.signal,
    });
  } catch (error) {
    throw new Unreached(String(error));
  } finally {
    clearTimeout(timer);
  }
};

// Anything but JSON comes from something in between, not from the server.
const read = async (answer) => {
  try {
    return await answer.json();
  } catch (error) {
    throw new Unreached(String(error));
  }
};
