// Sends what was done, in the order in which it was done, until the office says of each result that
// it has it. The same result sent twice is known there by its id.

import { asJson } from "./office.js";

const MOST = 50;
const EVERY_MS = 60_000;

export const startSending = ({ store, onState }) => {
  let running = null;
  const state = { sending: false, problem: null };
  const show = (changes) => onState(Object.assign(state, changes));

  const round = async () => {
    show({ sending: true });
    let problem = null;
    try {
      let items = await store.waiting(MOST);
      while (items.length > 0 && problem === null) {
        problem = await sendBatch(store, items);
        items = await store.waiting(MOST);
      }
    } finally {
      show({ sending: false, problem });
    }
  };
  const send = () => {
    running ??= round().finally(() => (running = null));
    return running;
  };
  const quietly = () => void send().catch((error) => console.warn(error));

  addEventListener("online", quietly);
  addEventListener("offline", () => show({ problem: "unreachable" }));
  document.addEventListener("visibilitychange", quietly);
  setInterval(quietly, EVERY_MS);
  quietly();
  return { state, send: quietly };
};

// Null, or why nothing more can be sent now.
const sendBatch = async (store, items) => {
  const token = await asJson("/field/token");
  if (token.problem) {
    return token.problem;
  }
  const answer = await asJson("/practice/results", {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-CSRFToken": token.body.csrf },
    body: JSON.stringify({ items }),
  });
  if (answer.problem) {
    return answer.problem;
  }
  const asked = new Set(items.map(({ uid }) => uid));
  const receipts = answer.body.receipts.filter(({ uid }) => asked.has(uid));
  await store.settle(receipts);
  // Without a word about any of them the same batch would be sent for ever.
  return receipts.length > 0 ? null : "refused";
};
