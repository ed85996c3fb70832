// Lengths and percentages in words, digit for digit as the office writes them (audits/units.py,
// audits/messages.py). A length is kept in millimetres and read in the units of the farm.

import { decimalText, roundHalfEven } from "./numbers.js";

export const HEIGHT = "height";
export const DIAMETER = "diameter";
export const MM_PER_INCH = 25.4;

const INCHES_PER_FOOT = 12;
const READ_IN_FEET_FROM = 36;
const STEPS_PER_INCH = 16;
const MM_PER_CM = 10;
const CM_PER_M = 100;
const WHOLE_FROM = 10;
const FINEST_MM = 0.1;

export function lengthWords(pkg, words, mm, kind) {
  return pkg.units === "metric" ? metric(pkg, words, mm, kind) : imperial(words, mm, kind);
}

// A spread that reads as less than the finest mark where it is.
export function spreadWords(pkg, words, mm, kind) {
  const finest = pkg.units === "metric" ? FINEST_MM : MM_PER_INCH / STEPS_PER_INCH;
  if (mm < finest / 2) {
    return words.say("length.under", { length: lengthWords(pkg, words, finest, kind) });
  }
  return lengthWords(pkg, words, mm, kind);
}

export function percentWords(pkg, words, ratio, decimals) {
  const mark = markOf(pkg, words);
  return `${decimalText(ratio, { fewest: decimals, shift: 2, mark })} %`;
}

function metric(pkg, words, mm, kind) {
  const mark = markOf(pkg, words);
  if (kind === DIAMETER) {
    return words.say("length.mm", { number: decimalText(mm, { fewest: 0, most: mm >= WHOLE_FROM ? 0 : 1, mark }) });
  }
  if (roundHalfEven(mm / MM_PER_CM) >= CM_PER_M) {
    return words.say("length.m", { number: decimalText(mm / 1000, { fewest: 2, mark }) });
  }
  const most = mm >= WHOLE_FROM * MM_PER_CM ? 0 : 1;
  return words.say("length.cm", { number: decimalText(mm / MM_PER_CM, { fewest: 0, most, mark }) });
}

function imperial(words, mm, kind) {
  if (kind === DIAMETER || mm < MM_PER_INCH) {
    const steps = roundHalfEven((mm / MM_PER_INCH) * STEPS_PER_INCH);
    return words.say("length.in", { number: mixed(steps) });
  }
  const inches = roundHalfEven(mm / MM_PER_INCH);
  if (inches < READ_IN_FEET_FROM) {
    return words.say("length.in", { number: inches });
  }
  const feet = Math.floor(inches / INCHES_PER_FOOT);
  const rest = inches % INCHES_PER_FOOT;
  return rest
    ? words.say("length.ft_in", { feet, inches: rest })
    : words.say("length.ft", { number: feet });
}

// Sixteenths of an inch the way a tape is read: 1 1/2.
function mixed(steps) {
  const whole = Math.floor(steps / STEPS_PER_INCH);
  let [part, of] = [steps % STEPS_PER_INCH, STEPS_PER_INCH];
  if (part === 0) {
    return String(whole);
  }
  while (part % 2 === 0) {
    [part, of] = [part / 2, of / 2];
  }
  return whole > 0 ? `${whole} ${part}/${of}` : `${part}/${of}`;
}

const markOf = (pkg, words) => pkg.decimal_mark?.[words.language] ?? ".";
