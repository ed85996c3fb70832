// When a stage is decided: the numbers of its plan, sent by the office, held against what was
// counted. It is the same count as audits/sampling/decision.py, and a test keeps the two together.
// A tally is { scored, nonconforming, notDue }; tallies are those of a stage's waves, in order.

export const OPEN = "open";
export const ACCEPTED = "accepted";
export const NOT_ACCEPTED = "not_accepted";
// What the phone cannot tell by itself: nothing is left to look at, and the office decides.
export const OFFICE = "office";

const NOTHING = { scored: 0, nonconforming: 0, notDue: 0 };

// Trees looked at by the end of each wave, the most nonconforming ones that are accepted then (-1
// where none may be), and the fewest that are not. A count in the gap of the last wave is accepted.
export function wavesOf(plan) {
  const last = plan.sizes.length - 1;
  return plan.sizes.map((size, number) => {
    const rejected = plan.rejection_numbers[number] ?? size + 1;
    const accepted = number === last ? rejected - 1 : plan.acceptance_numbers[number];
    return { size, accepted: accepted ?? -1, rejected };
  });
}

// Decided as soon as the trees left cannot change it: the outcome is the same with all of them
// conforming and with all of them nonconforming.
export function decide(plan, tallies) {
  const waves = wavesOf(plan);
  const atBest = ending(waves, tallies, false).outcome;
  return atBest === ending(waves, tallies, true).outcome ? atBest : OPEN;
}

// The wave, from 1, whose trees made the outcome certain; null while it is open.
export function decidingWave(plan, tallies) {
  for (let number = 1; number <= plan.sizes.length; number += 1) {
    if (decide(plan, tallies.slice(0, number)) !== OPEN) {
      return number;
    }
  }
  return null;
}

export function total(tallies) {
  const sum = { ...NOTHING };
  for (const tally of tallies) {
    sum.scored += tally.scored;
    sum.nonconforming += tally.nonconforming;
    sum.notDue += tally.notDue;
  }
  return sum;
}

// With how many nonconforming trees the stage is not yet lost.
export function mostNotLost(plan, tallies) {
  return waveWalked(wavesOf(plan), total(tallies)).rejected - 1;
}

// Further trees until the stage is decided, in the best and in the worst case.
export function treesUntilCertain(plan, tallies) {
  if (decide(plan, tallies) !== OPEN) {
    return { fewest: 0, most: 0 };
  }
  const seen = total(tallies);
  let open = [seen.nonconforming];
  let fewest = 0;
  for (const step of stepsOf(wavesOf(plan)).slice(seen.scored)) {
    const walked = new Set([...open, ...open.map((count) => count + 1)]);
    open = [...walked].filter((count) => step.accepted < count && count < step.rejected);
    if (fewest === 0 && open.length < walked.size) {
      fewest = step.size - seen.scored;
    }
    if (open.length === 0) {
      return { fewest: fewest || 1, most: step.size - seen.scored };
    }
  }
  // Trees of an earlier wave are still to come, such as one taken from the reserve.
  const left = Math.max(1, plan.sizes.at(-1) - seen.scored);
  return { fewest: Math.min(fewest || left, left), most: left };
}

// Not accepted as soon as one stage is not; accepted when all are.
export function lotOutcome(outcomes) {
  return [NOT_ACCEPTED, OPEN, OFFICE].find((outcome) => outcomes.includes(outcome)) ?? ACCEPTED;
}

// Where the walk ends if the trees left all fail, or all do not: the wave, and the outcome.
export function ending(waves, tallies, restFails) {
  let nonconforming = 0;
  let walked = 0;
  for (const [number, wave] of waves.entries()) {
    const tally = tallies[number] ?? NOTHING;
    nonconforming += tally.nonconforming;
    if (restFails) {
      nonconforming += wave.size - walked - tally.scored;
    }
    walked = wave.size;
    if (nonconforming >= wave.rejected) {
      return { wave, outcome: NOT_ACCEPTED };
    }
    if (nonconforming <= wave.accepted) {
      return { wave, outcome: ACCEPTED };
    }
  }
  return { wave: waves.at(-1), outcome: ACCEPTED };
}

export function waveWalked(waves, tally) {
  return waves.slice(0, -1).find((wave) => tally.scored < wave.size) ?? waves.at(-1);
}

// For each tree in turn the numbers from which the outcome can no longer change. With d
// nonconforming trees among the first t, d - t decides on acceptance and d on the contrary; see
// audits/sampling/walks.py.
function stepsOf(waves) {
  const last = waves.at(-1);
  let surelyIn = last.accepted - last.size;
  let surelyOut = last.rejected;
  const certain = [{ surelyIn, surelyOut }];
  for (const wave of waves.slice(0, -1).reverse()) {
    if (surelyIn + wave.size < wave.accepted) {
      surelyIn = wave.accepted - wave.size;
    } else if (surelyIn + wave.size >= wave.rejected) {
      surelyIn = wave.rejected - wave.size - 1;
    }
    surelyOut = Math.min(Math.max(surelyOut, wave.accepted + 1), wave.rejected);
    certain.unshift({ surelyIn, surelyOut });
  }
  const steps = [];
  for (const [number, wave] of waves.entries()) {
    for (let trees = steps.length + 1; trees <= wave.size; trees += 1) {
      const accepted = Math.max(-1, trees + certain[number].surelyIn);
      steps.push({ size: trees, accepted, rejected: certain[number].surelyOut });
    }
  }
  return steps;
}
