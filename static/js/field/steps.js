// Lengths in steps: what one press of a - or + key adds, in the units of the farm.

import { HEIGHT, MM_PER_INCH } from "./lengths.js";

const MM_PER_CM = 10;
const DIAMETERS_PER_INCH = 16;

export const mmOf = (steps, units, kind) => Math.round(steps * stepOf(units, kind) * 100) / 100;

// Whole steps nearest to a length: what stands on the screen is what is sent.
export const stepsIn = (mm, units, kind) => Math.round(mm / stepOf(units, kind));

const stepOf = (units, kind) => {
  if (units === "metric") {
    return kind === HEIGHT ? MM_PER_CM : 1;
  }
  return kind === HEIGHT ? MM_PER_INCH : MM_PER_INCH / DIAMETERS_PER_INCH;
};
