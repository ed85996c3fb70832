// The picture of a step: a drawing of the office with the cuts shown on it, its places marked, and
// one of them ringed. It is a list box of places: a finger takes the nearest, arrow keys walk, and a
// screen reader reads each place's words.
//
//   const picture = makePicture({ label, onSelect, onAct, onUndo })
//   picture.show(tree, view, { cuts, places, selected })

import { make } from "../field/elements.js";
import { drawnWith } from "./steps.js";

const SVG = "http://www.w3.org/2000/svg";
// On the screen, in CSS pixels, however large the drawing is.
const DOT_PX = 5;
const SMALLEST_DOT_PX = 2;
const RING_PX = 17;

export const makePicture = ({ label, onSelect, onAct, onUndo }) => {
  const drawing = make("div", { class: "practice-drawing", "aria-hidden": "true" });
  const options = make("div", { class: "only-spoken", role: "presentation" });
  const element = make(
    "div",
    { class: "practice-picture", role: "listbox", tabindex: "0", "aria-label": label },
    drawing,
    options,
  );
  let shown = null;

  const move = (step) => {
    const { places, selected } = shown;
    const at = places.findIndex(({ id }) => id === selected);
    const next = places[Math.min(Math.max(at + step, 0), places.length - 1)];
    if (next && next.id !== selected) {
      onSelect(next.id, { byKey: true });
    }
  };

  element.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey || !shown) {
      return;
    }
    const step = stepOfKey(event.key, shown.places);
    if (step !== 0) {
      move(step);
    } else if (event.key === "Enter" || event.key === " ") {
      onAct();
    } else if (event.key.toLowerCase() === "u") {
      onUndo();
    } else {
      return;
    }
    event.preventDefault();
  });

  element.addEventListener("click", (event) => {
    const nearest = nearestPlace(drawing.firstElementChild, shown?.places ?? [], event);
    if (nearest) {
      onSelect(nearest.id, { byKey: false });
    }
  });

  const resized = new ResizeObserver(() => shown && drawMarks(drawing.firstElementChild, shown));
  resized.observe(drawing);

  return {
    element,
    show: (tree, view, { cuts, places, selected, words }) => {
      if (shown?.view !== view) {
        drawing.replaceChildren(drawingOf(view));
      }
      shown = { view, places, selected, rings: [] };
      showCuts(drawing.firstElementChild, drawnWith(tree, cuts), [`limb-${selected}`, `side-${selected}`]);
      drawMarks(drawing.firstElementChild, shown);
      options.replaceChildren(
        ...places.map((place) =>
          make("div", { role: "option", id: optionId(place), "aria-selected": String(place.id === selected) }, words(place)),
        ),
      );
      const chosen = places.find(({ id }) => id === selected);
      if (chosen) {
        element.setAttribute("aria-activedescendant", optionId(chosen));
      } else {
        element.removeAttribute("aria-activedescendant");
      }
    },
    leave: () => resized.disconnect(),
  };
};

// A picture to look at, with rings where something is wrong.
export const makeShowing = (label) => {
  const element = make("div", { class: "practice-picture practice-showing", role: "img", "aria-label": label });
  let shown = null;
  const resized = new ResizeObserver(() => shown && drawMarks(element.firstElementChild, shown));
  resized.observe(element);
  return {
    element,
    show: (tree, view, { cuts, rings, isIdeal }) => {
      if (shown?.view !== view) {
        element.replaceChildren(drawingOf(view));
      }
      shown = { view, places: [], selected: null, rings, isIdeal };
      showCuts(element.firstElementChild, drawnWith(tree, cuts));
      drawMarks(element.firstElementChild, shown);
    },
    leave: () => resized.disconnect(),
  };
};

// Whether the places go down the screen, or across it and to which side.
export const courseOf = (places) => {
  const first = places[0];
  const last = places.at(-1);
  if (!first || Math.abs(last.y - first.y) >= Math.abs(last.x - first.x)) {
    return first && last.y < first.y ? "up" : "down";
  }
  return last.x < first.x ? "left" : "right";
};

const KEYS = { ArrowUp: "up", ArrowDown: "down", ArrowLeft: "left", ArrowRight: "right" };
const OPPOSITE = { up: "down", down: "up", left: "right", right: "left" };

