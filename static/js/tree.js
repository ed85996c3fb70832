// The tree screen of the server by touch: the answer to the last open stage sends the tree, so that a
// tree without faults takes one tap a stage. See tiles.js for what a tap does.

import { STOP, feel } from "./feel.js";
import { startTiles } from "./tiles.js";

const start = (form) => {
  let isSent = false;
  const tiles = startTiles(form, {
    mayComplete: () => !form.querySelector("#measures[open]"),
    whenComplete: () => form.requestSubmit(form.querySelector("button[name=save]")),
  });
  form.querySelector("[data-live-help]").hidden = false;

  form.addEventListener("submit", (event) => {
    if (isSent) {
      event.preventDefault();
      return;
    }
    isSent = true;
    tiles.hold();
  });
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) {
      isSent = false;
      tiles.release();
    }
    tiles.settle();
  });
  if (document.querySelector("[data-sign=stop]")) {
    feel(STOP);
  }
};

const form = document.querySelector("form[data-tree]");
if (form) {
  start(form);
}
