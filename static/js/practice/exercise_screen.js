// One question between trees: a picture, big choices, and the reason at once. Practice, no exam: the
// phone knows the answer.

import { feel, FAULT, TAP } from "../feel.js";
import { make, shape } from "../field/elements.js";
import { sayIfAsked } from "./aloud.js";
import { bigKey, heading, topLine } from "./frame.js";
import { afterExercise } from "./schedule.js";

export const showExercise = (root, app, walk) => {
  const { words, pack } = app;
  const exercise = pack.exercises.find(({ id }) => id === walk.id);
  let isBusy = false;

  const choose = async (choice) => {
    if (isBusy || walk.choice) {
      return;
    }
    isBusy = true;
    const isRight = choice === exercise.right;
    try {
      await app.finish(
        { kind: "exercise", item: exercise.item, stage: exercise.stage, choice, right: isRight },
        afterExercise(pack, app.progress, walk, isRight),
      );
      walk.choice = choice;
      feel(isRight ? TAP : FAULT);
    } catch (error) {
      console.warn(error);
      walk.problem = true;
    }
    isBusy = false;
    draw();
  };

  const choiceKey = (choice) => {
    const text = words.of(choice.words);
    const element = make(
      "button",
      { type: "button", class: "button practice-choice", "data-choice": choice.key, onclick: () => choose(choice.key) },
      choice.svg ? drawing(choice.svg) : null,
      make("span", { class: choice.svg ? "only-spoken" : null }, text),
    );
    if (walk.choice) {
      element.setAttribute("aria-disabled", "true");
      const isRight = choice.key === exercise.right;
      if (isRight || choice.key === walk.choice) {
        element.classList.add(isRight ? "is-right" : "is-fault");
        element.prepend(shape(isRight ? "right" : "fault"));
        element.append(make("span", { class: "only-spoken" }, words.say(isRight ? "exercise.this_is_right" : "exercise.this_was_yours")));
      }
    }
    return element;
  };

  const draw = () => {
    const stem = words.of(exercise.stem);
    const isRight = walk.choice === exercise.right;
    const said = walk.choice
      ? [words.say(isRight ? "result.right" : "exercise.wrong"), words.of(exercise.why)]
      : [stem, ...exercise.choices.map((choice) => words.of(choice.words))];
    const title = heading(walk.choice ? "" : stem);
    if (walk.choice) {
      title.append(shape(isRight ? "right" : "fault"), make("span", {}, said[0]));
      title.classList.add(isRight ? "is-right" : "is-fault");
    }
    document.title = title.textContent;
    root.replaceChildren(
      make(
        "div",
        { class: "practice-screen practice-exercise" },
        topLine(app, words.say("exercise.title"), () => said),
        title,
        walk.choice ? make("p", { class: "practice-stem" }, stem) : null,
        exercise.svg ? pictureOf(exercise, words) : null,
        make(
          "div",
          { class: exercise.choices.some(({ svg }) => svg) ? "practice-choices has-pictures" : "practice-choices" },
          // Afterwards only what was chosen and what is right: the reason needs the room.
          ...exercise.choices.filter(({ key }) => !walk.choice || [walk.choice, exercise.right].includes(key)).map(choiceKey),
        ),
        make(
          "div",
          { class: "practice-keys" },
          walk.problem ? make("p", { class: "field-problem", role: "alert" }, words.say("practice.not_kept")) : null,
          walk.choice ? make("p", { class: "practice-why" }, said[1]) : null,
          walk.choice
            ? make(
                "div",
                { class: "practice-row" },
                bigKey(words.say("result.next_tree"), () => app.next(), { shape: shape("onward"), css: "button-main", "data-next": true }),
              )
            : null,
        ),
      ),
    );
    title.focus({ preventScroll: true });
    sayIfAsked(said, words.language);
  };

  draw();
  return { redraw: draw };
};

const drawing = (svg) => {
  const element = document.importNode(new DOMParser().parseFromString(svg, "image/svg+xml").documentElement, true);
  for (const name of ["role", "aria-labelledby"]) {
    element.removeAttribute(name);
  }
  element.setAttribute("aria-hidden", "true");
  element.querySelectorAll("title, desc").forEach((words) => words.remove());
  return element;
};

const pictureOf = ({ svg, words: spoken }, words) =>
  make("div", { class: "practice-picture practice-showing", role: "img", "aria-label": words.of(spoken) }, drawing(svg));
