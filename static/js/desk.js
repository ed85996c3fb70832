// The desk, where a paper sheet is typed in: a key fills its box and the next box comes by itself.
// Without this module the boxes are plain entries, and what is sent is the same.

const TREE_MISSED = "*";
const SIDE_MISSED = "/";
const ANOTHER = "+";
const WHOLE_TREE_STAGES = ["top", "limbs"];

const form = document.querySelector("form[data-desk]");
if (form) {
  start(form);
}

function start(form) {
  const desk = {
    form,
    rows: [...form.querySelectorAll("tr[data-row]")].map(readRow).filter((row) => row.boxes.length > 0),
    columns: readColumns(form),
    said: form.querySelector("[data-said]"),
    before: new Map(),
    sent: false,
  };
  desk.boxes = desk.rows.flatMap((row) => row.boxes);
  desk.boxes.forEach((box) => desk.before.set(box, box.value));

  form.addEventListener("keydown", (event) => press(desk, event));
  form.addEventListener("input", (event) => type(desk, event));
  form.addEventListener("focusin", ({ target }) => desk.boxes.includes(target) && target.select());
  form.addEventListener("submit", (event) => sendOnce(desk, event));
  window.addEventListener("beforeunload", (event) => isChanged(desk) && !desk.sent && event.preventDefault());
  window.addEventListener("pageshow", () => (desk.sent = false));
  count(desk);
}

function readRow(element) {
  const boxes = [...element.querySelectorAll("input[data-box]")];
  return { boxes, missed: boxes.at(-1), isReserve: element.closest("[data-reserve]") !== null };
}

function readColumns(form) {
  const heads = [...form.querySelectorAll("thead [data-column]")];
  return new Map(
    heads
      .filter((head) => !("measured" in head.dataset))
      .map((head) => [
        head.dataset.column,
        { answers: head.dataset.answers.split(" ").filter(Boolean), faults: head.dataset.faults },
      ]),
  );
}

function press(desk, event) {
  if (event.key === "Enter" && event.ctrlKey) {
    event.preventDefault();
    desk.form.requestSubmit();
    return;
  }
  const box = event.target;
  if (!desk.boxes.includes(box) || event.ctrlKey || event.altKey || event.metaKey || event.isComposing) {
    return;
  }
  const moved = {
    Enter: () => onward(desk, box),
    ArrowDown: () => beside(desk, box, 1),
    ArrowUp: () => beside(desk, box, -1),
    ArrowRight: () => isAtEnd(box) && step(desk, box, 1),
    ArrowLeft: () => isAtStart(box) && step(desk, box, -1),
    [ANOTHER]: () => isKeyed(desk, box) && another(desk, box),
    [TREE_MISSED]: () => isKeyed(desk, box) && miss(desk, box, TREE_MISSED),
    [SIDE_MISSED]: () => isKeyed(desk, box) && miss(desk, box, SIDE_MISSED),
  }[event.key]?.();
  if (moved || event.key === "Enter") {
    event.preventDefault();
  }
}

function type(desk, event) {
  const box = event.target;
  const column = desk.columns.get(box.dataset.box);
  say(desk, "");
  if (column && box.value !== "") {
    const typed = box.value.trim().toUpperCase();
    const isAnswer = column.answers.includes(typed);
    const isFault = typed !== "" && [...typed].every((letter) => column.faults.includes(letter));
    box.value = typed;
    if (isAnswer || isFault) {
      box.removeAttribute("aria-invalid");
      // A count may have a second figure.
      if (!column.answers.some((other) => other !== typed && other.startsWith(typed))) {
        onward(desk, box);
      }
    } else if (!column.answers.some((other) => other.startsWith(typed))) {
      box.setAttribute("aria-invalid", "true");
      say(desk, desk.form.dataset.unknown);
    }
  }
  count(desk);
}

