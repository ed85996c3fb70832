// The tiles of one tree under a finger: a tap answers a stage, the names of a fault take the screen,
// and the tap that answers the last open stage says that the tree is complete. Whoever uses a
// keyboard or a screen reader keeps the plain form: nothing moves or sends by itself. The page of
// the server (tree.js) and the phone's screen (field/tree_screen.js) share this.
//
//   startTiles(form, { whenComplete, mayComplete, whenAnswered })
//     whenComplete()         every stage is answered, by a finger
//     mayComplete()          false keeps a complete tree on the screen
//     whenAnswered(stage)    the key of a stage whose answer was chosen
//   returns
//     read()                 reads the stages in the form again, after their markup or answers changed
//     settle(), hold(), release()    no taps for a moment; none until released
//     isTouch(event), isComplete(), openNames(key), closeNames()
//
// A stage whose section has data-answered needs no tile: it is decided, missed or measured.

import { FAULT, TAP, feel } from "./feel.js";

const SETTLING_MS = 350;
const TOUCH_TO_CLICK_MS = 1000;

export const startTiles = (form, { whenComplete, mayComplete = () => true, whenAnswered = () => {} }) => {
  const screen = {
    form,
    stages: [],
    touchedAt: -Infinity,
    isHeld: false,
    whenComplete,
    mayComplete,
    whenAnswered,
  };
  form.classList.add("is-live");
  // Mouse, pen and finger come with a pointer event just before the click; keys do not.
  form.addEventListener("pointerup", (event) => (screen.touchedAt = event.timeStamp), true);
  form.addEventListener("click", (event) => guard(screen, event), true);
  read(screen);
  return {
    read: () => read(screen),
    settle: () => settle(screen),
    hold: () => hold(screen),
    release: () => release(screen),
    isTouch: (event) => isTouch(screen, event),
    isComplete: () => screen.stages.every(isAnswered),
    openNames: (key) => openNames(screen, screen.stages.find((stage) => stage.key === key), true),
    closeNames: () => screen.stages.forEach((stage) => closeNames(screen, stage)),
  };
};

const read = (screen) => {
  const known = new Map(screen.stages.map((stage) => [stage.section, stage]));
  screen.stages = [...screen.form.querySelectorAll("[data-stage]")]
    .filter((section) => section.querySelector(".tile-row"))
    .map((section) => known.get(section) ?? listen(screen, readStage(section)));
  for (const stage of screen.stages) {
    closeNames(screen, stage);
    stage.before = chosen(stage);
    showNames(stage);
  }
  screen.stages.find((stage) => isFault(stage) && !isNamed(stage))?.section.classList.add("is-open");
};

const readStage = (section) => ({
  section,
  key: section.dataset.stage,
  answers: [...section.querySelectorAll(".tile-row input")],
  names: [...section.querySelectorAll(".fault-tile input")],
  more: section.querySelector("[data-more]"),
  named: section.querySelector("[data-named]"),
  // What was chosen before the tap that is being handled: a second tap on "fault" takes it back.
  before: undefined,
});

const listen = (screen, stage) => {
  for (const input of stage.answers) {
    input.addEventListener("click", (event) => answer(screen, stage, input, isTouch(screen, event)));
  }
  for (const input of stage.names) {
    input.addEventListener("click", (event) => name(screen, stage, input, isTouch(screen, event)));
  }
  stage.more?.addEventListener("click", () => chooseSeveral(screen, stage));
  return stage;
};

const answer = (screen, stage, input, touched) => {
  const again = stage.before === input.value;
  stage.before = input.value;
  screen.whenAnswered(stage.key);
  if (input.value === "fault" && stage.names.length > 0) {
    answerFault(screen, stage, again, touched);
  } else {
    stage.names.forEach((other) => (other.checked = false));
    closeNames(screen, stage);
    feel(TAP);
    completeByTouch(screen, touched);
  }
  showNames(stage);
};

const answerFault = (screen, stage, again, touched) => {
  const open = stage.section.classList.contains("is-naming-now");
  if (again && open && !isNamed(stage)) {
    takeBack(stage);
    closeNames(screen, stage);
  } else if (again && open) {
    closeNames(screen, stage);
    completeByTouch(screen, touched);
  } else {
    openNames(screen, stage, touched);
  }
  feel(FAULT);
};

const name = (screen, stage, input, touched) => {
  feel(TAP);
  if (touched && !isSeveral(stage)) {
    stage.names.forEach((other) => (other.checked = other === input));
    closeNames(screen, stage);
    completeByTouch(screen, touched);
  }
  showNames(stage);
};

const chooseSeveral = (screen, stage) => {
  if (!isSeveral(stage)) {
    stage.more.setAttribute("aria-pressed", "true");
    swapWords(stage.more);
    return;
  }
  if (!isNamed(stage)) {
    return;
  }
  closeNames(screen, stage);
  completeByTouch(screen, true);
};

const openNames = (screen, stage, touched) => {
  stage.section.classList.add("is-open");
  if (!touched) {
    return;
  }
  screen.form.classList.add("is-naming");
  document.documentElement.classList.add("shows-names");
  stage.section.classList.add("is-naming-now");
  if (stage.more) {
    stage.more.hidden = false;
  }
  window.scrollTo({ top: 0, behavior: "instant" });
  settle(screen);
};

const closeNames = (screen, stage) => {
  screen.form.classList.remove("is-naming");
  document.documentElement.classList.remove("shows-names");
  stage.section.classList.remove("is-naming-now", "is-open");
  if (stage.more) {
    stage.more.hidden = true;
    if (isSeveral(stage)) {
      stage.more.setAttribute("aria-pressed", "false");
      swapWords(stage.more);
    }
  }
};

const swapWords = (more) => {
  [more.textContent, more.dataset.done] = [more.dataset.done, more.textContent];
};

const takeBack = (stage) => {
  stage.answers.forEach((input) => (input.checked = false));
  stage.before = undefined;
};

const showNames = (stage) => {
  const labels = stage.names
    .filter((input) => input.checked)
    .map((input) => input.closest("label").querySelector(".tile-label").textContent.trim());
  stage.named.textContent = labels.join(", ");
};

const chosen = (stage) => stage.answers.find((input) => input.checked)?.value;

const isFault = (stage) => chosen(stage) === "fault";

const isNamed = (stage) => stage.names.length === 0 || stage.names.some((input) => input.checked);

const isSeveral = (stage) => stage.more?.getAttribute("aria-pressed") === "true";

const isAnswered = (stage) =>
  stage.section.dataset.answered !== undefined ||
  (chosen(stage) !== undefined && (!isFault(stage) || isNamed(stage)));

const isTouch = (screen, event) => event.timeStamp - screen.touchedAt < TOUCH_TO_CLICK_MS;

const completeByTouch = (screen, touched) => {
  if (touched && screen.mayComplete() && screen.stages.every(isAnswered)) {
    screen.whenComplete();
  }
};

const settle = (screen) => {
  screen.form.classList.add("is-settling");
  clearTimeout(screen.settling);
  screen.settling = setTimeout(() => screen.form.classList.remove("is-settling"), SETTLING_MS);
};

const hold = (screen) => {
  screen.isHeld = true;
  screen.form.classList.add("is-sending");
};

const release = (screen) => {
  screen.isHeld = false;
  screen.form.classList.remove("is-sending");
};

const guard = (screen, event) => {
  if (screen.isHeld && !event.target.closest("[type=submit]")) {
    event.preventDefault();
    event.stopPropagation();
  }
};
