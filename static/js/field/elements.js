// Elements of a page in one call, with their words as text and never as markup:
//
//   make("p", { class: "lead", hidden: true }, "Carry on")
//   make("button", { type: "button", onclick: go }, shape("undo"), make("span", {}, "Undo"))
//
// An attribute that is false, null or undefined is left out, one that is true stands without value.

import { SHAPES } from "./shapes.js";

const BOUNCE_MS = 400;
const SURE_WITHIN_MS = 6_000;
const RELEASED_MS = 300;
const SVG = "http://www.w3.org/2000/svg";

export const make = (name, attributes = {}, ...contents) => {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) {
      element.addEventListener(key.slice(2), value);
    } else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(key, value === true ? "" : value);
    }
  }
  element.append(...contents.flat().filter((content) => content !== null && content !== undefined));
  return element;
};

// The same drawing as components/shapes.html makes; a word must always stand beside it.
export const shape = (name) => drawn(SHAPES[name]);

// An outline of 24 by 24 units, filled in the colour of the words beside it.
export const drawn = (outline) => {
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("class", "shape");
  drawing.setAttribute("viewBox", "0 0 24 24");
  drawing.setAttribute("aria-hidden", "true");
  drawing.setAttribute("focusable", "false");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("fill-rule", "evenodd");
  path.setAttribute("d", outline);
  drawing.append(path);
  return drawing;
};

export const key = (words, whenPressed, { shape: shapeName, main = false, ...attributes } = {}) =>
  make(
    "button",
    { type: "button", ...attributes, class: main ? "button button-main" : "button", onclick: whenPressed },
    shapeName ? shape(shapeName) : null,
    make("span", {}, words),
  );

// When each of those keys was first pressed, by its part: a screen that is drawn anew before the second
// press shows the key as it stood.
const askedAt = new Map();

// A key for what no other tap takes back: its words change, and only the second press does it. A
// finger that bounces presses once. `part` tells the key from all others of its page.
export const sureKey = (part, words, wordsAgain, whenSure, { shape: shapeName, ...attributes } = {}) => {
  const sinceAsked = () => performance.now() - (askedAt.get(part) ?? -Infinity);
  const label = make("span", { "aria-live": "polite" });
  const showWords = () => {
    const left = SURE_WITHIN_MS - sinceAsked();
    label.textContent = left > 0 ? wordsAgain : words;
    if (left > 0) {
      setTimeout(showWords, left);
    }
  };
  const press = (event) => {
    const since = sinceAsked();
    if (since < BOUNCE_MS) {
      return;
    }
    if (since < SURE_WITHIN_MS) {
      askedAt.delete(part);
      whenSure(event);
    } else {
      askedAt.set(part, performance.now());
    }
    showWords();
  };
  showWords();
  return make(
    "button",
    { type: "button", class: "button", "data-part": part, ...attributes, onclick: press },
    shapeName ? shape(shapeName) : null,
    label,
  );
};

// Put new contents where the old ones were. What had the focus has it again, found by its data-part.
export const putAnew = (root, ...contents) => {
  const part = root.contains(document.activeElement) ? document.activeElement.dataset.part : undefined;
  root.replaceChildren(...contents);
  if (part) {
    root.querySelector(`[data-part="${CSS.escape(part)}"]`)?.focus({ preventScroll: true });
  }
};

// Wait while a key is held down: put anew under the finger, it would not be pressed at all.
export const untilReleased = async (root) => {
  while (root.querySelector("button:active")) {
    await new Promise((goOn) => setTimeout(goOn, RELEASED_MS));
  }
};

export const section = (title, ...contents) =>
  make("section", { class: "section" }, make("h2", {}, title), ...contents);

// A message that is read out at once: a problem as an alert, anything else when the reader pauses.
export const message = (text, { isProblem = false } = {}) =>
  make(
    "div",
    { class: isProblem ? "message message-problem" : "message", role: isProblem ? "alert" : "status" },
    shape(isProblem ? "fault" : "right"),
    make("p", {}, text),
  );
