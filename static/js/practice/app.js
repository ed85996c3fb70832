// The practice page: who learns on which block's trees, then one thing a screen. Screens get this
// object as `app`:
//
//   words, store                  the phone's words and its store
//   state                         { counts, sync } as they are now
//   pack, progress                the trees of the block, how far the learner is
//   speak(text)                   for whoever has the page read out
//   begin(workerId, blockId)      trees for a learner
//   next()                        the next tree or question
//   stop()                        back to the start
//   keepOpen(walk)                what is half done, behind the presses
//   finish(item, progress)        what was done, on the disk

import { make } from "../field/elements.js";
import { registerWorker } from "../field/installing.js";
import { keptWords } from "../field/kept.js";
import { loadWords } from "../field/words.js";
import { quiet } from "./aloud.js";
import { showExercise } from "./exercise_screen.js";
import { freshProgress, nextTask } from "./schedule.js";
import { startSending } from "./sending.js";
import { showStart } from "./start_screen.js";
import { openStore } from "./store.js";
import { showTree } from "./tree_screen.js";

const RESUMED_WITHIN_MS = 30 * 60_000;
const LANGUAGE_NAMES = { en: "English", es: "Espa\u00f1ol" };

class App {
  #root;
  #spoken = make("p", { class: "only-spoken", role: "status", "aria-live": "polite" });
  #screen = null;
  #open = Promise.resolve();

  constructor(root, words, store) {
    this.#root = root;
    this.words = words;
    this.store = store;
    this.pack = null;
    this.progress = null;
    this.state = { counts: { all: 0, sent: 0, back: 0 }, sync: { problem: null, sending: false } };
  }

  async start() {
    document.documentElement.lang = this.words.language;
    this.#root.after(this.#spoken);
    this.state.counts = await this.store.counts();
    this.store.onChange(() => this.#refresh());
    this.sending = startSending({
      store: this.store,
      onState: (state) => {
        this.state.sync = { ...state };
        this.#screen?.refresh?.();
      },
    });
    await this.#resume();
    registerWorker({ worker: "/practice/worker.js", scope: "/practice/", onUpdate: (takeIt) => (this.takeNewPage = takeIt) });
  }

  speak(text) {
    // The same words twice are two messages.
    this.#spoken.textContent = "";
    requestAnimationFrame(() => (this.#spoken.textContent = text));
  }

  keptWords() {
    return keptWords(this.state, this.words);
  }

  languageKey() {
    const language = this.words.languages.find((code) => code !== this.words.language);
    return make(
      "button",
      { type: "button", class: "practice-key", lang: language, "data-language": language, onclick: () => this.#choose(language) },
      LANGUAGE_NAMES[language],
    );
  }

  // --- from screen to screen ----------------------------------------------------------------------

  async begin(workerId, blockId) {
    this.pack = await this.store.pack(blockId);
    this.progress = (await this.store.progress(workerId)) ?? freshProgress(workerId);
    await this.store.put("learner", workerId);
    await this.store.put("block", blockId);
    const open = await this.store.get("open");
    if (open && this.#fits(open, workerId)) {
      this.#showTask(open);
    } else {
      this.next();
    }
  }

  next() {
    const task = nextTask(this.pack, this.progress);
    const walk = { ...task, worker: this.progress.worker_id, block: this.pack.block.id, edition: this.pack.edition };
    this.keepOpen(walk);
    this.#showTask(walk);
  }

  async stop() {
    await this.#open;
    this.#show(() => showStart(this.#root, this));
  }

  keepOpen(walk) {
    const kept = { ...walk, keptAt: Date.now() };
    this.#open = this.#open
      .then(() => this.store.put("open", kept))
      .catch((error) => console.warn(error));
  }

  async finish(item, progress) {
    await this.#open;
    await this.store.finish(
      {
        worker_id: progress.worker_id,
        standard_version_id: this.pack.standard_version_id,
        language: this.words.language,
        done_at: new Date().toISOString(),
        ...item,
      },
      progress,
    );
    this.progress = progress;
    this.sending.send();
  }

  // A page loaded again in the middle of a tree goes on with it; later somebody else may have the
  // phone, and the start asks who.
  async #resume() {
    const [open, blockId] = [await this.store.get("open"), await this.store.get("block")];
    this.pack = blockId ? await this.store.pack(blockId) : null;
    const isFresh = open && Math.abs(Date.now() - open.keptAt) < RESUMED_WITHIN_MS;
    if (isFresh && this.pack && this.#fits(open, open.worker)) {
      this.progress = (await this.store.progress(open.worker)) ?? freshProgress(open.worker);
      this.#showTask(open);
    } else {
      this.#show(() => showStart(this.#root, this));
    }
  }

  // Not another learner's, and not of trees that are no longer here.
  #fits(open, workerId) {
    const { pack } = this;
    const known = open.kind === "tree" ? pack.trees : pack.exercises;
    return (
      open.worker === workerId &&
      open.block === pack.block.id &&
      open.edition === pack.edition &&
      known.some(({ id }) => id === open.id)
    );
  }

  #showTask(walk) {
    this.#show(() => (walk.kind === "tree" ? showTree : showExercise)(this.#root, this, walk));
  }

  #show(open) {
    this.#screen?.leave?.();
    this.#screen = null;
    quiet();
    this.#screen = open();
    window.scrollTo({ top: 0, behavior: "instant" });
  }

  #choose(language) {
    quiet();
    this.words.choose(language);
    document.documentElement.lang = language;
    this.#screen?.redraw();
    this.#root.querySelector("[data-language]")?.focus({ preventScroll: true });
  }

  async #refresh() {
    this.state.counts = await this.store.counts();
    this.#screen?.refresh?.();
  }
}

const root = document.querySelector("#practice");
const words = await loadWords("/practice/phrases.json");
await new App(root, words, openStore()).start();
