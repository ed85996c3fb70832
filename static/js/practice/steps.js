// One thing a screen: the steps of a tree from its top down, and what can be cut at each of them.
//
//   { stage: "top" | "limbs", limb: null } or { stage: "columns" | "heading", limb: "7" }

import {
  columnsLookedAt,
  headingLookedAt,
  headOf,
  limbsLeft,
  sidesLeft,
  topCut,
} from "./answers.js";

const ON_A_BRANCH = ["columns", "heading"];

export const isOnABranch = (stage) => ON_A_BRANCH.includes(stage);

// Which branches come depends on what was cut before: only those that an auditor would look at.
export const stepsOf = (pack, tree, stages, cuts) =>
  pack.order
    .filter((stage) => stages.includes(stage))
    .flatMap((stage) =>
      isOnABranch(stage)
        ? orWhole(stage, branchesOf(pack, tree, cuts).map((limb) => ({ stage, limb: limb.key })))
        : [{ stage, limb: null }],
    );

// Where no branch is left to look at, the whole tree is shown with nothing to cut.
const orWhole = (stage, steps) => (steps.length > 0 ? steps : [{ stage, limb: null }]);

// From the top of the tree down. Branches whose end is due and branches whose end is not, so that
// both have to be told apart.
const branchesOf = (pack, tree, cuts) => {
  const unheaded = { ...cuts, heads: {} };
  const looked = new Set();
  if (pack.stages.columns) {
    columnsLookedAt(pack, tree, unheaded).forEach(({ key }) => looked.add(key));
  }
  if (pack.stages.heading) {
    headingLookedAt(pack, tree, unheaded).forEach(({ key }) => looked.add(key));
  }
  if (looked.size === 0) {
    // Heading is forbidden and no columns are asked for: any branch may be left alone.
    limbsLeft(tree, cuts)
      .filter(({ side }) => side === tree.side)
      .slice(0, pack.looked_at)
      .forEach(({ key }) => looked.add(key));
  }
  return limbsLeft(tree, cuts)
    .filter(({ key }) => looked.has(key) && tree.views.branches[key])
    .reverse();
};

export const viewOf = (tree, { stage, limb }) => {
  if (!isOnABranch(stage)) {
    return tree.views[stage];
  }
  return limb === null ? tree.views.limbs : tree.views.branches[limb];
};

export const limbOf = (tree, key) => tree.limbs.find((limb) => limb.key === key);

// The places of a step, in order: from the top of the tree down, from the trunk out.
//   { id, x, y, words, isCut }
export const placesOf = (tree, step, cuts) => {
  if (isOnABranch(step.stage) && step.limb === null) {
    return [];
  }
  const { places } = viewOf(tree, step);
  const at = new Map(places.map((place) => [place.id, place]));
  const put = (id, words, isCut) => {
    const place = at.get(id);
    return place ? [{ id, x: place.x, y: place.y, words, isCut }] : [];
  };
  switch (step.stage) {
    case "top":
      return tree.tops.flatMap(({ id, words }) => put(id, words, cuts.top === id));
    case "limbs":
      return limbsLeft(tree, { ...cuts, limbs: [] })
        .reverse()
        .flatMap(({ key, words }) => put(key, words, cuts.limbs.includes(key)));
    case "columns": {
      const limb = limbOf(tree, step.limb);
      return sidesLeft(limb, { ...cuts, sides: [] }).flatMap(({ key, words }) =>
        put(key, words, cuts.sides.includes(key)),
      );
    }
    default: {
      const limb = limbOf(tree, step.limb);
      return limb.heads.flatMap(({ id, words }) => put(id, words, cuts.heads[limb.key] === id));
    }
  }
};

// The cuts with one place of a step cut, or put back where it was.
export const toggled = (step, cuts, id) => {
  const other = (keys) => (keys.includes(id) ? keys.filter((key) => key !== id) : [...keys, id]);
  switch (step.stage) {
    case "top":
      return { ...cuts, top: cuts.top === id ? null : id };
    case "limbs":
      return { ...cuts, limbs: other(cuts.limbs) };
    case "columns":
      return { ...cuts, sides: other(cuts.sides) };
    default: {
      const { [step.limb]: before, ...heads } = cuts.heads;
      return { ...cuts, heads: before === id ? heads : { ...heads, [step.limb]: id } };
    }
  }
};

// Which pieces of a drawing are gone, and which marks of cuts stand on it, by their keys.
export const drawnWith = (tree, cuts) => {
  const gone = new Set();
  const made = new Set();
  const cut = topCut(tree, cuts);
  if (cut !== null) {
    made.add(`cut-${cut.id}`);
    tree.tops.filter(({ at_mm: at }) => at >= cut.at_mm).forEach(({ id }) => gone.add(`leader-${id}`));
  }
  const left = new Set(limbsLeft(tree, cuts).map(({ key }) => key));
  for (const limb of tree.limbs) {
    const stands = left.has(limb.key);
    if (!stands) {
      gone.add(`limb-${limb.key}`);
    }
    if (cuts.limbs.includes(limb.key) && (cut === null || limb.union_mm <= cut.at_mm)) {
      made.add(`cut-limb-${limb.key}`);
    }
    drawBranch(limb, cuts, stands, gone, made);
  }
  return { gone, made };
};

const drawBranch = (limb, cuts, stands, gone, made) => {
  const sides = new Set(sidesLeft(limb, cuts).map(({ key }) => key));
  for (const { key } of limb.sides) {
    if (!stands || !sides.has(key)) {
      gone.add(`side-${key}`);
    }
    if (stands && cuts.sides.includes(key)) {
      made.add(`cut-side-${key}`);
    }
  }
  const head = headOf(limb, cuts);
  for (const { id, at } of limb.heads) {
    if (!stands || (head !== null && at >= head.at)) {
      gone.add(`axis-${limb.key}-${id}`);
    }
  }
  if (stands && head !== null) {
    made.add(`cut-head-${limb.key}-${head.id}`);
  }
};
