// Where on a tree a fault is: the step whose picture shows it, and the places to ring on it.
//
//   { stage, fault, step, ids: [place] }

import { columnFaults, columnsLookedAt, headingLookedAt, headOf, limbsLeft, sidesLeft } from "./answers.js";

const SIDE_KINDS = { fork: "fork", side_branch: "side", upright: "upright" };

export const faultPlaces = (pack, tree, cuts, stage, fault) => PLACES[stage](pack, tree, cuts, fault);

const place = (stage, limb, ids) => ({ step: { stage, limb }, ids });

const PLACES = {
  // Without a cut it is the tip that stands too high.
  top: (_pack, tree, cuts) => place("top", null, [cuts.top ?? tree.tops[0].id]),
  limbs: (pack, tree, cuts, fault) => place("limbs", null, LIMBS[fault]?.(pack, tree, cuts) ?? []),
  columns: (pack, tree, cuts, fault) => {
    const limb = columnsLookedAt(pack, tree, cuts).find((one) => columnFaults(one, cuts).includes(fault));
    if (fault === "tip_shortened") {
      return place("heading", limb.key, [cuts.heads[limb.key]]);
    }
    const wrong = sidesLeft(limb, cuts).filter(({ kind, counts }) => counts && kind === SIDE_KINDS[fault]);
    return place("columns", limb.key, wrong.map(({ key }) => key));
  },
  heading: (pack, tree, cuts, fault) => {
    const { rule } = pack.stages.heading;
    const lookedAt = headingLookedAt(pack, tree, cuts);
    const isWrong = {
      thick: (head) => head !== null && head.mm >= rule.limits_mm[1],
      thin: (head) => head !== null && head.mm <= rule.limits_mm[0],
      left_long: (head) => head === null,
      forbidden: (head) => head !== null,
    }[fault];
    const limb = lookedAt.find((one) => isWrong(headOf(one, cuts)));
    const id = cuts.heads[limb.key] ?? tree.ideal.all?.heads?.[limb.key] ?? limb.heads[0]?.id;
    return place("heading", limb.key, id ? [id] : []);
  },
};

const byThickness = (limbs) => [...limbs].sort((one, other) => other.mm - one.mm);
const cutLimbs = (tree, cuts) =>
  limbsLeft(tree, { ...cuts, limbs: [] }).filter(({ key }) => cuts.limbs.includes(key));

const LIMBS = {
  // What still stands and is large: the thickest first, one is enough to see it.
  too_few: (_pack, tree, cuts) => byThickness(limbsLeft(tree, cuts)).slice(0, 1).map(({ key }) => key),
  // The thinnest of those taken should have stayed.
  too_many: (pack, tree, cuts) =>
    byThickness(cutLimbs(tree, cuts))
      .filter(({ mm }) => mm >= pack.stages.limbs.rule.surely_large_mm)
      .slice(pack.stages.limbs.rule.most)
      .map(({ key }) => key),
  wrong_limb: (_pack, tree, cuts) => byThickness(limbsLeft(tree, cuts)).slice(0, 1).map(({ key }) => key),
};
