// Sealing what the phone keeps, so that a copy of its storage says nothing: AES-GCM with a key that
// cannot be taken out of this browser. The id goes with it as additional data: what was sealed under
// one id does not open under another.

import { newId } from "./ids.js";

const ALGORITHM = { name: "AES-GCM", length: 256 };
const NONCE_BYTES = 12; // NIST SP 800-38D, 8.2.2: random, 96 bits

export async function newKey() {
  return { id: newId(), key: await crypto.subtle.generateKey(ALGORITHM, false, ["encrypt", "decrypt"]) };
}

export async function seal(key, id, bytes) {
  const nonce = crypto.getRandomValues(new Uint8Array(NONCE_BYTES));
  return { nonce, sealed: await crypto.subtle.encrypt(parameters(nonce, id), key.key, bytes) };
}

export function unseal(key, id, { nonce, sealed }) {
  return crypto.subtle.decrypt(parameters(nonce, id), key.key, sealed);
}

function parameters(nonce, id) {
  return { name: ALGORITHM.name, iv: nonce, additionalData: new TextEncoder().encode(id) };
}
