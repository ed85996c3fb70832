// Why a stage and its lot stand where they do, in one sentence each: word for word what the office
// says (audits/sampling/decision.py and measured.py, webapp/auditing/standing.py).

import { HEIGHT, lengthWords, percentWords, spreadWords } from "./lengths.js";
import { roundTo } from "./numbers.js";
import { FAULTS } from "./scoring.js";
import {
  ending,
  lotOutcome,
  NOT_ACCEPTED,
  OFFICE,
  OPEN,
  total,
  waveWalked,
  wavesOf,
} from "./standing.js";

// Below this many due trees a rate says little.
const FEW_DUE_TREES = 10;
const MOST_DECIMALS = 2;
const FAULT_ORDER = [...Object.values(FAULTS).flat(), "tree_missed", "side_missed"];

// Why a stage stands where it does, without a full stop.
export function stageReason(pkg, standing, words) {
  const { byMean, plan } = standing;
  if (standing.outcome === OFFICE) {
    return words.say("reason.office");
  }
  if (byMean === null) {
    return countReason(standing, words);
  }
  if (byMean.verdict !== null) {
    return meanReason(pkg, standing, words);
  }
  if (byMean.fallback !== null) {
    const why = fallbackWords(byMean, words);
    return words.say("reason.fallback", { why, count: countReason(standing, words) });
  }
  const measured = standing.tallies[0].scored;
  const values = { count: measured, sample: plan.sizes[0] };
  return words.count("reason.measured", measured, values);
}

// Why the lot stands where it does, without a full stop.
export function lotReason(pkg, standings, words) {
  const outcome = lotOutcome(standings.map((standing) => standing.outcome));
  const decisive = standings.filter((standing) => standing.outcome === outcome);
  const count = decisive.length;
  if (outcome === NOT_ACCEPTED) {
    return decisive
      .map((standing) =>
        words.say("reason.stage", {
          stage: stageName(standing, words),
          reason: stageReason(pkg, standing, words),
        }),
      )
      .reduceRight((rest, first) => words.say("reason.first_rest", { first, rest }));
  }
  if (outcome === OPEN) {
    return words.count("reason.stages_open", count, { count, stages: standings.length });
  }
  if (outcome === OFFICE) {
    return words.say("reason.office");
  }
  return words.count("reason.stages_accepted", count, { count });
}

// A reason with its full stop.
export function sentence(reason) {
  return reason.endsWith(".") ? reason : `${reason}.`;
}

// What stands beside a stage's name: faults so far and how many are allowed, or the outcome.
export function tallyWords(standing, words) {
  if (standing.outcome !== OPEN) {
    return words.say(`outcome.${standing.outcome}`);
  }
  if (standing.mostNotLost === null) {
    return words.say("tally.mean_decides");
  }
  const { nonconforming } = standing.tally;
  return words.say("tally.found_allowed", {
    found: words.count("tally.faults", nonconforming, { num: nonconforming }),
    most: standing.mostNotLost,
  });
}

// Carry on or stop, with the reason: { state, words, reason }.
export function signOf(pkg, audit, words) {
  if (audit.nextTree === null) {
    const reason = sentence(lotReason(pkg, audit.standings, words));
    return { state: "stop", words: words.say("sign.stop"), reason };
  }
  const reason = treesLeftWords(audit.standings, words);
  return { state: "carry_on", words: words.say("sign.carry_on"), reason };
}

// The fault that most trees show, the first in the trade's order among equals.
export function leadingFault(faults) {
  const seen = FAULT_ORDER.filter((fault) => faults[fault] > 0);
  const most = Math.max(...seen.map((fault) => faults[fault]));
  return seen.find((fault) => faults[fault] === most) ?? null;
}

function treesLeftWords(standings, words) {
  const left = standings.filter(({ outcome }) => outcome === OPEN).map((each) => each.treesLeft);
  const fewest = Math.max(...left.map((trees) => trees.fewest));
  const most = Math.max(...left.map((trees) => trees.most));
  const trees =
    fewest === most
      ? words.count("sign.more_trees", most, { num: most })
      : words.say("sign.more_trees_between", { fewest, most });
  const lost = standings.filter(({ outcome }) => outcome === NOT_ACCEPTED);
  if (lost.length === 0) {
    return trees;
  }
  const stages = lost.map((standing) => stageName(standing, words)).join(", ");
  return words.say("sign.stages_lost", { stages, trees });
}

function countReason({ stage, plan, tallies, faults, decidedIn }, words) {
  const counted = decidedIn === null ? tallies : tallies.slice(0, decidedIn);
  const tally = total(counted);
  const found = foundWords(stage, tally, faults, words);
  const allowed =
    decidedIn === null ? openWords(plan, tally, words) : allowedWords(plan, counted, words);
  const reason = words.say("reason.found_allowed", { found, allowed });
  const due = tally.scored - tally.notDue;
  if (decidedIn === null || due >= FEW_DUE_TREES) {
    return reason;
  }
  const caution =
    due === 0
      ? words.say("reason.nothing_due")
      : words.count("reason.few_due", due, { count: due });
  return words.say("reason.with_caution", { reason, caution });
}

