// Plays recorded audits through the phone's own modules and lists where they say something else than
// the office did. Served to the test's page only; see tests/browser/test_same_rules.py.

import { answersFrom, maySkip, readAudit } from "/static/js/field/audit.js";
import { placeOf } from "/static/js/field/places.js";
import {
  lotReason,
  sentence,
  signOf,
  stageReason,
  tallyWords,
} from "/static/js/field/reasons.js";
import { makeWords } from "/static/js/field/words.js";

const MOST_LISTED = 5;

// `phrases` are all texts of both languages, `language` is that of the recording.
export function play({ pkg, language, steps }, phrases) {
  const words = makeWords(phrases);
  words.language = language;
  const items = [];
  const differences = [];
  for (const [number, step] of steps.entries()) {
    const found = playStep(pkg, words, items, step);
    if (step.expected) {
      compare(`step ${number}`, step.expected, JSON.parse(JSON.stringify(found)), differences);
    }
    if (differences.length >= MOST_LISTED) {
      break;
    }
  }
  return differences;
}

function playStep(pkg, words, items, { item, entry }) {
  const read = entry && readEntry(pkg, words, readAudit(pkg, items), entry);
  if (item) {
    items.push(item);
  }
  const audit = readAudit(pkg, items);
  return { entry: read, numbers: numbersOf(audit), words: wordsOf(pkg, audit, words) };
}

function readEntry(pkg, words, audit, { tree, tiles, measures, gauge }) {
  const form = { get: (name) => tiles[name]?.[0] ?? null, getAll: (name) => tiles[name] ?? [] };
  const skippable = maySkip(pkg, audit, tree);
  const { answers = null, problems = {} } = answersFrom(pkg, form, skippable, measures, gauge);
  return {
    skippable: [...skippable],
    answers: answers && { ...answers, stages: mapped(answers.stages, withDefaults) },
    problems: mapped(problems, (key) => words.say(key)),
  };
}

const withDefaults = (answer) =>
  answer.kind === "class" ? { faults: [], removed: null, ...answer } : answer;

const mapped = (object, change) =>
  Object.fromEntries(Object.entries(object).map(([key, value]) => [key, change(value)]));

const numbersOf = (audit) => ({
  walk: audit.walk.map(({ id, wave }) => [id, wave]),
  answered: [...audit.answered.keys()],
  results: [...audit.scores].map(([id, stages]) => [id, mapped(stages, ({ result, faults }) => [result, faults])]),
  stages: audit.standings.map((each) => ({
    stage: each.stage,
    outcome: each.outcome,
    tallies: each.tallies.map(tallied),
    tally: tallied(each.tally),
    due: each.due,
    faults: each.faults,
    leading: each.leadingFault,
    decided_in: each.decidedIn,
    most_not_lost: each.mostNotLost,
    left: [each.treesLeft.fewest, each.treesLeft.most],
  })),
  outcome: audit.outcome,
  all_decided: audit.allDecided,
  next: audit.nextTree?.id ?? null,
  last: audit.lastScored?.id ?? null,
  given_up: audit.givenUp,
  reserve_left: audit.reserveLeft,
  sealed: audit.sealed,
});

const tallied = ({ scored, nonconforming, notDue }) => [scored, nonconforming, notDue];

function wordsOf(pkg, audit, words) {
  const place = audit.nextTree && placeOf(pkg, audit.walk, audit.nextTree, words);
  return {
    reasons: audit.standings.map((each) => sentence(stageReason(pkg, each, words))),
    tallies: audit.standings.map((each) => tallyWords(each, words)),
    lot: sentence(lotReason(pkg, audit.standings, words)),
    sign: Object.values(signOf(pkg, audit, words)),
    place: place && Object.values(place),
  };
}

// Objects by key whatever their order; lists in order.
function compare(where, expected, found, differences) {
  if (expected === null || found === null || typeof expected !== "object" || typeof found !== "object") {
    if (expected !== found) {
      const shown = [expected, found].map((value) => JSON.stringify(value) ?? "nothing");
      differences.push(`${where}: the office has ${shown[0]}, the phone ${shown[1]}`);
    }
    return;
  }
  for (const key of new Set([...Object.keys(expected), ...Object.keys(found)])) {
    compare(`${where}.${key}`, expected[key] ?? null, found[key] ?? null, differences);
  }
}