// The next box to fill: past what is decided or missed, past the box for missed trees. From the last
// row of the walk, or of the reserve, on to the key that saves.
function onward(desk, box) {
  const row = rowOf(desk, box);
  const next = row.boxes.slice(row.boxes.indexOf(box) + 1, -1).find((other) => isAsked(row, other));
  if (next) {
    return focus(next);
  }
  const below = desk.rows.slice(desk.rows.indexOf(row) + 1).filter((other) => other.isReserve === row.isReserve);
  const first = below.flatMap((other) => other.boxes.slice(0, -1).filter((one) => isAsked(other, one)))[0];
  return focus(first ?? desk.form.querySelector("button[type=submit]"));
}

function beside(desk, box, by) {
  const row = rowOf(desk, box);
  const other = desk.rows[desk.rows.indexOf(row) + by];
  return other ? focus(other.boxes[row.boxes.indexOf(box)]) : false;
}

function step(desk, box, by) {
  const other = desk.boxes[desk.boxes.indexOf(box) + by];
  return other ? focus(other) : false;
}

// A second fault belongs to the box filled last: back to it, behind what it holds.
function another(desk, box) {
  const before = desk.boxes.slice(0, desk.boxes.indexOf(box) + 1);
  const last = before.findLast((other) => isKeyed(desk, other) && other.value !== "");
  if (!last) {
    return false;
  }
  last.focus();
  last.setSelectionRange(last.value.length, last.value.length);
  return true;
}

function miss(desk, box, sign) {
  const row = rowOf(desk, box);
  row.missed.value = sign;
  count(desk);
  const lacking = row.boxes.slice(0, -1).find((other) => isAsked(row, other) && other.value === "");
  return lacking ? focus(lacking) : onward(desk, row.boxes.at(-2));
}

function focus(box) {
  box.focus();
  return true;
}

function rowOf(desk, box) {
  return desk.rows.find((row) => row.boxes.includes(box));
}

function isKeyed(desk, box) {
  return desk.columns.has(box.dataset.box);
}

// Whether somebody who types from top to bottom has anything to write into a box.
function isAsked(row, box) {
  const missed = row.missed.value.trim();
  if (missed !== "" && missed !== SIDE_MISSED) {
    return false;
  }
  if (missed === SIDE_MISSED && !isOfWholeTree(box.dataset.box)) {
    return false;
  }
  return !("settled" in box.dataset && box.value === "");
}

// Top and limbs are judged on the whole tree, the others on the drawn side.
function isOfWholeTree(name) {
  return WHOLE_TREE_STAGES.includes(name.split("_")[0]);
}

function isAtEnd(box) {
  return box.selectionEnd === box.value.length;
}

function isAtStart(box) {
  return box.selectionStart === 0;
}

function isChanged(desk) {
  return desk.boxes.some((box) => box.value !== desk.before.get(box));
}

function isOpen(row) {
  return !row.isReserve && row.missed.value.trim() === "" && row.boxes.slice(0, -1).some((box) => box.value.trim() === "" && !("settled" in box.dataset));
}

function count(desk) {
  // Once every stage is decided no tree is left to type, however many rows are empty.
  if (!("stopped" in desk.form.dataset)) {
    desk.form.querySelector("[data-left]").textContent = desk.rows.filter(isOpen).length;
  }
  for (const [stage, column] of desk.columns) {
    const faulty = desk.rows.filter((row) => hasFault(row, stage, column)).length;
    desk.form.querySelector(`[data-faulty="${stage}"]`).textContent = faulty;
  }
}

function hasFault(row, stage, column) {
  const missed = row.missed.value.trim();
  if (missed === TREE_MISSED || (missed === SIDE_MISSED && !isOfWholeTree(stage))) {
    return true;
  }
  const typed = row.boxes.find((box) => box.dataset.box === stage)?.value.trim().toUpperCase() ?? "";
  return typed !== "" && [...typed].every((letter) => column.faults.includes(letter));
}

function say(desk, text) {
  if (desk.said.textContent !== text) {
    desk.said.textContent = text;
  }
}

function sendOnce(desk, event) {
  if (desk.sent) {
    event.preventDefault();
  }
  desk.sent = true;
}
