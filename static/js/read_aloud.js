// Reads the page's main text aloud in the page's language; pressed again, it stops.
// Without a voice in the browser the key stays hidden and the page is as before.
// Forms are passed over, but for one that is to be heard as a whole, such as a question.

const main = document.querySelector("main");
const NOT_READ = "button, form:not([data-spoken]), script, template, [hidden], [aria-hidden='true'], [data-read-aloud]";
// Voices breathe at these, and a browser may cut off what is longer.
const PARTS = "h1, h2, h3, p, li, dt, dd, th, td, summary, figcaption, label";

// A part that holds other parts is read through them alone, so that nothing is said twice.
const ownText = (element) => {
  const copy = element.cloneNode(true);
  for (const inner of copy.querySelectorAll(`${PARTS}, ${NOT_READ}`)) {
    inner.remove();
  }
  return copy.textContent.replace(/\s+/g, " ").trim();
};

// What is folded away stays unread, as it stays unseen; its summary is read.
const isFolded = (element) => {
  const folded = element.closest("details:not([open])");
  return folded !== null && !element.closest("summary");
};

const sentences = () =>
  [...main.querySelectorAll(PARTS)]
    .filter((element) => !element.closest(NOT_READ) && !isFolded(element))
    .map(ownText)
    .filter((text) => text !== "");

const start = (key) => {
  const words = key.querySelector("span");
  const readWords = words.textContent;
  const speech = window.speechSynthesis;
  // Which press the voice still answers to: a cancelled sentence ends later, and must end nothing.
  let press = 0;

  const rest = () => {
    press += 1;
    key.setAttribute("aria-pressed", "false");
    words.textContent = readWords;
  };

  key.addEventListener("click", () => {
    if (key.getAttribute("aria-pressed") === "true") {
      rest();
      speech.cancel();
      return;
    }
    const texts = sentences();
    press += 1;
    const mine = press;
    key.setAttribute("aria-pressed", "true");
    words.textContent = key.dataset.stop;
    speech.cancel();
    texts.forEach((text, index) => {
      const utterance = new SpeechSynthesisUtterance(text);
      utterance.lang = document.documentElement.lang;
      const ends = () => {
        if (mine === press) {
          rest();
        }
      };
      if (index === texts.length - 1) {
        utterance.addEventListener("end", ends);
      }
      utterance.addEventListener("error", ends);
      speech.speak(utterance);
    });
  });

  // A voice goes on after its page is left.
  window.addEventListener("pagehide", () => speech.cancel());
  key.hidden = false;
};

if ("speechSynthesis" in window && "SpeechSynthesisUtterance" in window) {
  document.querySelectorAll("button[data-read-aloud]").forEach(start);
}
