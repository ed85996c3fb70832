// What every screen of a tree or a question has: a line on top with the way out, where one is, the
// language and the voice; a heading; a picture; keys within reach of a thumb.

import { make } from "../field/elements.js";
import { aloudKey } from "./aloud.js";

export const topLine = (app, place, texts) =>
  make(
    "div",
    { class: "practice-top" },
    make("button", { type: "button", class: "practice-key", "data-stop": true, onclick: () => app.stop() }, app.words.say("practice.stop")),
    make("p", { class: "practice-where" }, place),
    aloudKey(app.words, texts),
    app.languageKey(),
  );

export const heading = (text) => make("h1", { class: "practice-goal", tabindex: "-1" }, text);

// A key as wide as it may be: a shape over or beside its word.
export const bigKey = (text, whenPressed, { shape = null, css = "", ...attributes } = {}) =>
  make(
    "button",
    { type: "button", class: `button ${css}`.trim(), onclick: whenPressed, ...attributes },
    shape,
    make("span", {}, text),
  );
