// The lots to audit: one key takes everything along for tomorrow while there is signal; below it stands
// what is on the phone, each lot with one key to begin or to go on. Without signal it is what it was.
//
//   showLots(root, app)    returns { redraw(), refresh(), leave() }

import { readAudit } from "./audit.js";
import { key, make, message, putAnew, section, shape, sureKey, untilReleased } from "./elements.js";
import { keptWords } from "./kept.js";
import { lotReason, sentence } from "./reasons.js";
import { StoreFull } from "./store.js";

const JSON_TYPE = "application/json";
// RFC 9110, 15.5.2: whoever asks has to say first who that is.
const SHUT_OUT = 401;

export const showLots = async (root, app) => {
  const screen = { root, app, lots: [], news: [], inOffice: [], isPreparing: false, isShutOut: false, kept: null };
  await readLots(screen);
  draw(screen);
  root.querySelector("h1").focus({ preventScroll: true });
  window.scrollTo({ top: 0, behavior: "instant" });
  askOffice(screen);
  const forget = app.store.onChange(async ({ what }) => {
    if (["packages", "device", "wiped", "audit"].includes(what) && !screen.isPreparing) {
      await readLots(screen);
      await drawAgain(screen);
    }
  });
  return {
    redraw: () => draw(screen),
    refresh: () => screen.kept.replaceChildren(keptWords(app.state, app.words)),
    leave: forget,
    note: (text, isProblem) => {
      screen.news = [{ say: () => text, isProblem }];
      draw(screen);
    },
  };
};

const readLots = async (screen) => {
  const { store } = screen.app;
  const [packages, audits] = await Promise.all([store.packages(), store.audits()]);
  const lot = (pkg) => {
    const audit = audits.find(({ draw: drawn }) => drawn === pkg.draw) ?? null;
    return { pkg, audit, view: audit && readAudit(pkg, audit.items) };
  };
  screen.lots = packages.map(lot);
};

const draw = (screen) => {
  const { root, app, lots, news } = screen;
  const { words } = app;
  const open = lots.filter((lot) => !lot.view?.sealed && isFinished(lot));
  const toCome = lots.filter((lot) => !isFinished(lot));
  const done = lots.filter(({ view }) => view?.sealed);
  document.title = words.say("lots.title");
  screen.kept = make("p", { class: "tree-saved" }, keptWords(app.state, words));
  putAnew(
    root,
    make(
      "div",
      { class: "contents" },
      make(
        "div",
        { class: "screen-head" },
        make("h1", { tabindex: "-1", "data-part": "title" }, document.title),
        screen.kept,
      ),
      ...app.notices(),
      ...shutOutNotice(screen),
      ...news.map(({ say, isProblem }) => message(say(), { isProblem })),
      prepareKey(screen),
      make("p", { class: "lead" }, onPhoneWords(screen)),
      open.length ? make("ul", { class: "field-lines" }, ...open.map((lot) => lotLine(screen, lot))) : null,
      toCome.length
        ? section(
            words.say("lots.to_come"),
            make("ul", { class: "field-lines" }, ...toCome.map((lot) => rowToComeLine(screen, lot))),
          )
        : null,
      officeSection(screen),
      done.length
        ? section(words.say("lots.done"), make("ul", { class: "field-lines" }, ...done.map((lot) => lotLine(screen, lot))))
        : null,
    ),
  );
};

// A browser forgets who it was when it is closed; what was entered is sent all the same, but rows are
// given only after the six digits.
const shutOutNotice = ({ app, isShutOut }) => {
  const { words, state } = app;
  if (!isShutOut || state.sync?.problem === "locked") {
    return [];
  }
  return [message(words.say("app.locked")), key(words.say("app.unlock"), () => app.go("#/lock"))];
};

// By the word of the office or of this phone: the audit is begun first, and its first item says it.
const isFinished = ({ pkg, audit }) =>
  pkg.lot !== null || Boolean(audit?.items.some(({ kind }) => kind === "row_finished"));

// When the phone or the office has something new. Another screen may have come meanwhile.
const drawAgain = async (screen) => {
  const { root, kept } = screen;
  await untilReleased(root);
  if (root.contains(kept)) {
    draw(screen);
  }
};

const prepareKey = (screen) => {
  const { words } = screen.app;
  return make(
    "button",
    {
      type: "button",
      class: "button button-main prepare-key",
      "data-part": "prepare",
      "aria-disabled": String(screen.isPreparing),
      onclick: () => prepare(screen),
    },
    shape("plus"),
    make("span", {}, screen.isPreparing ? words.say("lots.preparing") : words.say("lots.prepare")),
  );
};

const onPhoneWords = ({ app, lots }) => {
  const { words } = app;
  if (lots.length === 0) {
    return words.say("lots.none_here");
  }
  const latest = lots.map(({ pkg }) => pkg.prepared_at).sort().at(-1);
  return words.count("lots.here", lots.length, { when: words.moment(latest) });
};

