// What comes next, after Leitner's boxes (S. Leitner, So lernt man lernen, 1972): what went right
// moves a box up, what went wrong goes back to the first. A card is a stage on a kind of tree, or an
// item of exercises. The rest is our choice: box n is due after 2^(n-1) trees and exercises, that of
// an exercise after 2^(n-1) exercises; every third tree and every third exercise is a card that never
// came up, while there are any; trees of a kind take turns, and so do exercises of an item. It is the
// count of audits/practice/schedule.py and levels.py, and a test keeps them together.
//
//   progress = { worker_id, done, cards: { name: { box, due } }, runs: { stage: right in a row },
//                shown: { kind or card of an item: how often it came up } }
//
// Phones may still keep progress without `shown`: its counts begin at 0.

const MOST_BOX = 6;
const EXERCISE_EVERY = 3;
const NEW_EVERY = 3;
// So often right in a row, on one stage and then on two, before more stages come at once.
const RUN_FOR_TWO = 3;
const RUN_FOR_ALL = 6;

export const freshProgress = (workerId) => ({ worker_id: workerId, done: 0, cards: {}, runs: {}, shown: {} });

export const nextTask = (pack, progress) => {
  const isExercise = progress.done % EXERCISE_EVERY === EXERCISE_EVERY - 1 && pack.exercises.length > 0;
  if (isExercise) {
    const items = [...new Set(pack.exercises.map(({ item }) => itemCard(item)))];
    const name = nextCard(items, progress, timesShown(progress, items));
    const found = pack.exercises.filter(({ item }) => itemCard(item) === name);
    return { kind: "exercise", id: found[timesShown(progress, [name]) % found.length].id };
  }
  const kinds = [...new Set(pack.trees.map(({ kind }) => kind))];
  const cards = kinds.flatMap((kind) => pack.order.map((stage) => stageCard(stage, kind)));
  const [stage, kind] = nextCard(cards, progress, timesShown(progress, kinds)).split("/");
  const trees = pack.trees.filter((tree) => tree.kind === kind);
  const level = levelOf(pack, progress, stage);
  const { id } = trees[timesShown(progress, [kind]) % trees.length];
  return { kind: "tree", id, level, stages: stagesOf(pack, level, stage) };
};

export const afterTree = (pack, progress, walk, right) => {
  const { kind } = pack.trees.find(({ id }) => id === walk.id);
  const done = progress.done + 1;
  const cards = { ...progress.cards };
  const runs = { ...progress.runs };
  for (const [stage, isRight] of Object.entries(right)) {
    const name = stageCard(stage, kind);
    cards[name] = moved(cards[name], isRight, done, 1);
    runs[stage] = isRight ? (runs[stage] ?? 0) + 1 : 0;
  }
  return { ...progress, done, cards, runs, shown: shownAgain(progress, kind) };
};

export const afterExercise = (pack, progress, walk, isRight) => {
  const name = itemCard(pack.exercises.find(({ id }) => id === walk.id).item);
  const done = progress.done + 1;
  const cards = { ...progress.cards, [name]: moved(progress.cards[name], isRight, done, EXERCISE_EVERY) };
  return { ...progress, done, cards, shown: shownAgain(progress, name) };
};

const stageCard = (stage, kind) => `${stage}/${kind}`;
const itemCard = (item) => `item/${item}`;

const timesShown = ({ shown = {} }, names) => names.reduce((sum, name) => sum + (shown[name] ?? 0), 0);
const shownAgain = (progress, name) => ({ ...progress.shown, [name]: timesShown(progress, [name]) + 1 });

// `every`: one time in how many is for cards of its sort.
const moved = (card, isRight, done, every) => {
  const box = isRight ? Math.min((card?.box ?? 1) + 1, MOST_BOX) : 1;
  return { box, due: done + every * 2 ** (box - 1) };
};

// Every third time the first that never came up. Else of those that are due the one that is due
// longest, so that what went wrong comes before what is new; else the first that never came up; else
// the one that is due soonest.
const nextCard = (names, progress, turn) => {
  const fresh = names.find((name) => !progress.cards[name]);
  if (fresh && turn % NEW_EVERY === NEW_EVERY - 1) {
    return fresh;
  }
  const rankOf = (name) => {
    const card = progress.cards[name];
    return card ? [card.due <= progress.done ? 0 : 2, card.due] : [1, 0];
  };
  const isBefore = ([rank, due], [otherRank, otherDue]) => (rank === otherRank ? due < otherDue : rank < otherRank);
  return names.reduce((one, other) => (isBefore(rankOf(other), rankOf(one)) ? other : one));
};

const levelOf = (pack, progress, stage) => {
  const run = (name) => progress.runs[name] ?? 0;
  if (pack.order.length > 1 && pack.order.every((name) => run(name) >= RUN_FOR_ALL)) {
    return "all";
  }
  const pair = pairOf(pack, stage);
  return pair.length === 2 && pair.every((name) => run(name) >= RUN_FOR_TWO) ? "two" : "one";
};

const stagesOf = (pack, level, stage) => ({ one: [stage], two: pairOf(pack, stage), all: pack.order })[level];

// The stage with the one after it; the last with the one before it.
const pairOf = (pack, stage) => {
  const first = Math.max(0, Math.min(pack.order.indexOf(stage), pack.order.length - 2));
  return pack.order.slice(first, first + 2);
};
