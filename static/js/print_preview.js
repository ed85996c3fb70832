// The first page of what is to be printed, shown anew whenever a choice changes. Without this module
// the key "Preview" loads the page with it.

const WAIT_MS = 300;

const form = document.querySelector("form[data-preview]");
const place = document.querySelector("[data-leaf]");
if (form && place) {
  start(form, place);
}

function start(form, place) {
  let waiting = 0;
  let asked = 0;

  const show = async () => {
    asked += 1;
    const mine = asked;
    place.setAttribute("aria-busy", "true");
    const answer = await ask(form);
    // A later choice has overtaken this one.
    if (mine !== asked) {
      return;
    }
    place.removeAttribute("aria-busy");
    if (answer !== null) {
      const read = new DOMParser().parseFromString(answer, "text/html");
      place.replaceChildren(...read.body.childNodes);
    }
  };

  form.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(show, WAIT_MS);
  });
  for (const key of form.querySelectorAll("[data-without-script]")) {
    key.hidden = true;
  }
}

// The token of a form that is posted stays out of addresses.
async function ask(form) {
  const chosen = new FormData(form);
  chosen.delete("csrf_token");
  const query = new URLSearchParams(chosen);
  try {
    const answer = await fetch(`${form.dataset.preview}?${query}`);
    return answer.ok && !answer.redirected ? await answer.text() : null;
  } catch {
    return null;
  }
}
