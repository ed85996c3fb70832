// What the answers on a tree come to, stage by stage: results and faults, as audits/scoring.py
// finds them. Tiles are looked up in the table that the office sent; measures are held against the
// numbers of the standard, guard bands included.

import { keptLength } from "./numbers.js";

export const CONFORMING = "conforming";
export const NONCONFORMING = "nonconforming";
export const NOT_DUE = "not_due";
export const NOT_SCORED = "not_scored";

// Each stage's faults in the order in which they are named.
export const FAULTS = {
  top: ["high", "low", "blunt", "leader_young"],
  limbs: [
    "too_few",
    "too_many",
    "wrong_limb",
    "flush_cut",
    "low_stub",
    "long_stub",
    "torn_bark",
  ],
  columns: ["fork", "side_branch", "upright", "tip_shortened", "spurs_stripped"],
  heading: ["thick", "thin", "left_long", "forbidden"],
};

// The fields of measures that hold diameters.
const DIAMETERS = ["cut_mm", "standing_mm", "diameters_mm"];

const MOST_COUNTED = 12;
const MOST_REMOVED = 20;
const THICKEST_LIMB_MM = 200;
const THICKEST_END_MM = 100;
const TALLEST_MM = 15000;

// An answer that does not fit its stage, with the key of the sentence that says so; the office would
// not take it either.
export class RefusedAnswer extends Error {}

// The result and the faults of one stage. `stage` is its part of the package, `answer` what was
// entered for it, if anything, and `missed` what the crew walked past: null, "tree" or "side".
export function scoreStage(stage, answer, missed) {
  const asMissed = missed ? stage.missed[missed] : null;
  if (asMissed) {
    return asMissed;
  }
  if (!answer) {
    return scored(NOT_SCORED);
  }
  if (answer.kind === "class") {
    return scoreTile(stage, answer);
  }
  require(answer.kind === stage.stage);
  return MEASURES[answer.kind](stage, answer);
}

// The one length that was measured at a stage, in mm; null where there is none.
export function measuredValue(stage, answer, missed) {
  if (!answer || (missed && stage.missed[missed])) {
    return null;
  }
  if (answer.kind === "top") {
    return answer.height_mm;
  }
  const one = answer.kind === "heading" && answer.diameters_mm.length === 1 && !answer.left_long;
  return one ? answer.diameters_mm[0] : null;
}

// Whether answers by stage have any diameter, as `has_diameters` of audits/scoring.py tells it.
export function hasDiameters(stages) {
  return Object.values(stages).some((answer) => DIAMETERS.some((name) => answer[name]?.length > 0));
}

function scoreTile(stage, { tap, faults = [], removed = null }) {
  require(removed === null || isCount(removed, MOST_REMOVED));
  if (tap === "fault") {
    require(faults.length > 0, "problem.name_the_fault");
    require(faults.every((fault) => stage.faults.includes(fault)));
    return failed(named(stage, faults));
  }
  require(faults.length === 0);
  const tile = Object.values(stage.tiles).find(
    ({ answer }) => answer.tap === tap && (answer.removed ?? null) === removed,
  );
  require(tile !== undefined);
  return scored(tile.result);
}

const MEASURES = { top: scoreTop, limbs: scoreLimbs, columns: scoreColumns, heading: scoreHeading };

function scoreTop(stage, answer) {
  const { rule } = stage;
  const { height_mm: height, topped = true, to_side_branch: toSideBranch = true } = answer;
  require(isLength(height, TALLEST_MM));
  if (!topped && height < rule.target_mm) {
    return scored(NOT_DUE);
  }
  const [lowest, highest] = rule.band_mm;
  return ofFaults({
    high: height > highest,
    low: height < lowest,
    blunt: topped && !toSideBranch && rule.asks_side_branch,
    leader_young: topped && answer.leader_young,
  });
}

function scoreLimbs(stage, { cut_mm: cuts = [], standing_mm: standing = [], faults = [] }) {
  const { rule } = stage;
  require([...cuts, ...standing].every((mm) => isLength(mm, THICKEST_LIMB_MM)));
  // A cut on the line counts whichever way helps the person who made it.
  const surelyLarge = cuts.filter((cut) => cut >= rule.surely_large_mm).length;
  const removed = cuts.filter((cut) => cut > rule.surely_small_mm);
  const largeLeft = standing.some((limb) => limb >= rule.surely_large_mm);
  const thicker =
    removed.length > 0 &&
    standing.length > 0 &&
    keptLength(Math.max(...standing) - Math.min(...removed)) >= rule.wrong_limb_mm;
  const counted = {
    too_few: removed.length < rule.least && largeLeft,
    too_many: surelyLarge > rule.most,
    wrong_limb: thicker,
  };
  const seen = named(stage, faults).map((fault) => [fault, true]);
  return ofFaults({ ...counted, ...Object.fromEntries(seen) });
}

function scoreColumns(stage, { looked_at: lookedAt, single, faults = [] }) {
  const { rule } = stage;
  require(isCount(lookedAt, MOST_COUNTED) && isCount(single, MOST_COUNTED));
  require(single <= lookedAt, "problem.too_many_singles");
  if (lookedAt === 0) {
    return scored(NOT_DUE);
  }
  // With fewer branches on the side, the same share must be single.
  if (single >= Math.ceil((lookedAt * rule.least_single) / rule.branches)) {
    return scored(CONFORMING);
  }
  require(faults.length > 0, "problem.name_the_fault");
  return failed(named(stage, faults));
}

function scoreHeading(stage, { diameters_mm: diameters = [], left_long: leftLong = 0 }) {
  const { rule } = stage;
  require(diameters.every((mm) => isLength(mm, THICKEST_END_MM)) && isCount(leftLong, MOST_COUNTED));
  if (rule.rule === "forbidden") {
    return diameters.length > 0 ? failed(["forbidden"]) : scored(CONFORMING);
  }
  const lookedAt = diameters.length + leftLong;
  if (lookedAt === 0) {
    return scored(NOT_DUE);
  }
  require(lookedAt <= rule.looked_at, "problem.too_many_ends");
  const [thinTo, thickFrom] = rule.limits_mm;
  const thick = diameters.filter((mm) => mm >= thickFrom).length;
  const thin = diameters.filter((mm) => mm < thickFrom && mm <= thinTo).length;
  const allowed = lookedAt >= rule.few ? rule.most_wrong : 0;
  if (thick + thin + leftLong <= allowed) {
    return scored(CONFORMING);
  }
  return ofFaults({ thick: thick > 0, thin: thin > 0, left_long: leftLong > 0 });
}

function named(stage, faults) {
  const known = FAULTS[stage.stage];
  require(faults.every((fault) => known.includes(fault)));
  return known.filter((fault) => faults.includes(fault));
}

function ofFaults(seen) {
  const faults = Object.values(FAULTS).flat().filter((fault) => seen[fault]);
  return faults.length > 0 ? failed(faults) : scored(CONFORMING);
}

const scored = (result) => ({ result, faults: [] });
const failed = (faults) => ({ result: NONCONFORMING, faults });

const isLength = (mm, longest) => typeof mm === "number" && mm > 0 && mm <= longest;
const isCount = (count, most) => Number.isInteger(count) && count >= 0 && count <= most;

function require(holds, key = "problem.no_such_tile") {
  if (!holds) {
    throw new RefusedAnswer(key);
  }
}
