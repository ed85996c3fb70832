// The sign at the head of a tree or a verdict: a word, a shape and a place of its own for each state.

import { make, shape } from "./elements.js";

const SHAPES = { carry_on: "onward", stop: "halt", not_kept: "fault" };

export const signElement = ({ state, words, reason }) =>
  make(
    "div",
    { class: `sign sign-${state}`, "data-sign": state },
    make("p", { class: "sign-word" }, shape(SHAPES[state]), make("span", {}, words)),
    reason ? make("p", { class: "sign-reason" }, reason) : null,
  );
