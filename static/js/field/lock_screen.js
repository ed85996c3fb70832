// The screens before the phone is open: enrolling it, and asking for its six digits. Keys for gloves,
// and no name of anybody: whoever finds the phone learns nothing from it.
//
//   showLock(root, { words, reason, onOpen })   reason: "asked" (locked by hand) or "late" (12 hours)
//   showEnrol(root, { words, token, isRevoked, onDone })
//                                               token: from the QR code, or null to be typed

import { enrol, unlock, unlockHere } from "./device.js";
import { key, make, message, shape } from "./elements.js";

const DIGITS = 6;
const LONGEST_NAME = 80;
const ROWS = [["1", "2", "3"], ["4", "5", "6"], ["7", "8", "9"]];

export function showLock(root, { words, reason, onOpen }) {
  const pad = makePad(words, {
    title: words.say("lock.title"),
    note: reason === "late" ? words.say("lock.late") : words.say("lock.asked"),
    onDigits: async (digits) => {
      pad.wait(words.say("lock.checking"));
      const result = await openWith(digits);
      if (result.ok) {
        pad.leave();
        onOpen();
      } else {
        pad.refuse(sentenceFor(words, result));
      }
    },
  });
  pad.show(root);
}

export function showEnrol(root, { words, token, isRevoked = false, onDone }) {
  if (!globalThis.isSecureContext || !globalThis.crypto?.subtle) {
    showSentence(root, words.say("enrol.title"), words.say("enrol.insecure"));
  } else if (mustBeInstalledFirst()) {
    show(
      root,
      heading(words.say("enrol.title")),
      make("p", {}, words.say("enrol.home_screen")),
      token ? make("p", {}, words.say("enrol.code"), ": ", make("span", { class: "lock-code" }, token)) : null,
    );
  } else if (token) {
    askName(root, { words, token, onDone, name: words.say("enrol.usual_name") });
  } else {
    askCode(root, { words, isRevoked, onDone, name: words.say("enrol.usual_name") });
  }
}

// On an iPhone a page on the home screen keeps its own storage, apart from the browser's: whoever
// enrols in the browser has an unknown phone on the home screen. Only there is `standalone` known.
const mustBeInstalledFirst = () => navigator.standalone === false;

// --- the steps of enrolling ---------------------------------------------------------------------

const askCode = (root, state) =>
  askText(root, {
    ...state,
    label: state.words.say("enrol.code"),
    note: state.isRevoked ? state.words.say("enrol.revoked") : state.words.say("enrol.no_code"),
    text: "",
    onText: (token) => askName(root, { ...state, token, problem: null }),
  });

const askName = (root, state) =>
  askText(root, {
    ...state,
    label: state.words.say("enrol.name"),
    text: state.name,
    onText: (name) => askDigits(root, { ...state, name, problem: null }),
  });

const askText = (root, { words, problem, note, label, text, onText }) => {
  const entry = make("input", {
    id: "lock-entry",
    class: "lock-entry",
    type: "text",
    value: text,
    maxlength: LONGEST_NAME,
    autocomplete: "off",
    autocapitalize: "off",
    spellcheck: "false",
  });
  const goOn = (event) => {
    event.preventDefault();
    if (entry.value.trim()) {
      onText(entry.value.trim());
    } else {
      entry.focus();
    }
  };
  show(
    root,
    heading(words.say("enrol.title")),
    problem ? message(problem, { isProblem: true }) : null,
    note ? make("p", {}, note) : null,
    make(
      "form",
      { class: "lock-form", onsubmit: goOn },
      make("label", { for: "lock-entry" }, label),
      entry,
      make("button", { type: "submit", class: "button button-main" }, make("span", {}, words.say("enrol.go_on"))),
    ),
  );
};

const askDigits = (root, state) => {
  const { words, problem } = state;
  const pad = makePad(words, {
    title: words.say("enrol.choose"),
    note: problem ?? words.say("enrol.choose_note"),
    isProblem: Boolean(problem),
    onDigits: (digits) => {
      pad.leave();
      askAgain(root, { ...state, problem: null }, digits);
    },
  });
  pad.show(root);
};

const askAgain = (root, state, chosen) => {
  const { words, token, name, onDone } = state;
  const pad = makePad(words, {
    title: words.say("enrol.again"),
    note: words.say("enrol.again_note"),
    onDigits: async (digits) => {
      if (digits !== chosen) {
        pad.leave();
        askDigits(root, { ...state, problem: words.say("enrol.differ") });
        return;
      }
      pad.wait(words.say("enrol.working"));
      const result = await enrol({ token, name, pin: digits });
      pad.leave();
      if (result.ok) {
        onDone();
      } else if (DIGITS_AGAIN.has(result.problem)) {
        askDigits(root, { ...state, problem: sentenceFor(words, result) });
      } else if (result.problem === "bad_name") {
        askName(root, { ...state, problem: sentenceFor(words, result) });
      } else if (CODE_AGAIN.has(result.problem)) {
        askCode(root, { ...state, problem: sentenceFor(words, result) });
      } else {
        const again = key(words.say("enrol.try_again"), () => askDigits(root, state), { main: true });
        showSentence(root, words.say("enrol.title"), sentenceFor(words, result), again);
      }
    },
  });
  pad.show(root);
};

