// Says a step aloud. Pressed once, the key says this step and every step after it by itself; pressed
// while the voice speaks, it is quiet again. Without a voice in the browser there is no key.

import { make } from "../field/elements.js";
import { picture } from "./pictures.js";

const KEPT_AS = "practice.aloud";
const speech = globalThis.SpeechSynthesisUtterance ? globalThis.speechSynthesis : undefined;

let on = localStorage.getItem(KEPT_AS) === "on";
let turn = 0;
let redraw = () => {};

const isSpeaking = () => speech.speaking || speech.pending;

const speak = (texts, language) => {
  turn += 1;
  const mine = turn;
  speech.cancel();
  // A sentence at a time: a voice breathes between them, and a browser may cut off what is longer.
  texts.filter(Boolean).forEach((text, index, all) => {
    const said = new SpeechSynthesisUtterance(text);
    said.lang = language === "es" ? "es-US" : "en-US";
    const ends = () => mine === turn && redraw(false);
    said.addEventListener("error", ends);
    if (index === all.length - 1) {
      said.addEventListener("end", ends);
    }
    speech.speak(said);
  });
  redraw(true);
};

export const quiet = () => {
  turn += 1;
  speech?.cancel();
  redraw(false);
};

// By itself, only for whoever has asked once.
export const sayIfAsked = (texts, language) => {
  if (on && speech) {
    speak(texts, language);
  }
};

// The key of a screen; `texts()` is asked when it is pressed.
export const aloudKey = (words, texts) => {
  if (!speech) {
    return null;
  }
  const label = make("span", {}, words.say("aloud.read"));
  const press = () => {
    const stops = isSpeaking();
    on = !stops;
    localStorage.setItem(KEPT_AS, on ? "on" : "off");
    if (stops) {
      quiet();
    } else {
      speak(texts(), words.language);
    }
  };
  redraw = (speaks) => (label.textContent = words.say(speaks ? "aloud.stop" : "aloud.read"));
  return make("button", { type: "button", class: "practice-key", "data-aloud": true, onclick: press }, picture("speaker"), label);
};

addEventListener("pagehide", () => speech?.cancel());
