// Measures of one stage by big - and + keys: they start where the standard wants the tree to be, so that
// a tree on the line costs no key at all. Held down, a key goes on by itself.
//
//   measuring(pkg, stage, { words, given })   stage of the package; given: a measure to change, or null
//     returns { element, read() }             read() gives the measure as audits/scoring.py takes it
//
//   measureWords(pkg, answer, words)          a measure in a few words, for the line of its stage
//   choices(title, names, chosen)             { element, chosen() }: names by value as a group to choose from

import { key, make, shape } from "./elements.js";
import { DIAMETER, HEIGHT, lengthWords } from "./lengths.js";
import { mmOf, stepsIn } from "./steps.js";

const HOLD_MS = 450;
const REPEAT_MS = 110;
const THICKEST_MM = 200;
const TALLEST_MM = 15_000;
const MOST_COUNTED = 12;

let made = 0;

export const measuring = (pkg, stage, { words, given }) =>
  FORMS[stage.stage](stage, { pkg, words, given });

export const measureWords = (pkg, answer, words) => {
  const lengths = (list) => list.map((mm) => lengthWords(pkg, words, mm, DIAMETER)).join(", ");
  switch (answer.kind) {
    case "top":
      return lengthWords(pkg, words, answer.height_mm, HEIGHT);
    case "limbs":
      return lengths(answer.cut_mm) || words.say("measure.none");
    case "columns":
      return words.say("measure.single_of", { single: answer.single, all: answer.looked_at });
    default:
      return lengths(answer.diameters_mm) || words.say("measure.none");
  }
};

const measureTop = ({ rule }, { pkg, words, given }) => {
  const height = lengthStepper(words.say("measure.height"), {
    words,
    pkg,
    kind: HEIGHT,
    startMm: given?.height_mm ?? rule.target_mm,
    mostMm: TALLEST_MM,
  });
  const cuts = rule.asks_side_branch
    ? { side_branch: words.say("measure.to_side_branch"), blunt: words.say("measure.blunt") }
    : { side_branch: words.say("measure.cut") };
  const cut = choices(words.say("measure.the_cut"), { ...cuts, uncut: words.say("measure.uncut") }, [
    given ? (!given.topped ? "uncut" : given.to_side_branch ? "side_branch" : "blunt") : "side_branch",
  ]);
  const young = choices(null, { young: words.term("fault", "leader_young") }, given?.leader_young ? ["young"] : [], {
    several: true,
  });
  return {
    element: make("div", { class: "measures" }, height.element, cut.element, young.element),
    read: () => ({
      kind: "top",
      height_mm: height.mm(),
      topped: cut.chosen()[0] !== "uncut",
      to_side_branch: cut.chosen()[0] !== "blunt",
      leader_young: young.chosen().length > 0,
    }),
  };
};

const measureLimbs = ({ rule }, { pkg, words, given }) => {
  const options = { words, pkg, startMm: rule.large_mm, most: MOST_COUNTED };
  const cut = lengthList(words.say("measure.fresh_cuts"), words.say("measure.add_cut"), {
    ...options,
    given: given?.cut_mm ?? Array(rule.least).fill(rule.large_mm),
  });
  const standing = lengthList(words.say("measure.standing"), words.say("measure.add_limb"), {
    ...options,
    given: given?.standing_mm ?? [],
  });
  const seen = faultChoices(words.say("measure.cut_faults"), words, CUT_FAULTS, given);
  return {
    element: make("div", { class: "measures" }, cut.element, standing.element, seen.element),
    read: () => ({ kind: "limbs", cut_mm: cut.mm(), standing_mm: standing.mm(), faults: seen.chosen() }),
  };
};

const measureColumns = ({ rule, faults }, { words, given }) => {
  const lookedAt = stepper(words.say("measure.looked_at"), {
    words,
    start: given?.looked_at ?? rule.branches,
    most: MOST_COUNTED,
    show: String,
  });
  const single = stepper(words.say("measure.single"), {
    words,
    start: given?.single ?? rule.branches,
    most: () => lookedAt.value(),
    show: String,
  });
  lookedAt.whenChanged(() => single.refresh());
  const seen = faultChoices(words.say("measure.other_faults"), words, faults, given);
  return {
    element: make("div", { class: "measures" }, lookedAt.element, single.element, seen.element),
    read: () => ({
      kind: "columns",
      looked_at: lookedAt.value(),
      single: single.value(),
      faults: seen.chosen(),
    }),
  };
};

const measureHeading = ({ rule }, { pkg, words, given }) => {
  const middle = (rule.thinnest_mm + rule.thickest_mm) / 2;
  let left = null;
  const cuts = lengthList(words.say("measure.behind_cuts"), words.say("measure.add_cut"), {
    words,
    pkg,
    startMm: middle,
    most: () => rule.looked_at - (left?.value() ?? 0),
    given: given?.diameters_mm ?? [middle],
  });
  left = stepper(words.say("measure.left_long"), {
    words,
    start: given?.left_long ?? 0,
    most: () => rule.looked_at - cuts.mm().length,
    show: String,
  });
  cuts.whenChanged(() => left.refresh());
  left.whenChanged(() => cuts.refresh());
  return {
    element: make("div", { class: "measures" }, cuts.element, left.element),
    read: () => ({ kind: "heading", diameters_mm: cuts.mm(), left_long: left.value() }),
  };
};

