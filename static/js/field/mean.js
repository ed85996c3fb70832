// A stage decided by mean and spread of what was measured, and by counting where that may not be:
// audits/sampling/measured.py and audits/sampling/variables/ in the phone's words. Sums and roots
// are exact; the tails of the curves come to about 1e-13 of themselves, so that what lies nearer to
// its limit than TOO_CLOSE is left to the office.

import { DIAMETER, HEIGHT, MM_PER_INCH } from "./lengths.js";
import { deviationOf, meanOf, roundHalfEven } from "./numbers.js";
import {
  ACCEPTED,
  decide,
  decidingWave,
  mostNotLost,
  NOT_ACCEPTED,
  OFFICE,
  OPEN,
  treesUntilCertain,
} from "./standing.js";

const TOO_CLOSE = 1e-9;
const FEWEST_FOR_SHAPE = 8;
const SHAPE_SIGNIFICANCE = 0.05;

// Lengths are kept to a hundredth of a millimetre, so that one misses its step by half of that.
const KEPT_TO_MM = 0.005 + 1e-9;
const STEPS_MM = {
  [HEIGHT]: [100, 2 * MM_PER_INCH, 50, MM_PER_INCH, MM_PER_INCH / 2, 10, 5, 1],
  [DIAMETER]: [MM_PER_INCH / 8, MM_PER_INCH / 16, 1, 0.5, 0.1],
};

const LEANING_FAULTS = {
  [HEIGHT]: { high: ["high"], low: ["low"], uneven: ["high", "low"] },
  [DIAMETER]: { high: ["thick"], low: ["thin"], uneven: ["thick", "thin"] },
};
const LENGTH_FAULTS = new Set(["high", "low", "thick", "thin"]);

export const isLengthFault = (fault) => LENGTH_FAULTS.has(fault);

// Where the stage stands. `limits` is { kind, lower_mm, upper_mm }; `trees` are those scored in the
// first wave, each { value: mm or null, otherFault }.
export function judgeByMean(plan, limits, trees, tallies) {
  const fallback = whyCounted(trees);
  if (fallback !== null) {
    return counted(plan, limits.kind, tallies, fallback);
  }
  if (trees.length < plan.sizes[0]) {
    return stillMeasured(plan, limits.kind, trees.length);
  }
  const values = trees.map((tree) => tree.value);
  const verdict = judgeValues(plan, limits, values);
  return verdict.shape === false && !verdict.tooClose
    ? counted(plan, limits.kind, tallies, "shape")
    : byMean(limits.kind, verdict);
}

function counted(plan, kind, tallies, fallback) {
  return {
    kind,
    fallback,
    verdict: null,
    outcome: decide(plan, tallies),
    decidedIn: decidingWave(plan, tallies),
    treesLeft: treesUntilCertain(plan, tallies),
    mostNotLost: mostNotLost(plan, tallies),
    leadingFaults: [],
  };
}

function stillMeasured(plan, kind, measured) {
  return {
    kind,
    fallback: null,
    verdict: null,
    outcome: OPEN,
    decidedIn: null,
    treesLeft: { fewest: plan.sizes[0] - measured, most: plan.sizes.at(-1) - measured },
    mostNotLost: null,
    leadingFaults: [],
  };
}

function byMean(kind, verdict) {
  const decided = verdict.accepted ? ACCEPTED : NOT_ACCEPTED;
  return {
    kind,
    fallback: null,
    verdict,
    outcome: verdict.tooClose ? OFFICE : decided,
    decidedIn: 1,
    treesLeft: { fewest: 0, most: 0 },
    mostNotLost: null,
    leadingFaults: verdict.leaning === null ? [] : LEANING_FAULTS[kind][verdict.leaning],
  };
}

function whyCounted(trees) {
  if (trees.some((tree) => tree.otherFault)) {
    return "other_fault";
  }
  return trees.some((tree) => tree.value === null) ? "no_value" : null;
}

function judgeValues(plan, limits, values) {
  const spread = deviationOf(values);
  if (spread === 0) {
    return withoutSpread(plan, limits, values[0]);
  }
  const mean = meanOf(values);
  const below = (mean - limits.lower_mm) / spread;
  const above = (limits.upper_mm - mean) / spread;
  const count = values.length;
  const most = fractionBeyond(plan.k, count);
  const outside = fractionBeyond(below, count) + fractionBeyond(above, count);
  const accepted = accepts(plan, most, below, above);
  const shape = shapeOf(values, readingStep(values, limits.kind));
  const leaning = accepted ? null : leaningOf(plan, most, below, above);
  return {
    accepted,
    mean,
    spread,
    outside,
    most,
    leaning: leaning?.way ?? null,
    shape: shape.normal,
    tooClose:
      shape.tooClose ||
      (shape.normal !== false && (near(outside, most) || (leaning?.tooClose ?? false))),
  };
}

// All values equal: accepted exactly if that value is right. A height on a limit is, a diameter,
// whose guard band ends there, is not.
function withoutSpread(plan, { kind, lower_mm: lower, upper_mm: upper }, value) {
  const inside =
    kind === DIAMETER ? lower < value && value < upper : lower <= value && value <= upper;
  const way = value >= upper ? "high" : "low";
  return {
    accepted: inside,
    mean: value,
    spread: 0,
    outside: inside ? 0 : 1,
    most: fractionBeyond(plan.k, plan.sizes[0]),
    leaning: inside ? null : way,
    shape: null,
    tooClose: false,
  };
}