const lotLine = ({ app }, { pkg, audit, view }) => {
  const { words, go } = app;
  const name = make("h2", { class: "row-title" }, words.of(pkg.name));
  const where = make("p", {}, [pkg.block, pkg.crew].join(" / "));
  if (view?.sealed) {
    return make(
      "li",
      {},
      name,
      where,
      make("p", {}, words.term("outcome", view.outcome), ". ", sentence(lotReason(pkg, view.standings, words))),
      key(words.say("lots.look"), () => go(`#/audit/${audit.id}`), { "data-part": `lot ${pkg.draw}` }),
    );
  }
  const kept = view?.answered.size ?? 0;
  const isPassedOver = !pkg.chosen && kept === 0;
  const begin = async () => {
    const id = await app.store.beginAudit(pkg.draw);
    go(`#/audit/${id}`);
  };
  return make(
    "li",
    {},
    name,
    where,
    pkg.purpose === "re_audit" ? make("p", {}, words.term("purpose", "re_audit")) : null,
    isPassedOver ? make("p", {}, words.say("lots.passed_over")) : null,
    make("p", {}, kept ? words.count("lots.kept", kept) : words.count("lots.most_trees", pkg.wave_sizes.at(-1))),
    key(beginWords(words, kept, isPassedOver), begin, {
      main: !isPassedOver,
      shape: "onward",
      "data-part": `lot ${pkg.draw}`,
    }),
  );
};

const beginWords = (words, kept, isPassedOver) => {
  if (kept) {
    return words.say("lots.go_on");
  }
  return isPassedOver ? words.say("lots.all_the_same") : words.say("lots.begin");
};

// A row that was drawn ahead: its trees stay unseen until somebody says that the crew is through.
const rowToComeLine = ({ app }, { pkg }) => {
  const { store, words, go } = app;
  const finish = async () => {
    try {
      const id = await store.beginAudit(pkg.draw);
      await store.record(id, pkg, "row_finished", {});
      if (pkg.chosen) {
        go(`#/audit/${id}`);
      }
    } catch (error) {
      app.report(error);
      app.tell(words.say("lots.store_full"), { isProblem: true });
    }
  };
  return make(
    "li",
    {},
    make("h3", { class: "row-title" }, words.of(pkg.name)),
    make("p", {}, [pkg.block, pkg.crew].join(" / ")),
    sureKey(`through ${pkg.draw}`, words.say("lots.crew_is_through"), words.say("lots.through_again"), finish, {
      shape: "right",
    }),
  );
};

// Lots that the office has and this phone has not: known only while there is signal.
const officeSection = ({ app, lots, inOffice }) => {
  const { words } = app;
  const here = new Set(lots.map(({ pkg }) => pkg.lot));
  const missing = inOffice.filter(({ lot }) => !here.has(lot));
  if (missing.length === 0) {
    return null;
  }
  return section(
    words.say("lots.in_office"),
    make(
      "ul",
      { class: "field-lines" },
      ...missing.map(({ name, block }) =>
        make("li", {}, make("h3", { class: "row-title" }, words.of(name)), make("p", {}, block)),
      ),
    ),
  );
};

const askOffice = async (screen) => {
  try {
    const answer = await fetch("/field/lots");
    screen.isShutOut = answer.status === SHUT_OUT;
    screen.inOffice = answer.ok ? await answer.json() : [];
    await drawAgain(screen);
  } catch {
    // Without signal nothing is known of the office, and nothing is said of it.
  }
};

const prepare = async (screen) => {
  const { app } = screen;
  const { words } = app;
  if (screen.isPreparing) {
    return;
  }
  screen.isPreparing = true;
  screen.news = [];
  draw(screen);
  screen.root.querySelector("[data-part=prepare]").focus();
  try {
    screen.news = await takeAlong(screen);
  } catch (error) {
    app.report(error);
    screen.isShutOut = error.status === SHUT_OUT;
    screen.news = screen.isShutOut ? [] : [{ say: () => problemWords(error, words), isProblem: true }];
  } finally {
    screen.isPreparing = false;
  }
  await readLots(screen);
  await drawAgain(screen);
};

const problemWords = (error, words) =>
  error instanceof StoreFull ? words.say("lots.store_full") : words.say("lots.no_contact");

const takeAlong = async ({ app }) => {
  const { store, words } = app;
  const { csrf } = await ask("/field/token");
  const drawn = await ask("/field/prepare", {
    method: "POST",
    headers: { "Content-Type": JSON_TYPE, "X-CSRFToken": csrf },
    body: JSON.stringify({ lots: "all" }),
  });
  await store.savePackages(drawn.prepared);
  const here = await store.packages();
  const known = here.map(({ draw: id, standard }) => `${id}:${standard.digest}`).join(",");
  const rest = await ask(`/field/packages?known=${known}&language=${words.language}`);
  await store.savePackages(rest.prepared);
  await store.dropClosed(rest.open);
  app.sync.syncNow();
  const problems = drawn.problems.map((problem) => ({
    say: () => words.say("lots.problem", { lot: words.of(problem.name), reason: words.of(problem.words) }),
    isProblem: true,
  }));
  return [{ say: () => words.say("lots.ready"), isProblem: false }, ...problems];
};

const ask = async (address, options = {}) => {
  const answer = await fetch(address, { headers: { Accept: JSON_TYPE }, ...options });
  if (!answer.ok) {
    throw Object.assign(new Error(`${address} answered ${answer.status}`), { status: answer.status });
  }
  return answer.json();
};