const FORMS = { top: measureTop, limbs: measureLimbs, columns: measureColumns, heading: measureHeading };

// Faults of the cuts themselves, which no count or diameter shows (webapp/auditing/measures.py).
const CUT_FAULTS = ["flush_cut", "low_stub", "long_stub", "torn_bark"];

const lengthStepper = (name, { words, pkg, kind, startMm, mostMm, extra = null }) => {
  const { units } = pkg;
  const part = stepper(name, {
    words,
    start: stepsIn(startMm, units, kind),
    least: 1,
    most: Math.floor(mostMm / mmOf(1, units, kind)),
    show: (steps) => lengthWords(pkg, words, mmOf(steps, units, kind), kind),
    extra,
  });
  return { ...part, mm: () => mmOf(part.value(), units, kind) };
};

const lengthList = (title, addWords, { words, pkg, startMm, most, given }) => {
  const parts = new Set();
  const rows = make("div", { class: "stepper-list" });
  const changed = [];
  const atMost = typeof most === "function" ? most : () => most;
  const add = (mm) => {
    const remove = make("button", { type: "button", class: "stepper-key stepper-remove" }, shape("fault"));
    const name = words.say("measure.numbered", { number: rows.childElementCount + 1, name: title });
    const part = lengthStepper(name, {
      words,
      pkg,
      kind: DIAMETER,
      startMm: mm,
      mostMm: THICKEST_MM,
      extra: remove,
    });
    remove.setAttribute("aria-label", words.say("measure.remove", { name }));
    remove.addEventListener("click", () => {
      parts.delete(part);
      part.element.remove();
      refresh();
      more.focus();
    });
    parts.add(part);
    rows.append(part.element);
    refresh();
  };
  const more = key(addWords, () => add(startMm), { shape: "plus" });
  const refresh = () => {
    more.hidden = parts.size >= atMost();
    changed.forEach((tell) => tell());
  };
  given.forEach(add);
  return {
    element: make("fieldset", { class: "fieldset" }, make("legend", {}, title), rows, more),
    mm: () => [...parts].map((part) => part.mm()),
    refresh: () => (more.hidden = parts.size >= atMost()),
    whenChanged: (tell) => changed.push(tell),
  };
};

const stepper = (name, { words, start, least = 0, most, show, extra = null }) => {
  const id = `stepper-${(made += 1)}`;
  const atMost = typeof most === "function" ? most : () => most;
  const changed = [];
  const value = make("output", { class: "stepper-value" });
  let now = start;
  const set = (wanted) => {
    now = Math.max(least, Math.min(atMost(), wanted));
    value.textContent = show(now);
  };
  const step = (by) => {
    set(now + by);
    changed.forEach((tell) => tell());
  };
  set(start);
  return {
    element: make(
      "div",
      { class: "stepper", role: "group", "aria-labelledby": id },
      make("span", { class: "stepper-name", id }, name),
      stepKey("minus", words.say("measure.less", { name }), () => step(-1)),
      value,
      stepKey("plus", words.say("measure.more", { name }), () => step(1)),
      extra,
    ),
    value: () => now,
    refresh: () => set(now),
    whenChanged: (tell) => changed.push(tell),
  };
};

const stepKey = (shapeName, label, step) => {
  let waiting = 0;
  let isRepeating = false;
  const stop = () => clearTimeout(waiting);
  const again = () => {
    isRepeating = true;
    step();
    waiting = setTimeout(again, REPEAT_MS);
  };
  return make(
    "button",
    {
      type: "button",
      class: "stepper-key",
      "aria-label": label,
      onpointerdown: () => {
        stop();
        isRepeating = false;
        waiting = setTimeout(again, HOLD_MS);
      },
      onpointerup: stop,
      onpointerleave: stop,
      onpointercancel: stop,
      oncontextmenu: (event) => event.preventDefault(),
      onclick: () => {
        stop();
        // A key that was held has stepped already.
        if (!isRepeating) {
          step();
        }
        isRepeating = false;
      },
    },
    shape(shapeName),
  );
};

const faultChoices = (title, words, faults, given) =>
  choices(
    title,
    Object.fromEntries(faults.map((fault) => [fault, words.term("fault", fault)])),
    given?.faults ?? [],
    { several: true },
  );

// One of several, or several, by name; `chosen` are the values to begin with.
export const choices = (title, names, chosen, { several = false } = {}) => {
  const group = `choice-${(made += 1)}`;
  const inputs = Object.entries(names).map(([value, name]) => {
    const input = make("input", { type: several ? "checkbox" : "radio", name: group, value });
    input.checked = chosen.includes(value);
    return [input, make("label", { class: "choice" }, input, make("span", {}, name))];
  });
  const boxes = make("div", { class: "choices choices-stacked" }, ...inputs.map(([, label]) => label));
  return {
    element: title ? make("fieldset", { class: "fieldset" }, make("legend", {}, title), boxes) : boxes,
    chosen: () => inputs.filter(([input]) => input.checked).map(([input]) => input.value),
  };
};
