// How an auditor reads a practice tree after its cuts: the measures that the scoring engine takes,
// as `answers_of` of audits/practice/pruning.py finds them. A test keeps the two together.
//
//   Cuts = { top: id | null, limbs: [key], sides: [key], heads: { limbKey: headId } }

import { keptLength, roundTo } from "../field/numbers.js";
import { scoreStage } from "../field/scoring.js";

// A top that ends this little above a union ends at the side branch (common practice, no source).
const AT_SIDE_BRANCH_MM = 40;
const STAGES = ["top", "limbs", "columns", "heading"];
const SIDE_FAULTS = { fork: "fork", side: "side_branch", upright: "upright" };
// In the order in which the engine names them.
const COLUMN_FAULTS = ["fork", "side_branch", "upright", "tip_shortened"];

export const NOTHING_CUT = { top: null, limbs: [], sides: [], heads: {} };

// Result and faults of each stage in use.
export const judge = (pack, tree, cuts) => {
  const answers = answersOf(pack, tree, cuts);
  return Object.fromEntries(
    Object.entries(answers).map(([stage, answer]) => [stage, scoreStage(pack.stages[stage], answer, null)]),
  );
};

export const answersOf = (pack, tree, cuts) =>
  Object.fromEntries(STAGES.filter((stage) => stage in pack.stages).map((stage) => [stage, MEASURES[stage](pack, tree, cuts)]));

const MEASURES = {
  top: (_pack, tree, cuts) => {
    const topped = cuts.top !== null;
    return {
      kind: "top",
      height_mm: keptLength(heightOf(tree, cuts)),
      topped,
      to_side_branch: topLimb(tree, cuts) !== null,
      leader_young: topped && !tree.top.reaches_target,
    };
  },
  limbs: (_pack, tree, cuts) => {
    const below = limbsLeft(tree, { ...cuts, limbs: [] });
    const isOut = ({ key }) => cuts.limbs.includes(key);
    return {
      kind: "limbs",
      cut_mm: below.filter(isOut).map(({ mm }) => mm),
      standing_mm: below.filter((limb) => !isOut(limb)).map(({ mm }) => mm),
      faults: [],
    };
  },
  columns: (pack, tree, cuts) => {
    const lookedAt = columnsLookedAt(pack, tree, cuts);
    const wrong = lookedAt.map((limb) => columnFaults(limb, cuts));
    return {
      kind: "columns",
      looked_at: lookedAt.length,
      single: wrong.filter((faults) => faults.length === 0).length,
      faults: COLUMN_FAULTS.filter((fault) => wrong.some((faults) => faults.includes(fault))),
    };
  },
  heading: (pack, tree, cuts) => {
    const lookedAt = headingLookedAt(pack, tree, cuts);
    const cut = lookedAt.map((limb) => headOf(limb, cuts)).filter((head) => head !== null);
    return {
      kind: "heading",
      diameters_mm: cut.map(({ mm }) => roundTo(mm, 1)),
      left_long: lookedAt.length - cut.length,
    };
  },
};

// --- what is left --------------------------------------------------------------------------------

export const topCut = (tree, cuts) => tree.tops.find(({ id }) => id === cuts.top) ?? null;

export const limbsLeft = (tree, cuts) => {
  const cut = topCut(tree, cuts);
  return tree.limbs.filter(
    (limb) => !cuts.limbs.includes(limb.key) && (cut === null || limb.union_mm <= cut.at_mm),
  );
};

export const headOf = (limb, cuts) => limb.heads.find(({ id }) => id === cuts.heads[limb.key]) ?? null;

// The side branches that a limb still has.
export const sidesLeft = (limb, cuts) => {
  const head = headOf(limb, cuts);
  return limb.sides.filter(
    ({ key, along }) => !cuts.sides.includes(key) && (head === null || along <= Math.min(head.at, 1)),
  );
};

// The side branch at which the leader's cut ends; null where the leader is whole or its cut blunt.
const topLimb = (tree, cuts) => {
  const cut = topCut(tree, cuts);
  const left = limbsLeft(tree, cuts);
  if (cut === null || left.length === 0) {
    return null;
  }
  const highest = left.reduce((one, other) => (other.union_mm > one.union_mm ? other : one));
  return cut.at_mm - highest.union_mm <= AT_SIDE_BRANCH_MM ? highest : null;
};

const heightOf = (tree, cuts) => {
  const heights = limbsLeft(tree, cuts).flatMap((limb) => [
    headOf(limb, cuts)?.highest_mm ?? limb.highest_mm,
    ...sidesLeft(limb, cuts).map((side) => side.highest_mm),
  ]);
  return Math.max(topCut(tree, cuts)?.at_mm ?? tree.top.tall_mm, ...heights);
};

// --- what is looked at ---------------------------------------------------------------------------

const seen = (tree, cuts) =>
  limbsLeft(tree, cuts).filter(({ side }) => tree.side === "both" || side === tree.side);

export const columnsLookedAt = (pack, tree, cuts) => spread(seen(tree, cuts), pack.stages.columns.rule.branches);

export const headingLookedAt = (pack, tree, cuts) => {
  const { rule } = pack.stages.heading;
  const counts = rule.rule === "forbidden" ? ({ key }) => key in cuts.heads : ({ due }) => due;
  return spread(seen(tree, cuts).filter(counts), rule.looked_at);
};

export const columnFaults = (limb, cuts) => {
  const faults = sidesLeft(limb, cuts)
    .filter(({ counts }) => counts)
    .map(({ kind }) => SIDE_FAULTS[kind]);
  return limb.key in cuts.heads && !limb.due ? [...faults, "tip_shortened"] : faults;
};

// Evenly from the lowest to the highest.
export const spread = (limbs, count) => {
  if (limbs.length <= count) {
    return limbs;
  }
  const step = limbs.length / count;
  return Array.from({ length: count }, (_, place) => limbs[Math.floor((place + 0.5) * step)]);
};
