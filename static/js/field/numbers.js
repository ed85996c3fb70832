// Numbers rounded and written to the digit as the office does: exact sums, halves to the even
// number, and text by the shortest digits that a number has. One digit more or less here, and the
// phone would say something else than the verdict on paper.

// Measures are whole multiples of this part of a millimetre, as binary fractions go.
const FINEST_BITS = 80n;
const FINEST = 2 ** Number(FINEST_BITS);
// With this many bits and one that says whether anything was cut off, a root rounds right.
const ROOT_BITS = 109;

// Half to the even number.
export function roundHalfEven(value) {
  const floor = Math.floor(value);
  const rest = value - floor;
  if (rest !== 0.5) {
    return rest < 0.5 ? floor : floor + 1;
  }
  return floor % 2 === 0 ? floor : floor + 1;
}

// To at most two decimals. Only eighths can lie halfway; they are multiplied without loss.
export function roundTo(value, decimals) {
  const scale = 10 ** decimals;
  return Number.isInteger(value * 8)
    ? roundHalfEven(value * scale) / scale
    : Number(value.toFixed(decimals));
}

// A length in mm as it is kept, so that sums and differences meet the limits that people see.
export const keptLength = (mm) => roundTo(mm, 2);

// The arithmetic mean, its sum taken without loss.
export function meanOf(values) {
  const sum = values.map(exact).reduce((one, other) => one + other, 0n);
  return Number(sum) / FINEST / values.length;
}

// The standard deviation with divisor n - 1, rounded once.
export function deviationOf(values) {
  const count = BigInt(values.length);
  const all = values.map(exact);
  const sum = all.reduce((one, other) => one + other, 0n);
  const squares = all.reduce((one, other) => one + other * other, 0n);
  const above = count * squares - sum * sum;
  return above === 0n ? 0 : rootOf(above, (count * (count - 1n)) << (2n * FINEST_BITS));
}

// A number that is not below 0 as text, of up to `most` decimals and not fewer than `fewest`.
export function decimalText(value, { fewest = 0, most = fewest, shift = 0, mark = "." } = {}) {
  const [digits, power = "0"] = String(value).split("e");
  const [whole, part = ""] = digits.split(".");
  const shown = scaled(BigInt(whole + part), part.length - Number(power) - shift, most);
  const text = String(shown).padStart(most + 1, "0");
  const decimals = most === 0 ? "" : text.slice(-most);
  let kept = decimals.length;
  while (kept > fewest && decimals[kept - 1] === "0") {
    kept -= 1;
  }
  const before = text.slice(0, text.length - most);
  return kept === 0 ? before : `${before}${mark}${decimals.slice(0, kept)}`;
}

// `number` has `places` decimals; return it with `wanted`.
function scaled(number, places, wanted) {
  if (places <= wanted) {
    return number * 10n ** BigInt(wanted - places);
  }
  const divisor = 10n ** BigInt(places - wanted);
  const floor = number / divisor;
  const twice = 2n * (number % divisor);
  return twice > divisor || (twice === divisor && floor % 2n === 1n) ? floor + 1n : floor;
}

const exact = (value) => BigInt(value * FINEST);

// The root of a fraction above 0.
function rootOf(above, below) {
  const half = Math.floor((bitsOf(above) - bitsOf(below) - ROOT_BITS) / 2);
  const [top, bottom] =
    half >= 0 ? [above, below << BigInt(2 * half)] : [above << BigInt(-2 * half), below];
  const root = wholeRoot(top / bottom);
  // What was cut off leaves its mark in the last bit.
  const sticky = root * root * bottom === top ? root : root | 1n;
  return Number(sticky) * 2 ** half;
}

const bitsOf = (number) => number.toString(2).length;

function wholeRoot(number) {
  let root = 1n << BigInt(Math.ceil(bitsOf(number) / 2));
  for (;;) {
    const next = (root + number / root) >> 1n;
    if (next >= root) {
      return root;
    }
    root = next;
  }
}
