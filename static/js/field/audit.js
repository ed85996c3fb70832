// Where an audit stands: its items played from the first to the last over the package that the
// office sent. The phone keeps no other state, and the office plays the same items in the same
// order, so that both come to the same walk, the same next tree and the same verdicts.

import { isLengthFault, judgeByMean } from "./mean.js";
import { leadingFault } from "./reasons.js";
import {
  hasDiameters,
  measuredValue,
  NONCONFORMING,
  NOT_DUE,
  NOT_SCORED,
  RefusedAnswer,
  scoreStage,
} from "./scoring.js";
import {
  decide,
  decidingWave,
  lotOutcome,
  mostNotLost,
  OFFICE,
  OPEN,
  total,
  treesUntilCertain,
} from "./standing.js";
import { reserveLeft, walkOf } from "./walk.js";

// What stands at a place of the draw is never noted as not being a tree by this name.
const BEARING = "bearing";

// `items` in the order of their counters. Items that the office would not take change nothing here
// either: on a tree that is not in the walk, after the seal, or once the draw is given up.
export function readAudit(pkg, items) {
  const played = { walk: walkOf(pkg, []), replacements: [], answered: new Map(), scores: new Map() };
  let sealed = false;
  for (const item of items) {
    if (sealed || isGivenUp(pkg, played.walk)) {
      break;
    }
    sealed = item.kind === "seal" && isDecided(standingsOf(pkg, played));
    PLAY[item.kind]?.(pkg, played, item.body);
  }
  return { ...played, ...standingOf(pkg, played), sealed };
}

// The stages that may stay without an answer on a tree: decided ones where the standard lets them
// be skipped, but not those that the tree has answers for already.
export function maySkip(pkg, audit, treeId) {
  const given = audit.answered.get(treeId)?.stages ?? {};
  const decided = audit.standings.filter(({ stage, outcome }) => outcome !== OPEN && !given[stage]);
  return new Set(pkg.skip_decided ? decided.map(({ stage }) => stage) : []);
}

// What a seal says of the stages: what the phone has shown, and open where the office decides.
export function sealedOutcomes(audit) {
  const said = (outcome) => (outcome === OFFICE ? OPEN : outcome);
  return Object.fromEntries(audit.standings.map(({ stage, outcome }) => [stage, said(outcome)]));
}

// The answers on a tree from what was tapped, as webapp/auditing/entry.py reads it: { answers }, or
// { problems } with the key of a sentence for each stage that cannot be taken. `form` has get and
// getAll like FormData; stages in `skippable` may stay without an answer; `measures` are answers
// measured by stage, and `gauge` is what their diameters were measured with: the number of a printed
// one, or null.
export function answersFrom(pkg, form, skippable = new Set(), measures = {}, gauge = null) {
  const missed = missedOf(pkg, form);
  const stages = {};
  const problems = {};
  for (const stage of pkg.stages) {
    if (missed && stage.missed[missed]) {
      continue;
    }
    const { answer, problem } = readStage(stage, form, measures[stage.stage]);
    if (problem) {
      problems[stage.stage] = problem;
    } else if (answer) {
      stages[stage.stage] = answer;
    } else if (!skippable.has(stage.stage)) {
      problems[stage.stage] = unanswered(stage, missed);
    }
  }
  if (Object.keys(problems).length > 0) {
    return { problems };
  }
  const named = gauge !== null && hasDiameters(stages) ? { gauge } : {};
  return { answers: { missed, stages, ...named } };
}

const PLAY = { tree: playTree, take_back: playTakeBack, not_a_tree: playNotATree };

function playTree(pkg, { walk, answered, scores }, { tree, answers }) {
  const scored = scoreTree(pkg, answers);
  if (scored && isIn(walk, tree)) {
    // A tree answered again keeps its place among those answered.
    answered.set(tree, answers);
    scores.set(tree, scored);
  }
}

function playTakeBack(_pkg, { answered, scores }, { tree }) {
  answered.delete(tree);
  scores.delete(tree);
}

function playNotATree(pkg, played, { tree, kind, instead }) {
  const isLeft = instead === null || isIn(reserveLeft(pkg, played.replacements), instead);
  if (!isIn(played.walk, tree) || !isLeft || kind === BEARING) {
    return;
  }
  playTakeBack(pkg, played, { tree });
  played.replacements.push({ gone: tree, kind, instead });
  played.walk = walkOf(pkg, played.replacements);
}

const isIn = (trees, treeId) => trees.some((tree) => tree.id === treeId);

// By stage; null where an answer does not fit.
function scoreTree(pkg, answers) {
  try {
    const entries = pkg.stages.map((stage) => [
      stage.stage,
      scoreStage(stage, answers.stages[stage.stage], answers.missed),
    ]);
    return Object.fromEntries(entries);
  } catch (error) {
    refusal(error);
    return null;
  }
}

// The sentence's key of a refused answer; anything else that went wrong goes on its way.
function refusal(error) {
  if (error instanceof RefusedAnswer) {
    return error.message;
  }
  throw error;
}

