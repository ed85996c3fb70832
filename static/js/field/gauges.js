// With what diameters are measured: a caliper or a gauge of one's own, or one of the printed gauges that
// the office sent along, whose scale is checked and whose limits are those of the standard. It is chosen
// once an audit and noted with every tree whose diameters were measured.
//
//   lastGauge(audit)         that of the tree measured last: a number, or null for one's own
//   gaugeChoice(pkg, stage, words, { chosen, isNoted })
//                            { element, read() }, or null where nothing is to choose; `isNoted` where
//                            the tree has it already

import { make, message } from "./elements.js";
import { hasDiameters } from "./scoring.js";
import { choices } from "./steppers.js";

const STAGES = ["limbs", "heading"];
const OWN = "own";

export const lastGauge = ({ answered }) => {
  const measured = [...answered.values()].filter(({ stages }) => hasDiameters(stages));
  return measured.at(-1)?.gauge ?? null;
};

export const gaugeChoice = (pkg, stage, words, { chosen, isNoted }) => {
  // A package that was sent before there were gauges has none.
  const usable = pkg.gauges ?? [];
  const isUsable = chosen === null || usable.some(({ number }) => number === chosen);
  if (!STAGES.includes(stage) || (usable.length === 0 && isUsable)) {
    return null;
  }
  const names = {
    [OWN]: words.say("gauge.own"),
    ...Object.fromEntries(usable.map(({ number, name }) => [idOf(number), words.of(name)])),
  };
  if (!isUsable && isNoted) {
    // Measures that stay as they are keep it; the office holds back any others.
    names[idOf(chosen)] = words.say("gauge.as_noted", { gauge: idOf(chosen) });
  }
  const part = choices(words.say("gauge.with"), names, [idOf(chosen) in names ? idOf(chosen) : OWN]);
  const gone =
    isUsable || isNoted ? null : message(words.say("gauge.gone", { gauge: idOf(chosen) }), { isProblem: true });
  return {
    element: make("div", { "data-gauges": true }, gone, part.element),
    read: () => {
      const [read] = part.chosen();
      return read === OWN ? null : Number(read.slice(1));
    },
  };
};

// As it stands on the cards.
const idOf = (number) => `B${number}`;
