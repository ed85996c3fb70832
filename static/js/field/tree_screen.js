// One sampled tree after the other, laid out like the tree. The screen has the structure and the
// classes of templates/field/tree.html; the rows of tiles are the server's own markup, put into the
// page once a lot. The tap that answers the last open stage keeps the tree: only when it lies on the
// phone's disk does the next one come.
//
//   const screen = showTrees(root, app, session, treeId)    treeId: a tree to change, or null
//     screen.show(treeId)     another tree of the same audit
//     screen.redraw()         in another language, with all that was tapped
//     screen.refresh()        what is kept and sent has changed
//     screen.leave()

import { KEPT, STOP, feel } from "../feel.js";
import { startTiles } from "../tiles.js";
import { maySkip } from "./audit.js";
import { key, make, putAnew, shape } from "./elements.js";
import { EMPTY, answersOf, entryOf, tileOfMeasure } from "./entry.js";
import { gaugeChoice } from "./gauges.js";
import { keptWords } from "./kept.js";
import { photoKey } from "./photo.js";
import { placeOf } from "./places.js";
import { signOf, tallyWords } from "./reasons.js";
import { signElement } from "./sign.js";
import { measureWords, measuring } from "./steppers.js";
import { StoreFull } from "./store.js";
import { reserveLeft } from "./walk.js";

export const showTrees = (root, app, session, treeId) => {
  const screen = new TreeScreen(root, app, session);
  screen.draw();
  screen.show(treeId);
  return screen;
};

class TreeScreen {
  #root;
  #app;
  #tree = null;
  #missed = null;
  #measures = {};
  #gauge = undefined;
  #sections = new Map();
  #notice = null;
  #isKeeping = false;
  #tiles = null;
  #form = null;
  #head = null;
  #more = null;

  constructor(root, app, session) {
    this.#root = root;
    this.#app = app;
    this.session = session;
  }

  // --- the frame, once a lot and language -------------------------------------------------------