// --- opening ------------------------------------------------------------------------------------

const CODE_AGAIN = new Set(["unknown_offer", "used_offer", "late_offer"]);
const DIGITS_AGAIN = new Set(["bad_digits", "guessable_digits"]);

// With signal the server decides; only where it cannot be reached does the phone.
const openWith = async (digits) => {
  try {
    const result = await unlock(digits);
    return result.problem === "unreachable" ? await unlockHere(digits) : result;
  } catch (error) {
    console.warn("the digits could not be checked", error);
    return { ok: false, problem: "phone" };
  }
};

const sentenceFor = (words, { problem, words: said, left }) => {
  if (said) {
    return words.of(said);
  }
  const own = {
    wrong_digits: () => words.count("lock.wrong", left),
    online_only: () => words.say("lock.online_only"),
    unreachable: () => words.say("enrol.unreachable"),
    unknown_device: () => words.say("lock.unknown"),
    insecure: () => words.say("enrol.insecure"),
    send_first: () => words.say("enrol.send_first"),
  }[problem];
  return own ? own() : words.say("lock.failed");
};

// --- the pad ------------------------------------------------------------------------------------

// Three columns of keys and a mark for each digit entered; the sixth digit sends. Whoever has a
// keyboard types.
const makePad = (words, { title, note, isProblem = false, onDigits }) => {
  let digits = "";
  let isBusy = false;
  const marks = make("div", { class: "lock-marks", "aria-hidden": "true" });
  const noteLine = make("p", { class: "lock-note", role: "status" });
  const spoken = make("p", { class: "only-spoken", role: "status" });
  const listening = new AbortController();

  const say = (text, { problem = false } = {}) => {
    noteLine.classList.toggle("lock-problem", problem);
    noteLine.replaceChildren(...(problem ? [shape("fault")] : []), make("span", {}, text));
  };
  const draw = () => {
    marks.replaceChildren(
      ...Array.from({ length: DIGITS }, (_, place) =>
        make("span", { class: place < digits.length ? "lock-mark lock-mark-full" : "lock-mark" }),
      ),
    );
  };
  const press = (digit) => {
    if (isBusy || digits.length >= DIGITS) {
      return;
    }
    digits += digit;
    changed();
    if (digits.length === DIGITS) {
      const entered = digits;
      onDigits(entered);
    }
  };
  const takeBack = () => {
    if (!isBusy) {
      digits = digits.slice(0, -1);
      changed();
    }
  };
  const changed = () => {
    draw();
    // How many, never which: whoever stands by may hear it.
    spoken.textContent = words.say("lock.entered", { entered: digits.length, all: DIGITS });
  };
  const typed = (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (/^[0-9]$/.test(event.key)) {
      press(event.key);
    } else if (event.key === "Backspace") {
      takeBack();
    }
  };
  const digitKey = (digit) => make("button", { type: "button", class: "lock-key", onclick: () => press(digit) }, digit);
  const backKey = make(
    "button",
    { type: "button", class: "lock-key lock-key-back", "aria-label": words.say("lock.take_back"), onclick: takeBack },
    shape("undo"),
  );

  draw();
  say(note, { problem: isProblem });
  return {
    show(root) {
      // A pad that was left without a word, as when the language changes, hears no keys either.
      const here = make(
        "div",
        { class: "lock-pad", role: "group", "aria-label": title },
        ...ROWS.flat().map(digitKey),
        backKey,
        digitKey("0"),
      );
      show(root, heading(title), noteLine, marks, here, spoken);
      addEventListener(
        "keydown",
        (event) => (here.isConnected ? typed(event) : listening.abort()),
        { signal: listening.signal },
      );
    },
    wait(text) {
      isBusy = true;
      say(text);
    },
    refuse(text) {
      isBusy = false;
      digits = "";
      draw();
      say(text, { problem: true });
      navigator.vibrate?.([120, 80, 120]);
    },
    leave() {
      listening.abort();
    },
  };
};

// --- parts --------------------------------------------------------------------------------------

const heading = (text) => make("h1", { tabindex: "-1" }, text);

const show = (root, ...parts) => {
  root.replaceChildren(make("div", { class: "lock" }, ...parts));
  root.querySelector("h1").focus({ preventScroll: true });
  window.scrollTo({ top: 0, behavior: "instant" });
};

const showSentence = (root, title, sentence, ...keys) =>
  show(root, heading(title), message(sentence, { isProblem: true }), ...keys);
