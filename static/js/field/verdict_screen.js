// Where an audit stands: carry on or stop, the verdict with its reasons stage by stage, the trees that
// were answered, and, once every stage is decided, the one key that gives the verdict. Given, it is
// kept like every answer and sent when there is signal.
//
//   showVerdict(root, app, session)    returns { redraw(), refresh(), leave() }

import { STOP, feel } from "../feel.js";
import { sealedOutcomes } from "./audit.js";
import { key, make, message, section, shape } from "./elements.js";
import { keptWords } from "./kept.js";
import { placeOf } from "./places.js";
import { lotReason, sentence, signOf, stageReason } from "./reasons.js";
import { signElement } from "./sign.js";
import { StoreFull } from "./store.js";

// A finger that is still tapping trees must not give a verdict: the key waits for a pause.
const PAUSE_MS = 900;

const OUTCOME_SHAPES = { accepted: "right", not_accepted: "fault", open: "waiting", office: "begun" };

export const showVerdict = (root, app, session) => {
  const screen = { root, app, session, isKeeping: false, problem: null, kept: null };
  draw(screen);
  const awaitPause = waitForPause(root);
  root.querySelector("h1").focus({ preventScroll: true });
  window.scrollTo({ top: 0, behavior: "instant" });
  return {
    redraw: () => draw(screen),
    refresh: () => screen.kept.replaceChildren(keptWords(app.state, app.words)),
    leave: awaitPause,
  };
};

const draw = (screen) => {
  const { root, app, session } = screen;
  const { words } = app;
  const { pkg, view } = session;
  document.title = words.say("verdict.title", { lot: words.of(pkg.name) });
  screen.kept = make("p", { class: "tree-saved" }, keptWords(app.state, words));
  root.replaceChildren(
    make(
      "div",
      { class: "contents verdict-screen" },
      make(
        "div",
        { class: "screen-head" },
        view.lastScored && !isClosed(view) ? undoKey(screen) : null,
        make("h1", { tabindex: "-1" }, document.title),
        screen.kept,
        make("p", {}, [pkg.block, pkg.crew].join(" / ")),
      ),
      view.sealed ? null : signElement(sign(screen)),
      screen.problem ? message(screen.problem, { isProblem: true }) : null,
      ...(view.givenUp ? givenUp(screen) : outcome(screen)),
      section(words.say("verdict.stages"), stageList(screen)),
      section(words.say("verdict.trees"), treeList(screen)),
    ),
  );
};

const sign = ({ session, app }) => {
  const { words } = app;
  const stop = { state: "stop", words: words.say("sign.stop") };
  if (session.view.givenUp) {
    return { ...stop, reason: words.say("verdict.given_up_short") };
  }
  // The reason of a stop stands below, beside the verdict itself.
  return session.view.nextTree === null
    ? { ...stop, reason: words.say("verdict.all_decided") }
    : signOf(session.pkg, session.view, words);
};

// Nothing that is entered now would count any more.
const isClosed = ({ sealed, givenUp }) => sealed || givenUp;

const outcome = (screen) => {
  const { app, session } = screen;
  const { words } = app;
  const { pkg, view } = session;
  const parts = [
    outcomeLine(view.outcome, words),
    make("p", { class: "lead" }, sentence(lotReason(pkg, view.standings, words))),
  ];
  if (view.sealed) {
    return [
      ...parts,
      message(words.say("verdict.given")),
      key(words.say("verdict.to_lots"), () => app.go("#/lots"), { main: true, shape: "onward" }),
    ];
  }
  if (view.nextTree) {
    const go = () => app.go(`#/audit/${session.id}`);
    return [...parts, key(words.say("tree.on_to_next"), go, { main: true, shape: "onward" })];
  }
  return [
    ...parts,
    make("p", {}, words.say("verdict.can_change")),
    key(words.say("verdict.give"), () => seal(screen), { main: true, shape: "halt", "data-seal": true }),
    make("p", { class: "aside" }, words.say("verdict.will_be_sent")),
  ];
};

