// What comes next, after Leitner's boxes (S. Leitner, So lernt man lernen, 1972): the same as
// audits/practice/schedule.py and levels.py, and a test keeps them together.
//
//   progress = { worker_id, done, cards: { id: { box, due } } }

const EXERCISE_EVERY = 3;

export const freshProgress = (workerId) => ({ worker_id: workerId, done: 0, cards: {} });

export const nextTask = (pack, progress) => {
  if (progress.done % EXERCISE_EVERY === 2 && pack.exercises.length) {
    return { kind: "exercise", id: pack.exercises[0].id };
  }
  const tree = pack.trees[progress.done % pack.trees.length];
  const level = ["one", "two", "all"][Math.floor(progress.done / 4) % 3];
  const at = progress.done % pack.order.length;
  const stages = { one: [pack.order[at]], two: pack.order.slice(Math.min(at, pack.order.length - 2)).slice(0, 2), all: pack.order }[level];
  return { kind: "tree", id: tree.id, level, stages };
};

export const afterTree = (_pack, progress) => ({ ...progress, done: progress.done + 1 });
export const afterExercise = (_pack, progress) => ({ ...progress, done: progress.done + 1 });
