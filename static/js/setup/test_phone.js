// The set-up page's test: asks the pages over https, and says plainly whether this phone trusts
// them. A browser does not tell a script why a request failed; whether this page itself still
// answers tells a lost network from a missing trust.

const PATIENCE_MS = 8000;
const READING_MS = 1200;

const key = document.querySelector("[data-test]");
if (key) {
  key.hidden = false;
  key.addEventListener("click", test);
}

async function test() {
  key.disabled = true;
  show("testing");
  if (await answers(key.dataset.test, "cors")) {
    show("trusted");
    // A warning that was clicked away lets a request through too: the next page looks closer.
    setTimeout(() => location.assign(key.dataset.next), READING_MS);
    return;
  }
  show((await answers(location.pathname, "same-origin")) ? "untrusted" : "unreachable");
  key.disabled = false;
}

async function answers(address, mode) {
  const patience = new AbortController();
  const timer = setTimeout(() => patience.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(address, {
      mode,
      cache: "no-store",
      credentials: "omit",
      signal: patience.signal,
    });
    return answer.ok;
  } catch {
    return false;
  } finally {
    clearTimeout(timer);
  }
}

function show(outcome) {
  for (const sentence of document.querySelectorAll("[data-outcomes] [data-outcome]")) {
    sentence.hidden = sentence.dataset.outcome !== outcome;
  }
}