const givenUp = ({ app }) => {
  const { words, go } = app;
  return [
    make("p", { class: "lead" }, words.say("verdict.given_up")),
    key(words.say("verdict.to_lots"), () => go("#/lots"), { main: true, shape: "onward" }),
  ];
};

const outcomeLine = (value, words) =>
  make(
    "p",
    { class: `field-outcome field-outcome-${value}`, "data-outcome": value },
    shape(OUTCOME_SHAPES[value]),
    make("span", {}, words.term("outcome", value)),
  );

const stageList = ({ app, session }) => {
  const { words } = app;
  const { pkg, view } = session;
  return make(
    "ul",
    { class: "field-lines" },
    ...view.standings.map((standing) =>
      make(
        "li",
        {},
        make("h3", {}, words.term("stage", standing.stage)),
        outcomeLine(standing.outcome, words),
        make("p", {}, sentence(stageReason(pkg, standing, words))),
      ),
    ),
  );
};

// Every tree that was answered, open to change until the verdict is given.
const treeList = ({ app, session }) => {
  const { words } = app;
  const { pkg, view, id } = session;
  const trees = view.walk.filter((tree) => view.answered.has(tree.id));
  if (trees.length === 0) {
    return make("p", {}, words.say("verdict.no_trees"));
  }
  const line = (tree) => {
    const { order, place, side } = placeOf(pkg, view.walk, tree, words);
    const parts = [
      make("strong", {}, words.say("verdict.tree", { order, place })),
      make("span", {}, side),
      make("span", {}, treeWords(view.scores.get(tree.id), words)),
    ];
    return make(
      "li",
      {},
      isClosed(view)
        ? make("div", { class: "tree-line" }, ...parts)
        : make(
            "button",
            { type: "button", class: "button tree-line", onclick: () => app.go(`#/audit/${id}/tree/${tree.id}`) },
            ...parts,
          ),
    );
  };
  return make("ul", { class: "field-lines" }, ...trees.map(line));
};

const treeWords = (scores, words) => {
  const faulty = Object.entries(scores).filter(([, { result }]) => result === "nonconforming");
  if (faulty.length === 0) {
    return words.say("verdict.no_fault");
  }
  return faulty
    .map(([stage, { faults }]) => {
      const names = faults.map((fault) => words.term("fault", fault)).join(", ");
      return words.say("verdict.stage_faults", { stage: words.term("stage", stage), faults: names });
    })
    .join("; ");
};

const undoKey = ({ app, session }) =>
  make(
    "button",
    { type: "button", class: "undo", onclick: () => app.go(`#/audit/${session.id}/tree/${session.view.lastScored.id}`) },
    shape("undo"),
    make("span", {}, app.words.say("tree.undo")),
  );

const seal = async (screen) => {
  const { app, session } = screen;
  const { words } = app;
  if (screen.isKeeping) {
    return;
  }
  screen.isKeeping = true;
  try {
    await session.record("seal", { outcomes: sealedOutcomes(session.view) });
    screen.problem = null;
    app.speak(words.say("verdict.given"));
    feel(STOP);
  } catch (error) {
    app.report(error);
    screen.problem = error instanceof StoreFull ? words.say("verdict.store_full") : words.say("verdict.store_failed");
  } finally {
    screen.isKeeping = false;
  }
  draw(screen);
  window.scrollTo({ top: 0, behavior: "instant" });
  screen.root.querySelector("h1").focus({ preventScroll: true });
};

// Takes no taps until there was none for a moment; keys of a keyboard are slow enough by themselves.
const waitForPause = (root) => {
  let waiting = 0;
  const open = () => {
    stop();
    root.classList.remove("is-settling");
  };
  const again = () => {
    clearTimeout(waiting);
    waiting = setTimeout(open, PAUSE_MS);
  };
  const stop = () => {
    clearTimeout(waiting);
    document.removeEventListener("pointerdown", again, true);
  };
  root.classList.add("is-settling");
  document.addEventListener("pointerdown", again, true);
  again();
  return open;
};