function standingOf(pkg, played) {
  const { walk, answered, scores, replacements } = played;
  const standings = standingsOf(pkg, played);
  const allDecided = isDecided(standings);
  const open = standings.filter(({ outcome }) => outcome === OPEN).map(({ stage }) => stage);
  // Answered while a stage was decided that is open again by now.
  const isLacking = (tree) => open.some((stage) => scores.get(tree.id)[stage].result === NOT_SCORED);
  const next = walk.find((tree) => !answered.has(tree.id) || isLacking(tree));
  const last = [...answered.keys()].at(-1);
  return {
    standings,
    outcome: lotOutcome(standings.map(({ outcome }) => outcome)),
    allDecided,
    nextTree: allDecided ? null : (next ?? null),
    lastScored: walk.find((tree) => tree.id === last) ?? null,
    givenUp: isGivenUp(pkg, walk),
    reserveLeft: reserveLeft(pkg, replacements).length,
  };
}

const isDecided = (standings) => standings.every(({ outcome }) => outcome !== OPEN);

// The reserve did not last, so that nothing can be decided by this draw.
const isGivenUp = (pkg, walk) => walk.length < pkg.wave_sizes.at(-1);

function standingsOf(pkg, { walk, answered, scores }) {
  const trees = walk.filter((tree) => scores.has(tree.id));
  return pkg.stages.map((stage) => {
    const waves = byWave(pkg, stage, trees, scores);
    const tallies = waves.map(tallyOf);
    const judged = stage.by_mean
      ? judgeByMean(stage.plan, stage.by_mean, waves[0].flatMap(measured(stage, answered)), tallies)
      : null;
    return standing(stage, waves, tallies, judged);
  });
}

function standing({ stage, plan }, waves, tallies, byMean) {
  const decidedIn = byMean ? byMean.decidedIn : decidingWave(plan, tallies);
  // What was scored after the decision, for other stages' sake, is no part of it.
  const counted = waves.slice(0, decidedIn ?? waves.length).flat();
  const tally = tallyOf(counted);
  const faults = faultsOf(counted);
  return {
    stage,
    plan,
    tallies,
    tally,
    due: tally.scored - tally.notDue,
    faults,
    leadingFault: leadingFault(faults) ?? byMean?.leadingFaults[0] ?? null,
    outcome: byMean ? byMean.outcome : decide(plan, tallies),
    decidedIn,
    mostNotLost: byMean ? byMean.mostNotLost : mostNotLost(plan, tallies),
    treesLeft: byMean ? byMean.treesLeft : treesUntilCertain(plan, tallies),
    byMean,
  };
}

// A stage's scores in the waves of its own plan; trees beyond its sample are left out.
function byWave(pkg, { stage, plan }, trees, scores) {
  const waves = plan.sizes.map(() => []);
  for (const tree of trees) {
    const walked = pkg.wave_sizes[tree.wave - 1];
    const number = plan.sizes.findIndex((size) => walked <= size);
    waves[number]?.push({ ...scores.get(tree.id)[stage], tree: tree.id });
  }
  return waves;
}

function tallyOf(scores) {
  const count = (result) => scores.filter((score) => score.result === result).length;
  return {
    scored: scores.length - count(NOT_SCORED),
    nonconforming: count(NONCONFORMING),
    notDue: count(NOT_DUE),
  };
}

function faultsOf(scores) {
  const faults = {};
  for (const fault of scores.flatMap((score) => score.faults)) {
    faults[fault] = (faults[fault] ?? 0) + 1;
  }
  return faults;
}

const measured = (stage, answered) => ({ tree, result, faults }) => {
  if (result === NOT_SCORED) {
    return [];
  }
  const { missed, stages } = answered.get(tree);
  const value = result === NOT_DUE ? null : measuredValue(stage, stages[stage.stage], missed);
  return [{ value, otherFault: !faults.every(isLengthFault) }];
};

// The key pressed, or else what was kept from before: pressing the chosen key again takes it back,
// and so does any answer on a tree that was missed as a whole.
function missedOf(pkg, form) {
  const read = (name) => ["tree", "side"].find((missed) => missed === form.get(name)) ?? null;
  const kept = read("kept_missed");
  const pressed = read("missed");
  if (pressed !== null) {
    return pressed === kept ? null : pressed;
  }
  const answers = pkg.stages.some(({ stage }) => form.get(stage));
  return kept === "tree" && answers ? null : kept;
}

function readStage(stage, form, measure) {
  const tapped = stage.only_measured ? {} : readTile(stage, form, measure !== undefined);
  if (tapped.problem) {
    return tapped;
  }
  const answers = [measure, tapped.answer].filter((answer) => answer !== undefined);
  try {
    const results = new Set(answers.map((answer) => scoreStage(stage, answer, null).result));
    return results.size > 1 ? { problem: "problem.disagree" } : { answer: answers[0] };
  } catch (error) {
    return { problem: refusal(error) };
  }
}

function readTile({ stage, tiles, faults }, form, isMeasured) {
  const value = form.get(stage);
  if (!value) {
    return {};
  }
  if (!Object.hasOwn(tiles, value)) {
    return { problem: "problem.no_such_tile" };
  }
  const { answer } = tiles[value];
  if (answer.tap !== "fault") {
    return { answer };
  }
  const chosen = form.getAll(`${stage}_faults`);
  const named = faults.filter((fault) => chosen.includes(fault));
  if (named.length === 0 && (isMeasured || faults.length === 1)) {
    // Measures name their faults themselves, and a single possible fault needs no name.
    named.push(faults[0]);
  }
  return named.length > 0
    ? { answer: { ...answer, faults: named } }
    : { problem: "problem.name_the_fault" };
}

function unanswered(stage, missed) {
  if (missed === "side") {
    return "problem.answer_this_too";
  }
  return stage.only_measured ? "problem.measure" : "problem.tap";
}
