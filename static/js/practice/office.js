// Asks the office for JSON: { body } or { problem: "unreachable" | "signed_out" | "refused" }.

const REPLY_MS = 60_000;

export const asJson = async (address, options = {}) => {
  let answer;
  try {
    answer = await fetch(address, { ...options, signal: AbortSignal.timeout(REPLY_MS) });
  } catch {
    return { problem: "unreachable" };
  }
  // Whoever is not signed in is sent to the page where one signs in.
  if (answer.redirected || answer.status === 401) {
    return { problem: "signed_out" };
  }
  if (answer.status >= 500) {
    return { problem: "unreachable" };
  }
  try {
    const body = await answer.json();
    return answer.ok ? { body } : { problem: "refused", body };
  } catch {
    return { problem: answer.ok ? "unreachable" : "refused" };
  }
};