function foundWords(stage, tally, faults, words) {
  if (tally.scored === 0) {
    return words.say("reason.none_scored");
  }
  if (tally.nonconforming === 0) {
    return words.count("reason.no_fault", tally.scored, { count: tally.scored });
  }
  const fault = leadingFault(faults);
  if (fault !== null && faults[fault] >= tally.nonconforming) {
    return ofTrees(tally, words.say(`phrase.${fault}`), words);
  }
  const found = ofTrees(tally, words.say(`stage_phrase.${stage}`), words);
  if (fault === null) {
    return found;
  }
  const values = { found, leading: faults[fault], fault: words.say(`phrase.${fault}`) };
  return words.say("reason.leading", values);
}

function ofTrees({ scored, nonconforming }, phrase, words) {
  return words.count("reason.of_trees", scored, { count: scored, nonconforming, phrase });
}

// Against what number a decided stage was held.
function allowedWords(plan, tallies, words) {
  const waves = wavesOf(plan);
  const atBest = ending(waves, tallies, false);
  const lost = atBest.outcome === NOT_ACCEPTED;
  const { wave } = lost ? atBest : ending(waves, tallies, true);
  const most = lost ? wave.rejected - 1 : wave.accepted;
  if (total(tallies).scored !== wave.size) {
    return allowedOf(most, wave.size, words);
  }
  return most === 0 ? words.say("reason.none_allowed") : words.say("reason.up_to", { most });
}

// What decides an open stage: the numbers of the wave that is walked.
function openWords(plan, tally, words) {
  const waves = wavesOf(plan);
  const wave = waveWalked(waves, tally);
  const { size: sample, accepted, rejected } = wave;
  if (wave === waves.at(-1)) {
    return allowedOf(accepted, sample, words);
  }
  if (accepted < 0) {
    return words.say("reason.lost_with", { rejected, sample });
  }
  return words.say("reason.decided_with", { accepted, rejected, sample });
}

function allowedOf(most, sample, words) {
  return most === 0
    ? words.say("reason.none_of", { sample })
    : words.say("reason.up_to_of", { most, sample });
}

function meanReason(pkg, { plan, byMean }, words) {
  const { kind, verdict } = byMean;
  const isHeight = kind === HEIGHT;
  const mean = lengthWords(pkg, words, verdict.mean, kind);
  if (verdict.spread === 0) {
    return allEqualWords(isHeight, verdict.accepted, { count: plan.sizes[0], mean }, words);
  }
  const decimals = decimalsBetween(verdict.outside, verdict.most);
  return leaningWords(isHeight, verdict.leaning, {
    mean,
    spread: spreadWords(pkg, words, verdict.spread, kind),
    share: percentWords(pkg, words, verdict.outside, decimals),
    most: percentWords(pkg, words, verdict.most, decimals),
  }, words);
}

function allEqualWords(isHeight, accepted, values, words) {
  if (isHeight) {
    return accepted
      ? words.say("mean.heights_equal_inside", values)
      : words.say("mean.heights_equal_outside", values);
  }
  return accepted
    ? words.say("mean.cuts_equal_inside", values)
    : words.say("mean.cuts_equal_outside", values);
}

function leaningWords(isHeight, leaning, values, words) {
  switch (leaning) {
    case null:
      return isHeight
        ? words.say("mean.heights_accepted", values)
        : words.say("mean.cuts_accepted", values);
    case "high":
      return isHeight ? words.say("mean.heights_high", values) : words.say("mean.cuts_high", values);
    case "low":
      return isHeight ? words.say("mean.heights_low", values) : words.say("mean.cuts_low", values);
    default:
      return isHeight
        ? words.say("mean.heights_uneven", values)
        : words.say("mean.cuts_uneven", values);
  }
}

function fallbackWords({ kind, fallback }, words) {
  const isHeight = kind === HEIGHT;
  switch (fallback) {
    case "no_value":
      return isHeight ? words.say("mean.no_height") : words.say("mean.no_cut");
    case "other_fault":
      return isHeight ? words.say("mean.not_only_height") : words.say("mean.not_only_thickness");
    default:
      return isHeight ? words.say("mean.heights_shape") : words.say("mean.cuts_shape");
  }
}

// As few decimals of a percentage as tell two fractions apart.
function decimalsBetween(found, most) {
  for (let decimals = 0; decimals < MOST_DECIMALS; decimals += 1) {
    if (roundTo(100 * found, decimals) !== roundTo(100 * most, decimals)) {
      return decimals;
    }
  }
  return MOST_DECIMALS;
}

const stageName = (standing, words) => words.say(`stage.${standing.stage}`);
