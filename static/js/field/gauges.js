// With what diameters are measured: a caliper or a gauge of one's own, or one of the printed gauges that
// the office sent along, whose scale is checked and whose limits are those of the standard. It is chosen
// once an audit and noted with every tree whose diameters were measured.
//
//   lastGauge(audit)         that of the tree measured last: a number, null for one's own, undefined
//                            where no diameter was measured yet
//   gaugeChoice(pkg, stage, words, { chosen, isNoted })
//                            { element, read() }, or null where nothing is to choose; it stands open
//                            where nothing was `chosen` yet; `isNoted` where the tree has it already

import { make, message, shape } from "./elements.js";
import { hasDiameters } from "./scoring.js";
import { choices } from "./steppers.js";

const STAGES = ["limbs", "heading"];
const OWN = "own";

export const lastGauge = ({ answered }) => {
  const measured = [...answered.values()].filter(({ stages }) => hasDiameters(stages));
  return measured.length > 0 ? (measured.at(-1).gauge ?? null) : undefined;
};

export const gaugeChoice = (pkg, stage, words, { chosen: before, isNoted }) => {
  const chosen = before ?? null;
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
  const value = idOf(chosen) in names ? idOf(chosen) : OWN;
  const part = choices(null, names, [value]);
  const gone =
    isUsable || isNoted ? null : message(words.say("gauge.gone", { gauge: idOf(chosen) }), { isProblem: true });
  const title = make("span", {});
  const tell = () => (title.textContent = words.say("gauge.chosen", { gauge: names[part.chosen()[0]] }));
  part.element.addEventListener("change", tell);
  tell();
  return {
    // Chosen once an audit: from then on one line of it is enough.
    element: make(
      "details",
      { class: "drawer", "data-gauges": true, open: before === undefined || gone !== null },
      make("summary", {}, shape("chevron"), title),
      gone,
      part.element,
    ),
    read: () => {
      const [read] = part.chosen();
      return read === OWN ? null : Number(read.slice(1));
    },
  };
};

// As it stands on the cards.
const idOf = (number) => `B${number}`;
