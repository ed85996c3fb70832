// What stands on the tree screen, as plain data: which tiles are chosen, what was missed, what was
// measured. It is read from stored answers, put onto the screen, read from it, and kept while a
// language is changed or the page is loaded again in the middle of a tree.
//
//   { missed: null | "tree" | "side", tiles: { top: { value, faults } }, measures: { limbs: measure },
//     gauge: number of a printed gauge, null for one's own, undefined where none was asked for }

import { answersFrom } from "./audit.js";
import { hasDiameters, scoreStage } from "./scoring.js";

export const EMPTY = { missed: null, tiles: {}, measures: {} };

export const entryOf = (pkg, answers) => {
  const gauge = hasDiameters(answers.stages) ? (answers.gauge ?? null) : undefined;
  const entry = { missed: answers.missed ?? null, tiles: {}, measures: {}, gauge };
  for (const stage of pkg.stages) {
    const answer = answers.stages[stage.stage];
    if (answer?.kind === "class") {
      entry.tiles[stage.stage] = { value: tileOf(stage, answer), faults: answer.faults ?? [] };
    } else if (answer) {
      entry.measures[stage.stage] = answer;
      entry.tiles[stage.stage] = tileOfMeasure(stage, answer);
    }
  }
  return entry;
};

// The tile that says the same as a measure, so that the row of tiles shows it; null where none does.
export const tileOfMeasure = (stage, answer) => {
  const { result, faults } = scoreStage(stage, answer, null);
  const same = Object.entries(stage.tiles).filter(([, tile]) => tile.result === result);
  const cuts = answer.cut_mm?.length ?? null;
  const [value] = same.find(([, tile]) => tile.answer.removed === cuts) ?? same[0] ?? [null];
  return value === null ? null : { value, faults };
};

// As `answersFrom` says: { answers } or { problems }.
export const answersOf = (pkg, entry, skippable) => {
  const form = {
    get: (name) => (name === "kept_missed" ? entry.missed : (entry.tiles[name]?.value ?? null)),
    getAll: (name) => entry.tiles[name.replace(/_faults$/, "")]?.faults ?? [],
  };
  return answersFrom(pkg, form, skippable, entry.measures, entry.gauge ?? null);
};

const tileOf = (stage, { tap, removed = null }) => {
  const found = Object.entries(stage.tiles).find(
    ([, { answer }]) => answer.tap === tap && (answer.removed ?? null) === removed,
  );
  return found?.[0] ?? null;
};
