// A page that waits for figures or for a file: asks how far they are, and loads itself anew once
// they are there. Without this module people press the link that looks again.

const LOOK_EVERY_MS = 1000;
const MOST_LOOKS = 900;

const waiting = document.querySelector("[data-waiting]");
if (waiting) {
  look(waiting, 0);
}

function look(waiting, looks) {
  if (looks === MOST_LOOKS) {
    return;
  }
  setTimeout(async () => {
    const standing = await ask(waiting.dataset.waiting);
    if (standing?.pending === 0) {
      location.reload();
      return;
    }
    if (standing) {
      waiting.querySelector("progress").value = standing.progress;
    }
    look(waiting, looks + 1);
  }, LOOK_EVERY_MS);
}

// A server that does not answer just now is asked again.
async function ask(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}