function accepts(plan, most, below, above) {
  const count = plan.sizes[0];
  return (
    Math.min(below, above) >= plan.k &&
    fractionBeyond(below, count) + fractionBeyond(above, count) <= most
  );
}

// Whether moving the mean would have been enough, and if so, which way it is off.
function leaningOf(plan, most, below, above) {
  const middle = (below + above) / 2;
  const way = above < below ? "high" : "low";
  if (Math.min(below, above) < 0) {
    return { way, tooClose: false };
  }
  return {
    way: accepts(plan, most, middle, middle) ? way : "uneven",
    tooClose: near(2 * fractionBeyond(middle, plan.sizes[0]), most),
  };
}

// The coarsest usual step on which all values lie; 0 where they lie on none.
function readingStep(values, kind) {
  const isOn = (step) => (value) =>
    Math.abs(roundHalfEven(value / step) * step - value) <= KEPT_TO_MM;
  return STEPS_MM[kind].find((step) => values.every(isOn(step))) ?? 0;
}

// Anderson and Darling's test for a normal shape, mean and spread unknown; equal values are spread
// evenly over the step to which they were read.
function shapeOf(values, step) {
  if (values.length < FEWEST_FOR_SHAPE) {
    return { normal: null, tooClose: false };
  }
  const spread = spreadOut(values, step);
  const count = spread.length;
  const mean = meanOf(spread);
  const deviation = deviationOf(spread);
  const scores = spread.map((value) => (value - mean) / deviation);
  let sum = 0;
  for (const [rank, score] of scores.entries()) {
    const tails = logOfNormal(score) + logOfNormal(-scores[count - 1 - rank]);
    sum += (2 * rank + 1) * tails;
  }
  const statistic = (-count - sum / count) * (1 + 0.75 / count + 2.25 / count ** 2);
  const chance = chanceOfShape(statistic);
  return { normal: chance >= SHAPE_SIGNIFICANCE, tooClose: near(chance, SHAPE_SIGNIFICANCE) };
}

function spreadOut(values, step) {
  const ordered = [...values].sort((one, other) => one - other);
  return ordered.map((value, index) => {
    const first = ordered.indexOf(value);
    const equal = ordered.lastIndexOf(value) - first + 1;
    return value + step * ((index - first + 0.5) / equal - 0.5);
  });
}

// D'Agostino and Stephens 1986, table 4.9. Below 0.6 the chance is above one in ten whatever the
// formula, far from where it matters.
function chanceOfShape(statistic) {
  if (statistic < 0.6) {
    return 1;
  }
  return statistic < 13 ? Math.exp(1.2937 - 5.709 * statistic + 0.0186 * statistic ** 2) : 0;
}

// The best estimate of the fraction beyond a limit that lies `index` standard deviations from the
// mean (Lieberman and Resnikoff 1955): the beta probability I(n/2 - 1, n/2 - 1) at x.
function fractionBeyond(index, count) {
  const largest = (count - 1) / Math.sqrt(count);
  const place = Math.min(1, Math.max(0, (1 - index / largest) / 2));
  const shape = count / 2 - 1;
  return place <= 0.5 ? betaTail(shape, place) : 1 - betaTail(shape, 1 - place);
}

// I(a, a) at x up to one half, for a whole or half a: its factor step by step from a = 1 or 1/2,
// times a series of positive terms.
function betaTail(shape, x) {
  if (x === 0) {
    return 0;
  }
  const both = x * (1 - x);
  let a = Number.isInteger(shape) ? 1 : 0.5;
  let factor = a === 1 ? both : (2 / Math.PI) * Math.sqrt(both);
  for (; a < shape; a += 1) {
    factor *= (both * 2 * (2 * a + 1)) / (a + 1);
  }
  let term = 1;
  let sum = 1;
  for (let number = 0; term > sum * 1e-17; number += 1) {
    term *= ((2 * shape + number) / (shape + 1 + number)) * x;
    sum += term;
  }
  return factor * sum;
}

// The logarithm of the normal probability up to a score.
function logOfNormal(score) {
  const tail = errorTail(Math.abs(score) / Math.SQRT2) / 2;
  return score > 0 ? Math.log1p(-tail) : Math.log(tail);
}

// The complementary error function from 0 on: a series of positive terms, and further out the
// continued fraction (Abramowitz and Stegun 1964, 7.1.6 and 7.1.14).
function errorTail(x) {
  const bell = Math.exp(-x * x) / Math.sqrt(Math.PI);
  if (x < 2) {
    let term = 2 * x * bell;
    let sum = 0;
    for (let number = 1; term > sum * 1e-17; number += 1) {
      sum += term;
      term *= (2 * x * x) / (2 * number + 1);
    }
    return 1 - sum;
  }
  let rest = x;
  for (let number = 120; number > 0; number -= 1) {
    rest = x + number / 2 / rest;
  }
  return bell / rest;
}

// Where both are 0 they are so to the digit: nothing is expected beyond a limit that far away.
const near = (one, other) => Math.abs(one - other) < TOO_CLOSE * Math.max(one, other);