const stepOfKey = (key, places) => {
  const direction = KEYS[key];
  if (!direction) {
    return { Home: -places.length, End: places.length }[key] ?? 0;
  }
  const course = courseOf(places);
  if (direction === course) {
    return 1;
  }
  if (direction === OPPOSITE[course]) {
    return -1;
  }
  // Across the course: the way in which a list is read.
  return direction === "down" || direction === "right" ? 1 : -1;
};

const optionId = ({ id }) => `place-${id.replaceAll(".", "-")}`;

const drawingOf = ({ svg }) => {
  const drawn = new DOMParser().parseFromString(svg, "image/svg+xml").documentElement;
  const element = document.importNode(drawn, true);
  // Its words are said beside it.
  element.removeAttribute("role");
  element.removeAttribute("aria-labelledby");
  element.querySelectorAll("title, desc").forEach((words) => words.remove());
  element.setAttribute("focusable", "false");
  return element;
};

const showCuts = (drawing, { gone, made }, chosen = []) => {
  for (const piece of drawing.querySelectorAll("[data-key]")) {
    const { key } = piece.dataset;
    piece.classList.toggle("is-gone", key.startsWith("cut-") ? !made.has(key) : gone.has(key));
    piece.classList.toggle("is-chosen", chosen.includes(key));
  }
};

const nearestPlace = (drawing, places, event) => {
  const matrix = drawing?.getScreenCTM();
  if (!matrix || places.length === 0) {
    return null;
  }
  const { x, y } = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
  const far = (place) => (place.x - x) ** 2 + (place.y - y) ** 2;
  return places.reduce((one, other) => (far(other) < far(one) ? other : one));
};

// --- marks ---------------------------------------------------------------------------------------

const part = (name, attributes) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) {
    element.setAttribute(key, value);
  }
  return element;
};

// Each with a light line under it, so that it is seen on wood and on paper.
const circle = (place, radius, pixel, css) =>
  ["mark-under", css].map((name) =>
    part("circle", {
      cx: place.x,
      cy: place.y,
      r: radius * pixel,
      class: `mark ${name} ${css}-${name === css ? "over" : "under"}`,
      "stroke-width": (name === css ? Math.min(3.5, radius * 0.7) : Math.min(7.5, radius * 1.4)) * pixel,
    }),
  );

// Four strokes that point at a place from outside: told from a chosen place by shape.
const strokes = (place, pixel) =>
  ["mark-under", "mark-fault"].flatMap((css) =>
    [45, 135, 225, 315].map((turn) => {
      const [x, y] = [Math.cos((turn * Math.PI) / 180), Math.sin((turn * Math.PI) / 180)];
      return part("line", {
        x1: place.x + x * RING_PX * pixel,
        y1: place.y + y * RING_PX * pixel,
        x2: place.x + x * (RING_PX + 11) * pixel,
        y2: place.y + y * (RING_PX + 11) * pixel,
        class: `mark ${css}`,
        "stroke-width": (css === "mark-fault" ? 4 : 8) * pixel,
      });
    }),
  );

// Between neighbours, so that no dot hides the next.
const leastGap = (places) =>
  Math.min(...places.slice(1).map((place, at) => Math.hypot(place.x - places[at].x, place.y - places[at].y)));

const drawMarks = (drawing, { view, places, selected, rings, isIdeal = false }) => {
  drawing.querySelector(".practice-marks")?.remove();
  const scale = drawing.getScreenCTM()?.a;
  if (!scale) {
    return;
  }
  const pixel = 1 / scale;
  const marks = part("g", { class: "practice-marks" });
  const dot = Math.min(DOT_PX, Math.max(SMALLEST_DOT_PX, leastGap(places) * scale * 0.4));
  const ringed = rings.map((id) => view.places.find((place) => place.id === id)).filter(Boolean);
  marks.append(
    ...places.flatMap((place) => circle(place, dot, pixel, place.isCut ? "mark-cut" : "mark-dot")),
    ...places.filter(({ id }) => id === selected).flatMap((place) => circle(place, RING_PX, pixel, "mark-ring")),
    ...ringed.flatMap((place) =>
      isIdeal
        ? circle(place, RING_PX, pixel, "mark-right")
        : [...strokes(place, pixel), ...circle(place, RING_PX, pixel, "mark-fault")],
    ),
  );
  drawing.append(marks);
};