  draw() {
    document.documentElement.classList.add("tree-screen");
    const { words } = this.#app;
    this.#head = make("div", { class: "tree-head" });
    this.#more = make("div", { class: "tree-more" });
    this.#form = make(
      "form",
      { class: "tree-form", novalidate: true, "data-tree": true },
      // The first key of a form is what Enter presses: it must never be "tree missed".
      make("button", { type: "submit", name: "save", value: "1", hidden: true }),
      this.#stages(),
      this.#keys(),
      this.#measureDrawer(),
      this.#notTreeDrawer(),
      make("p", { class: "aside tree-help" }, words.say("tree.help")),
    );
    this.#form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.#keep();
    });
    this.#root.replaceChildren(this.#head, this.#form, this.#more);
    this.#tiles = startTiles(this.#form, {
      mayComplete: () => this.#onlyMeasured().every(({ stage }) => this.#isSettled(stage)),
      whenComplete: () => this.#keep(),
      whenAnswered: (stage) => this.#answered(stage),
    });
    this.#form.addEventListener("change", () => this.#keepDraft());
  }

  #stages() {
    const { pkg } = this.session;
    const holder = document.createElement("template");
    holder.innerHTML = pkg.screens[this.#app.words.language];
    const stages = holder.content.querySelector(".stages");
    this.#sections = new Map(
      [...stages.querySelectorAll("[data-stage]")].map((section) => [section.dataset.stage, section]),
    );
    for (const [stage, section] of this.#sections) {
      section.querySelector(".stage-line").append(make("span", { class: "stage-tally", "data-tally": true }));
      this.#addMeasureKey(stage, section);
      this.#addPhotoKey(stage, section);
    }
    return stages;
  }

  // Where a standard takes nothing but measures, a key stands in place of the tiles.
  #addMeasureKey(stage, section) {
    if (!this.#rules(stage).only_measured) {
      return;
    }
    section.querySelector(".stage-words")?.remove();
    section.append(
      make(
        "button",
        { type: "button", class: "tile measure-tile", "data-measure": true, onclick: () => this.#measure(stage) },
        make("span", { class: "tile-face" }, make("span", { class: "tile-label", "data-measured": true })),
      ),
    );
  }

  #addPhotoKey(stage, section) {
    const names = section.querySelector(".fault-names");
    if (names) {
      names.append(this.#photoKey(stage));
      names.classList.add("has-photo-key");
    }
  }

  #photoKey(stage) {
    const { words } = this.#app;
    return photoKey(stage ? words.say("photo.short") : words.say("photo.tree"), {
      whenTaken: (blob) => this.#keepPhoto(stage, blob),
      whenProblem: () => this.#app.tell(words.say("photo.problem"), { isProblem: true }),
    });
  }

  #keys() {
    const { words } = this.#app;
    const missed = (value, text) =>
      make(
        "button",
        { type: "button", class: "button", "data-missed": value, onclick: () => this.#pressMissed(value) },
        text,
      );
    return make(
      "div",
      { class: "tree-keys" },
      missed("tree", words.say("tree.missed")),
      missed("side", words.say("tree.side_missed")),
      make("button", { class: "button button-main", type: "submit", name: "save", value: "1" }, words.say("tree.next")),
    );
  }

  #measureDrawer() {
    const { words } = this.#app;
    const stages = this.session.pkg.stages.filter((rules) => rules.measurable && !rules.only_measured);
    if (stages.length === 0) {
      return null;
    }
    return drawer(
      words.say("tree.measure"),
      make(
        "div",
        { class: "kinds" },
        ...stages.map(({ stage }) => key(words.term("stage", stage), () => this.#measure(stage))),
      ),
    );
  }

  #notTreeDrawer() {
    const { words } = this.#app;
    return drawer(
      words.say("tree.not_a_tree"),
      make("p", {}, words.say("tree.what_stands")),
      make(
        "div",
        { class: "kinds" },
        ...this.session.pkg.kinds.map(({ value, name }) => key(words.of(name), () => this.#replace(value))),
      ),
    );
  }

  // --- one tree ---------------------------------------------------------------------------------

  // Another tree: the given one to change its answers, or else the next that is open.
  show(treeId = null) {
    const { view, id } = this.session;
    const tree = treeId === null ? view.nextTree : view.walk.find((one) => one.id === treeId);
    if (!tree) {
      this.#app.go(`#/audit/${id}/trees`, { replace: true });
      return;
    }
    const isOther = this.#tree?.id !== tree.id;
    this.#takeTaps();
    this.#leaveMeasure();
    this.#tree = tree;
    const answers = view.answered.get(tree.id);
    const given = answers ? entryOf(this.session.pkg, answers) : EMPTY;
    this.#write(this.session.draftOf(tree.id) ?? given);
    this.#form.querySelectorAll("details[open]").forEach((open) => (open.open = false));
    this.#drawHead();
    this.#drawMore();
    if (isOther) {
      this.#tiles.settle();
      window.scrollTo({ top: 0, behavior: "instant" });
      // Whoever has the page read out starts at the new tree.
      this.#head.querySelector("h1").focus({ preventScroll: true });
    }
  }

  redraw() {
    const entry = this.#read();
    this.#notice = null;
    this.draw();
    this.#write(entry);
    this.#drawHead();
    this.#drawMore();
  }

  note(text) {
    this.#notice = text;
    this.refresh();
  }

  leave() {
    document.documentElement.classList.remove("tree-screen", "shows-names");
  }

  // The rest of the head stays as it is: a key that is being pressed must not be put anew.
  refresh() {
    this.#head.querySelector(".tree-saved").textContent = this.#notice ?? keptWords(this.#app.state, this.#app.words);
  }

  // What is only read: the tree, where it stands, what is kept, the sign.
  #drawHead(problem = null) {
    const { words, state } = this.#app;
    const { view, pkg } = this.session;
    const { order, total, place, side, direction } = placeOf(pkg, view.walk, this.#tree, words);
    const title = words.say("tree.title", { order, total });
    const last = view.lastScored;
    const between = () => make("span", { "aria-hidden": "true" }, " /");
    document.title = title;
    putAnew(
      this.#head,
      make(
        "div",
        { class: "tree-place" },
        last && last.id !== this.#tree.id ? this.#undoKey() : null,
        make("h1", { tabindex: "-1", "data-part": "title" }, title),
        make("p", { class: "tree-saved" }, this.#notice ?? keptWords(state, words)),
        make(
          "p",
          { class: "tree-where" },
          make("strong", {}, place, between()),
          " ",
          make("span", {}, side, between()),
          " ",
          make("span", {}, direction),
        ),
      ),
      signElement(problem ?? signOf(pkg, view, words)),
    );
    if (problem) {
      this.#head.querySelector(".sign").setAttribute("role", "alert");
    }
  }

  #undoKey() {
    return make(
      "button",
      { type: "button", class: "undo", "data-part": "undo", onclick: () => this.#undo() },
      shape("undo"),
      make("span", {}, this.#app.words.say("tree.undo")),
    );
  }

  #drawMore() {
    const { words, go } = this.#app;
    const { view, pkg, id } = this.session;
    const isAnswered = view.answered.has(this.#tree.id);
    const isLast = view.lastScored?.id === this.#tree.id;
    this.#more.replaceChildren(
      ...[
        pkg.purpose === "re_audit" ? make("p", {}, words.say("tree.counts_both")) : null,
        isAnswered && view.nextTree
          ? key(words.say("tree.on_to_next"), () => this.#onward(), { shape: "onward" })
          : null,
        isLast ? key(words.say("tree.take_back"), () => this.#takeBack(), { shape: "undo" }) : null,
        this.#photoKey(null),
        key(words.say("tree.all_trees"), () => go(`#/audit/${id}/trees`)),
      ].filter(Boolean),
    );
  }

  // --- what stands on the screen ----------------------------------------------------------------

  #read() {
    const tiles = {};
    for (const [stage, section] of this.#sections) {
      const value = section.querySelector(".tile-row input:checked")?.value;
      if (value !== undefined) {
        const named = [...section.querySelectorAll(".fault-tile input:checked")].map((input) => input.value);
        tiles[stage] = { value, faults: value === "fault" ? named : [] };
      }
    }
    return { missed: this.#missed, tiles, measures: { ...this.#measures }, gauge: this.#gauge };
  }

  #write({ missed, tiles, measures, gauge }) {
    this.#missed = missed;
    this.#measures = { ...measures };
    this.#gauge = gauge;
    for (const [stage, section] of this.#sections) {
      const chosen = tiles[stage];
      for (const input of section.querySelectorAll(".tile-row input")) {
        input.checked = input.value === chosen?.value;
      }
      for (const input of section.querySelectorAll(".fault-tile input")) {
        input.checked = chosen?.faults.includes(input.value) ?? false;
      }
    }
    this.#mark();
    this.#tiles.read();
    this.#nameMeasures();
  }

  // Words in place of the tiles of a stage that needs no answer, tallies, keys that are chosen.
  #mark() {
    const { words } = this.#app;
    const { view } = this.session;
    for (const [stage, section] of this.#sections) {
      const standing = view.standings.find((one) => one.stage === stage);
      const settled = this.#settledWords(stage, standing);
      section.classList.toggle("stage-settled", settled !== null || standing.outcome !== "open");
      section.querySelector("[data-tally]").textContent = tallyWords(standing, words);
      section.querySelectorAll(".stage-problem, [data-settled]").forEach((old) => old.remove());
      const body = section.querySelector(".tile-row, [data-measure]");
      body.hidden = settled !== null;
      if (settled !== null) {
        body.before(make("p", { class: "stage-words", "data-settled": true }, settled));
      }
      if (settled !== null || this.#measures[stage]) {
        section.dataset.answered = "";
      } else {
        delete section.dataset.answered;
      }
      if (!this.#measures[stage]) {
        this.#named(stage)?.classList.remove("is-right");
      }
      const measured = section.querySelector("[data-measured]");
      if (measured) {
        measured.textContent = this.#measures[stage]
          ? this.#measureResult(stage)
          : words.say("tree.measure");
        measured.closest("button").classList.toggle("is-chosen", Boolean(this.#measures[stage]));
      }
    }
    for (const pressed of this.#form.querySelectorAll("[data-missed]")) {
      const isChosen = pressed.dataset.missed === this.#missed;
      pressed.classList.toggle("is-chosen", isChosen);
      pressed.setAttribute("aria-pressed", String(isChosen));
    }
  }

  #settledWords(stage, standing) {
    const { words } = this.#app;
    if (this.#missed && this.#rules(stage).missed[this.#missed]) {
      return this.#missed === "tree" ? words.say("tree.missed") : words.say("tree.side_missed");
    }
    return this.#maySkip().has(stage) ? tallyWords(standing, words) : null;
  }

  #maySkip() {
    return maySkip(this.session.pkg, this.session.view, this.#tree.id);
  }

  #measureResult(stage) {
    const { words } = this.#app;
    const measure = this.#measures[stage];
    const tile = tileOfMeasure(this.#rules(stage), measure);
    const text = measureWords(this.session.pkg, measure, words);
    const named = tile?.faults.map((fault) => words.term("fault", fault)) ?? [];
    return [text, ...named].join(", ");
  }

  // Beside the name of a stage with tiles stands what was measured.
  #nameMeasures() {
    for (const stage of Object.keys(this.#measures)) {
      const named = this.#sections.get(stage).querySelector(".tile-row") && this.#named(stage);
      if (named) {
        named.textContent = this.#measureResult(stage);
        named.classList.toggle("is-right", !tileOfMeasure(this.#rules(stage), this.#measures[stage])?.faults.length);
      }
    }
  }

  #named(stage) {
    return this.#sections.get(stage).querySelector("[data-named]");
  }

  #rules(stage) {
    return this.session.pkg.stages.find((rules) => rules.stage === stage);
  }

  #onlyMeasured() {
    return this.session.pkg.stages.filter((rules) => rules.only_measured);
  }

  #isSettled(stage) {
    return this.#sections.get(stage).dataset.answered !== undefined;
  }

  // A phone whose battery ends in the middle of a tree comes back to what was tapped.
  #keepDraft() {
    this.session.keepDraft(this.#tree.id, this.#read()).catch((error) => this.#app.report(error));
  }

  #dropDraft() {
    this.session.dropDraft().catch((error) => this.#app.report(error));
  }

  // --- what is pressed --------------------------------------------------------------------------

  // A tile was tapped: it takes the place of a measure, and a missed tree was not missed after all.
  #answered(stage) {
    const wasNoted = this.#notice !== null;
    const changes = this.#measures[stage] !== undefined || this.#missed === "tree";
    this.#notice = null;
    delete this.#measures[stage];
    if (this.#missed === "tree") {
      this.#missed = null;
    }
    // Anything more than filling the tile would make each tap wait.
    if (changes || this.#sections.get(stage).querySelector(".stage-problem")) {
      this.#mark();
    }
    if (this.#head.querySelector("[role=alert]")) {
      this.#drawHead();
    } else if (wasNoted) {
      this.refresh();
    }
  }

  #pressMissed(value) {
    if (this.#isKeeping) {
      return;
    }
    this.#missed = this.#missed === value ? null : value;
    this.#write({ ...this.#read(), ...(this.#missed === "tree" ? { tiles: {}, measures: {} } : {}) });
    this.#keepDraft();
    feel(KEPT);
    const isDone = this.#tiles.isComplete() && this.#onlyMeasured().every(({ stage }) => this.#isSettled(stage));
    if (this.#missed && isDone) {
      this.#keep();
    }
  }

  async #keep() {
    if (this.#isKeeping) {
      return;
    }
    const { pkg } = this.session;
    const { answers, problems } = answersOf(pkg, this.#read(), this.#maySkip());
    if (problems) {
      this.#showProblems(problems);
      return;
    }
    const { words } = this.#app;
    await this.#keepItem("tree", { tree: this.#tree.id, answers }, (order) => words.say("tree.kept", { order }));
  }

  #takeTaps() {
    this.#isKeeping = false;
    this.#tiles.release();
  }

  // Keeps an item, then goes on to the next tree. What cannot be kept stays on the screen.
  async #keepItem(kind, body, spoken) {
    const { words } = this.#app;
    this.#isKeeping = true;
    this.#tiles.hold();
    const { order } = placeOf(this.session.pkg, this.session.view.walk, this.#tree, words);
    this.#notice = null;
    try {
      await this.session.record(kind, body);
    } catch (error) {
      this.#app.report(error);
      this.#takeTaps();
      this.#drawHead(this.#notKept(error));
      return false;
    }
    // No tap is taken until the next tree stands there.
    this.#dropDraft();
    this.#app.speak(spoken(order));
    this.#onward();
    return true;
  }

  #onward() {
    const { id, view } = this.session;
    feel(view.nextTree ? KEPT : STOP);
    this.#app.go(`#/audit/${id}`, { replace: true });
  }

  #notKept(error) {
    const { words } = this.#app;
    const reason = isFull(error) ? words.say("tree.store_full") : words.say("tree.store_failed");
    return { state: "not_kept", words: words.say("sign.not_kept"), reason };
  }

  #showProblems(problems) {
    for (const [stage, section] of this.#sections) {
      section.querySelector(".stage-problem")?.remove();
      const row = section.querySelector("[role=radiogroup], [data-measure]");
      if (!problems[stage]) {
        row.removeAttribute("aria-describedby");
        continue;
      }
      const problem = make(
        "p",
        { class: "field-problem stage-problem", id: `${stage}-problem` },
        shape("fault"),
        make("span", {}, this.#app.words.say(problems[stage])),
      );
      row.before(problem);
      row.setAttribute("aria-describedby", problem.id);
    }
    const first = this.#sections.get(this.session.pkg.stages.map(({ stage }) => stage).find((stage) => problems[stage]));
    (first.querySelector(".tile-row input:checked, .tile-row input, [data-measure]")).focus();
    this.#app.speak(this.#app.words.say("tree.unanswered"));
  }

  #undo() {
    if (this.#isKeeping) {
      return;
    }
    this.#dropDraft();
    this.#notice = null;
    const { id, view } = this.session;
    this.#app.go(`#/audit/${id}/tree/${view.lastScored.id}`);
  }

  #takeBack() {
    const { words } = this.#app;
    return this.#keepItem("take_back", { tree: this.#tree.id }, (order) => words.say("tree.taken_back", { order }));
  }

  async #replace(kind) {
    if (this.#isKeeping) {
      return;
    }
    const { words } = this.#app;
    const { pkg, view } = this.session;
    const instead = reserveLeft(pkg, view.replacements)[0]?.id ?? null;
    const said = words.say("tree.replaced");
    const body = { tree: this.#tree.id, kind, instead };
    if (await this.#keepItem("not_a_tree", body, () => said)) {
      this.note(said);
    }
  }

  async #keepPhoto(stage, blob) {
    const { store, words } = this.#app;
    await store.addPhoto({
      audit: this.session.id,
      tree: this.#tree.id,
      stage,
      at: new Date().toISOString(),
      blob,
    });
    this.#app.tell(words.say("photo.kept"));
  }

  // --- measures ---------------------------------------------------------------------------------

  #measure(stage) {
    const { words } = this.#app;
    const { pkg } = this.session;
    const given = this.#measures[stage] ?? null;
    const part = measuring(pkg, this.#rules(stage), { words, given });
    const isNoted = this.#gauge !== undefined;
    const gauges = gaugeChoice(pkg, stage, words, {
      chosen: isNoted ? this.#gauge : this.session.gauge,
      isNoted,
    });
    const problem = make("div", { role: "alert" });
    const title = make("h2", { class: "measure-title", tabindex: "-1" }, words.term("stage", stage));
    const panel = make(
      "div",
      { class: "measure-panel" },
      title,
      problem,
      part.element,
      gauges?.element,
      make(
        "div",
        { class: "measure-keys" },
        key(words.say("measure.leave"), () => {
          this.#leaveMeasure();
          this.#focusOn(stage);
        }),
        key(
          words.say("measure.done"),
          (event) => {
            const measure = part.read();
            if (gauges) {
              this.#gauge = this.session.gauge = gauges.read();
            }
            if (!this.#takeMeasure(stage, measure)) {
              problem.replaceChildren(
                make("p", { class: "field-problem" }, shape("fault"), make("span", {}, words.say("measure.name_fault"))),
              );
              return;
            }
            const touched = this.#tiles.isTouch(event);
            this.#leaveMeasure();
            const isDone = this.#tiles.isComplete() && this.#onlyMeasured().every((one) => this.#isSettled(one.stage));
            if (touched && isDone) {
              this.#keep();
            } else {
              this.#focusOn(stage);
            }
          },
          { main: true },
        ),
      ),
    );
    this.#form.classList.add("is-measuring");
    document.documentElement.classList.add("shows-names");
    this.#form.querySelector(".stages").before(panel);
    window.scrollTo({ top: 0, behavior: "instant" });
    this.#tiles.settle();
    title.focus({ preventScroll: true });
  }

  // Undo leaves it too: what was measured on one tree must not come to stand on another.
  #leaveMeasure() {
    this.#form.querySelector(".measure-panel")?.remove();
    this.#form.classList.remove("is-measuring");
    document.documentElement.classList.remove("shows-names");
  }

  // False where the measure says fault and nobody named it.
  #takeMeasure(stage, measure) {
    let tile;
    try {
      tile = tileOfMeasure(this.#rules(stage), measure);
    } catch {
      return false;
    }
    const entry = this.#read();
    if (tile) {
      entry.tiles[stage] = tile;
    }
    entry.measures[stage] = measure;
    this.#write({ ...entry, missed: entry.missed === "tree" ? null : entry.missed });
    this.#keepDraft();
    return true;
  }

  #focusOn(stage) {
    window.scrollTo({ top: 0, behavior: "instant" });
    const section = this.#sections.get(stage);
    section.querySelector(".tile-row input:checked, .tile-row input, [data-measure]")?.focus({ preventScroll: true });
  }
}

const isFull = (error) => error instanceof StoreFull;

const drawer = (title, ...contents) =>
  make("details", { class: "drawer" }, make("summary", {}, shape("chevron"), make("span", {}, title)), ...contents);
