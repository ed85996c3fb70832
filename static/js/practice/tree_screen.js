// A tree to prune, one step a screen, then what came of it, one thing a screen.
//
// A walk is plain data, kept behind every press, so that a page loaded again goes on with it:
//   { kind: "tree", id, level, stages, cuts, past: [{ cuts, at }], at, selected, cards, card, shows }

import { feel, FAULT, TAP } from "../feel.js";
import { make, shape } from "../field/elements.js";
import { CONFORMING, NONCONFORMING } from "../field/scoring.js";
import { sayIfAsked } from "./aloud.js";
import { judge } from "./answers.js";
import { faultPlaces } from "./faults.js";
import { bigKey, heading, topLine } from "./frame.js";
import { courseOf, makePicture, makeShowing } from "./picture.js";
import { picture } from "./pictures.js";
import { afterTree } from "./schedule.js";
import { placesOf, stepsOf, toggled, viewOf } from "./steps.js";

const MOST_UNDONE = 50;

export const showTree = (root, app, walk) => {
  const { words, pack } = app;
  const tree = pack.trees.find(({ id }) => id === walk.id);
  const start = startOf(tree, walk);
  walk.cuts ??= start;
  walk.past ??= [];
  walk.at ??= 0;
  let drawn = null;
  let isBusy = false;

  const steps = () => stepsOf(pack, tree, walk.stages, walk.cuts);
  const step = () => steps()[walk.at];
  const stageWords = (group, stage) => words.of(pack.words[group][stage]);

  // --- pruning -----------------------------------------------------------------------------------

  const change = (changes) => {
    walk.past = [...walk.past, { cuts: walk.cuts, at: walk.at, selected: walk.selected }].slice(-MOST_UNDONE);
    Object.assign(walk, changes);
    app.keepOpen(walk);
  };

  const select = (id, { byKey }) => {
    walk.selected = id;
    app.keepOpen(walk);
    refreshStep();
    if (!byKey) {
      feel(TAP);
    }
    // A screen reader reads the place itself where the picture has the focus.
    if (document.activeElement !== drawn.picture.element) {
      app.speak(placeWords(selectedPlace()));
    }
    sayIfAsked([placeWords(selectedPlace())], words.language);
  };

  const placeWords = (place) =>
    place ? [words.of(place.words), place.isCut ? words.say("place.is_cut") : null].filter(Boolean).join(": ") : "";

  const places = () => placesOf(tree, step(), walk.cuts);
  const selectedPlace = () => places().find(({ id }) => id === walk.selected);

  const act = () => {
    const place = selectedPlace();
    if (!place) {
      return;
    }
    change({ cuts: toggled(step(), walk.cuts, place.id) });
    feel(TAP);
    app.speak(words.say(place.isCut ? "act.was_put_back" : "act.was_cut"));
    refreshStep();
  };

  const undo = () => {
    const before = walk.past.at(-1);
    if (!before) {
      return;
    }
    const stepBefore = walk.at;
    Object.assign(walk, before, { past: walk.past.slice(0, -1) });
    app.keepOpen(walk);
    app.speak(words.say("act.was_undone"));
    if (walk.at === stepBefore) {
      refreshStep();
    } else {
      drawStep();
    }
  };

  const movePlace = (by) => {
    const all = places();
    const at = all.findIndex(({ id }) => id === walk.selected) + by;
    if (all[at]) {
      select(all[at].id, { byKey: false });
    }
  };

  const goOn = async () => {
    if (walk.at + 1 < steps().length) {
      change({ at: walk.at + 1, selected: null });
      drawStep();
      return;
    }
    if (!isBusy) {
      isBusy = true;
      await finish().finally(() => (isBusy = false));
    }
  };

  const finish = async () => {
    const { level, stages, cuts } = walk;
    const results = judge(pack, tree, cuts);
    const right = Object.fromEntries(stages.map((stage) => [stage, results[stage].result !== NONCONFORMING]));
    try {
      await app.finish(
        {
          kind: "tree",
          method: pack.method,
          edition: pack.edition,
          tree_seed: tree.seed,
          tree_kind: tree.kind,
          level,
          stages,
          cuts,
        },
        afterTree(pack, app.progress, walk, right),
      );
    } catch (error) {
      console.warn(error);
      drawn.problem.textContent = words.say("practice.not_kept");
      return;
    }
    walk.cards = cardsOf(stages, results);
    walk.card = 0;
    walk.shows = false;
    drawCard();
  };

  const drawStep = () => {
    drawn?.picture.leave();
    const here = step();
    walk.selected ??= places()[0]?.id ?? null;
    const goal = stageWords("goal", here.stage);
    document.title = goal;
    const view = makePicture({ label: goal, onSelect: select, onAct: act, onUndo: undo });
    const course = courseOf(places());
    const [back, on] = { down: ["up", "down"], up: ["down", "up"], right: ["left", "right"], left: ["right", "left"] }[course];
    const mover = (direction, by) =>
      bigKey(words.say(`move.${direction}`), () => movePlace(by), { shape: picture(direction), css: "practice-move", "data-move": by });
    const title = heading(goal);
    const keys = {
      back: mover(back, -1),
      act: bigKey("", act, { shape: picture("shears"), css: "button-main practice-act", "data-act": true }),
      on: mover(on, 1),
      undo: bigKey(words.say("act.undo"), undo, { shape: shape("undo"), "data-undo": true }),
      done: bigKey("", goOn, { "data-done": true }),
    };
    const problem = make("p", { class: "field-problem", role: "alert" });
    drawn = { picture: view, keys, problem };
    root.replaceChildren(
      make(
        "div",
        { class: "practice-screen", "data-step": [here.stage, here.limb].filter(Boolean).join("/") },
        topLine(app, whereWords(), () => [words.of(tree.words), goal, stageWords("do", here.stage), placeWords(selectedPlace())]),
        title,
        view.element,
        make(
          "div",
          { class: "practice-keys" },
          problem,
          make("p", { class: "only-spoken", "data-spoken-help": true }, words.say("practice.keyboard")),
          make("div", { class: "practice-row" }, keys.back, keys.act, keys.on),
          make("div", { class: "practice-row" }, keys.undo, keys.done),
        ),
      ),
    );
    refreshStep();
    view.element.focus({ preventScroll: true });
    app.speak([words.of(tree.words), goal].join(" "));
    sayIfAsked([goal, stageWords("do", here.stage)], words.language);
  };

  const whereWords = () => {
    const all = steps();
    return [words.term("level", walk.level), all.length > 1 ? words.say("step.of", { at: walk.at + 1, all: all.length }) : null]
      .filter(Boolean)
      .join(", ");
  };

  const refreshStep = () => {
    const here = step();
    const all = places();
    const chosen = selectedPlace();
    const at = all.indexOf(chosen) >= 0 ? all.indexOf(chosen) : all.findIndex(({ id }) => id === walk.selected);
    drawn.picture.show(tree, viewOf(tree, here), { cuts: walk.cuts, places: all, selected: walk.selected, words: placeWords });
    const { keys } = drawn;
    keys.act.classList.toggle("button-main", !chosen?.isCut);
    keys.done.classList.toggle("button-main", Boolean(chosen?.isCut));
    setWords(keys.act, words.say(chosen?.isCut ? "act.put_back" : `act.${here.stage}`));
    keys.act.hidden = all.length === 0;
    keys.back.hidden = all.length < 2;
    keys.on.hidden = all.length < 2;
    setDisabled(keys.back, at <= 0);
    setDisabled(keys.on, at >= all.length - 1);
    setDisabled(keys.undo, walk.past.length === 0);
    setWords(keys.done, words.say(all.some(({ isCut }) => isCut) ? "act.done" : "act.leave"));
  };

  // --- what came of it ---------------------------------------------------------------------------

  const cardsOf = (stages, results) =>
    pack.order
      .filter((stage) => stages.includes(stage))
      .flatMap((stage) => {
        const { result, faults } = results[stage];
        return result === NONCONFORMING ? faults.map((fault) => ({ stage, result, fault })) : [{ stage, result, fault: null }];
      });

  const drawCard = () => {
    drawn?.picture.leave();
    const card = walk.cards[walk.card];
    const isFault = card.fault !== null;
    const place = isFault ? faultPlaces(pack, tree, walk.cuts, card.stage, card.fault) : { step: firstStep(card.stage), ids: [] };
    const ideal = idealOf(tree, walk);
    const fault = isFault ? pack.words.fault[card.fault] : null;
    const name = isFault ? words.of(fault.name) : words.say(card.result === CONFORMING ? "result.right" : "result.nothing_due");
    const [why, next] = isFault ? [words.of(fault.why), words.of(fault.do)] : [words.of(pack.words.goal[card.stage]), null];
    const view = makeShowing(name);
    document.title = name;
    const title = heading("");
    title.append(shape(isFault ? "fault" : card.result === CONFORMING ? "right" : "nothing_due"), make("span", {}, name));
    title.classList.add(isFault ? "is-fault" : "is-right");
    const toggle = isFault ? bigKey("", () => showHow(!walk.shows), { "data-how": true, "aria-pressed": "false" }) : null;
    const isLast = walk.card + 1 >= walk.cards.length;
    drawn = { picture: view, keys: {} };
    const showHow = (shows) => {
      walk.shows = shows;
      const cuts = shows ? ideal : walk.cuts;
      // Where the branch of the fault is gone in the ideal tree, its place still shows where.
      view.show(tree, viewOf(tree, place.step), { cuts, rings: shows ? idealIds(place, ideal) : place.ids, isIdeal: shows });
      if (toggle) {
        setWords(toggle, words.say(shows ? "result.show_mine" : "result.show_how"));
        toggle.setAttribute("aria-pressed", String(shows));
      }
    };
    root.replaceChildren(
      make(
        "div",
        { class: "practice-screen practice-result" },
        topLine(app, words.term("stage", card.stage), () => [name, why, next]),
        title,
        view.element,
        make(
          "div",
          { class: "practice-keys" },
          make("p", { class: "practice-why" }, why),
          next ? make("p", { class: "practice-next" }, next) : null,
          make(
            "div",
            { class: "practice-row" },
            toggle,
            bigKey(words.say(isLast ? "result.next_tree" : "result.next"), isLast ? () => app.next() : nextCard, {
              shape: shape("onward"),
              css: "button-main",
              "data-next": true,
            }),
          ),
        ),
      ),
    );
    showHow(walk.shows);
    title.focus({ preventScroll: true });
    if (isFault) {
      feel(FAULT);
    }
    sayIfAsked([name, why, next], words.language);
  };

  const nextCard = () => {
    walk.card += 1;
    walk.shows = false;
    drawCard();
  };

  const firstStep = (stage) =>
    stepsOf(pack, tree, walk.stages, walk.cuts).find((one) => one.stage === stage) ?? { stage: "top", limb: null };

  // On the ideal tree the places of its own cuts are ringed.
  const idealIds = ({ step: where }, ideal) =>
    placesOf(tree, where, ideal)
      .filter(({ isCut }) => isCut)
      .map(({ id }) => id);

  const redraw = () => (walk.cards ? drawCard() : drawStep());
  redraw();
  return { redraw, leave: () => drawn?.picture.leave() };
};

const keyOf = ({ level, stages }) => (level === "one" ? stages[0] : stages.join("+"));

const startOf = (tree, walk) => (walk.level === "all" ? tree.before.all : tree.before[walk.level][keyOf(walk)]);
const idealOf = (tree, walk) => (walk.level === "all" ? tree.ideal.all : tree.ideal[walk.level][keyOf(walk)]);

const setWords = (key, text) => (key.querySelector("span").textContent = text);
// Still reachable, so that the focus of a keyboard stays where it is.
const setDisabled = (key, is) => key.setAttribute("aria-disabled", String(is));
