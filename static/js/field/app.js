// The page in the row: opens what the phone keeps, shows the screen that the address names, and keeps
// the foot of every screen. Screens get this object as `app`:
//
//   words, store, device, sync        the phone's words, its store, its key, its sender
//   state                             { counts, sync } as they are now
//   go("#/lots", { replace })         another screen; with `replace` the way back skips this one
//   speak(text)                       for whoever has the page read out
//   tell(text, { isProblem })         the same, and on the screen
//   notices()                         what every screen of the office side shows on top
//   report(error)                     for whoever looks into a phone
//
// Addresses: #/lots, #/audit/ID, #/audit/ID/tree/TREE, #/audit/ID/trees, #/sent, #/lock,
// #enrol=TOKEN from the QR code.

import * as device from "./device.js";
import { key, make, message, sureKey } from "./elements.js";
import { registerWorker } from "./installing.js";
import { showEnrol, showLock } from "./lock_screen.js";
import { showLots } from "./lots_screen.js";
import { showSent } from "./sent_screen.js";
import { openSession } from "./session.js";
import { openStore } from "./store.js";
import { startSync } from "./sync.js";
import { showTrees } from "./tree_screen.js";
import { showVerdict } from "./verdict_screen.js";
import { loadWords } from "./words.js";

const HAND = "field.hand";
const LANGUAGE_NAMES = { en: "English", es: "Espa\u00f1ol" };

class App {
  #root;
  #foot = make("footer", { class: "tree-foot" });
  #spoken = make("p", { class: "only-spoken", role: "status", "aria-live": "polite" });
  #screen = null;
  #session = null;
  #shown = 0;
  #takeNewPage = null;

  constructor(root, words, store) {
    this.#root = root;
    this.words = words;
    this.store = store;
    this.device = device;
    this.state = { counts: null, sync: null };
  }

  async start() {
    document.documentElement.lang = this.words.language;
    document.documentElement.classList.add("field");
    this.#root.after(this.#foot, this.#spoken);
    this.#showHand();
    this.state.counts = await this.store.counts();
    this.sync = startSync({ store: this.store, device, onState: (state) => this.#syncChanged(state) });
    this.state.sync = this.sync.state;
    this.store.onChange((change) => this.#storeChanged(change));
    addEventListener("hashchange", () => this.#route());
    document.addEventListener("visibilitychange", () => this.#wakeUp());
    if (!location.hash) {
      history.replaceState(null, "", (await this.store.place()) ?? "#/lots");
    }
    await this.#route();
    registerWorker({ onUpdate: (takeIt) => this.#offerNewPage(takeIt) });
  }

  go(hash, { replace = false } = {}) {
    if (!replace && location.hash !== hash) {
      location.hash = hash;
      return;
    }
    history.replaceState(null, "", hash);
    this.#route();
  }

  speak(text) {
    // The same words twice are two messages.
    this.#spoken.textContent = "";
    requestAnimationFrame(() => (this.#spoken.textContent = text));
  }

  tell(text, { isProblem = false } = {}) {
    this.speak(text);
    this.#screen?.note?.(text, isProblem);
  }

  report(error) {
    console.warn(error);
  }

  notices() {
    const { words } = this;
    const { sync } = this.state;
    return [
      sync.problem === "locked"
        ? [message(words.say("app.locked")), key(words.say("app.unlock"), () => this.go("#/lock"))]
        : [],
      this.#takeNewPage
        ? [message(words.say("app.new_page")), key(words.say("app.take_new_page"), () => this.#takeNewPage())]
        : [],
    ].flat();
  }

  // --- screens ----------------------------------------------------------------------------------

  async #route() {
    this.#shown += 1;
    const turn = this.#shown;
    const isStale = () => turn !== this.#shown;
    const place = readPlace(location.hash);
    const kept = await this.store.device();
    if (isStale()) {
      return;
    }
    if (place.name === "enrol" || !kept) {
      this.#showEnrol(place.token ?? null);
      return;
    }
    if (place.name === "lock" || (await device.isLocked())) {
      this.#showLock(place.name === "lock" ? "asked" : "late");
      return;
    }
    if (place.name === "audit") {
      await this.#showAudit(place, isStale);
      return;
    }
    this.#keepPlace(null);
    this.#session = null;
    await this.#show(isStale, () => (place.name === "sent" ? showSent(this.#root, this) : showLots(this.#root, this)));
  }

  async #showAudit(place, isStale) {
    if (this.#session?.id !== place.audit) {
      const session = await openSession(this.store, place.audit);
      if (isStale()) {
        return;
      }
      this.#session = session;
    }
    const session = this.#session;
    if (session === null) {
      // Signed out since, or another phone's address: the rows are not here.
      this.go("#/lots", { replace: true });
      return;
    }
    this.#keepPlace(`#/audit/${place.audit}`);
    const { view } = session;
    const isTree = place.part === "tree" || (place.part === null && view.nextTree);
    if (!isTree || view.sealed || view.givenUp) {
      await this.#show(isStale, () => showVerdict(this.#root, this, session));
      return;
    }
    const treeId = place.part === "tree" ? place.tree : null;
    if (this.#screen?.session === session) {
      this.#screen.show(treeId);
      return;
    }
    await this.#show(isStale, () => showTrees(this.#root, this, session, treeId));
  }

  async #show(isStale, open) {
    this.#leave();
    const screen = await open();
    if (isStale()) {
      screen.leave();
      return;
    }
    this.#screen = screen;
    this.#drawFoot();
  }

  #showEnrol(token) {
    this.#leave();
    this.#session = null;
    this.#drawFoot();
    showEnrol(this.#root, {
      words: this.words,
      token,
      isRevoked: this.state.sync?.problem === "revoked",
      onDone: () => this.go("#/lots", { replace: true }),
    });
  }

  #showLock(reason) {
    this.#leave();
    this.#session = null;
    this.#drawFoot();
    showLock(this.#root, {
      words: this.words,
      reason,
      onOpen: async () => {
        this.sync.syncNow();
        this.go((await this.store.place()) ?? "#/lots", { replace: true });
      },
    });
  }

  // In the store, as the answers are: the browser writes its other storage when it has time, and an
  // empty battery would bring the phone back at another screen.
  #keepPlace(hash) {
    this.store.keepPlace(hash).catch((error) => this.report(error));
  }

  #leave() {
    this.#screen?.leave();
    this.#screen = null;
    this.#root.classList.remove("is-settling");
  }

  // --- the foot ---------------------------------------------------------------------------------

  #drawFoot() {
    const { words } = this;
    const inside = this.#screen !== null;
    const language = words.languages.find((code) => code !== words.language);
    const isLeft = localStorage.getItem(HAND) === "left";
    const key_ = (text, whenPressed, attributes = {}) =>
      make("button", { type: "button", class: "key", onclick: whenPressed, ...attributes }, text);
    this.#foot.replaceChildren(
      make(
        "div",
        { class: "tree-foot-keys" },
        key_(LANGUAGE_NAMES[language], (event) => this.#choose(language, event), { lang: language, "data-language": language }),
        key_(isLeft ? words.say("foot.right_hand") : words.say("foot.left_hand"), (event) => this.#changeHand(event), { "data-hand": true }),
        ...(inside
          ? [
              key_(words.say("foot.lots"), () => this.go("#/lots")),
              key_(words.say("foot.sent"), () => this.go("#/sent")),
              key_(words.say("foot.lock"), () => this.#lock()),
              sureKey("sign_out", words.say("foot.sign_out"), words.say("foot.sign_out_again"), () => this.#signOut(), { class: "key" }),
            ]
          : []),
      ),
      make("p", { class: "aside foot-words" }, words.say("foot.local_rules")),
    );
  }

  #choose(language, event) {
    this.words.choose(language);
    document.documentElement.lang = language;
    this.#drawFoot();
    this.#foot.querySelector("[data-language]").focus({ preventScroll: true });
    backToTop(event);
    if (this.#screen) {
      this.#screen.redraw();
    } else {
      this.#route();
    }
  }

  #changeHand(event) {
    const isLeft = localStorage.getItem(HAND) === "left";
    localStorage.setItem(HAND, isLeft ? "right" : "left");
    this.#showHand();
    this.#drawFoot();
    this.#foot.querySelector("[data-hand]").focus({ preventScroll: true });
    backToTop(event);
  }

  #showHand() {
    document.documentElement.classList.toggle("left-hand", localStorage.getItem(HAND) === "left");
  }

  async #lock() {
    await device.lock();
    this.go("#/lock");
  }

  // What was not sent yet stays, and so does the key to sign it; nothing else does.
  async #signOut() {
    await this.store.signOut();
    await device.lock();
    this.#keepPlace(null);
    this.go("#/lock");
    await this.#endSession();
  }

  // Without signal the session ends by its own time; the phone is locked either way.
  async #endSession() {
    try {
      const { csrf } = await (await fetch("/field/token")).json();
      await fetch("/sign-out", { method: "POST", headers: { "X-CSRFToken": csrf } });
    } catch (error) {
      this.report(error);
    }
  }

  // --- what changes by itself -------------------------------------------------------------------

  async #storeChanged({ what, audit, elsewhere }) {
    this.state.counts = await this.store.counts();
    this.#screen?.refresh();
    if (elsewhere && ["device", "wiped"].includes(what)) {
      // Signed out, locked or revoked in another tab: nothing of it stays in sight here.
      await this.#lockIfLocked();
    } else if (elsewhere && what === "recorded" && audit === this.#session?.id) {
      // Another tab went on with this audit.
      this.#session = null;
      this.#route();
    }
  }

  #syncChanged(sync) {
    const before = this.state.sync;
    this.state.sync = { ...sync };
    if (sync.problem === "revoked" && before?.problem !== "revoked") {
        this.#route();
      return;
    }
    this.#screen?.refresh();
  }

  #wakeUp() {
    if (document.visibilityState === "visible") {
      this.#lockIfLocked();
    }
  }

  async #lockIfLocked() {
    if (this.#screen && (await device.isLocked())) {
      this.#route();
    }
  }

  #offerNewPage(takeIt) {
    this.#takeNewPage = takeIt;
    // Never in the middle of a tree: the lots and what was sent show it.
    if (!this.#session) {
      this.#screen?.redraw();
    }
  }
}

// A finger has the tree before it again; a keyboard stays where it is, which the click of a key shows.
const backToTop = (event) => {
  if (event.detail > 0) {
    window.scrollTo({ top: 0, behavior: "instant" });
  }
};

const readPlace = (hash) => {
  const enrol = /^#enrol=(.+)$/.exec(hash);
  if (enrol) {
    return { name: "enrol", token: enrol[1] };
  }
  const audit = /^#\/audit\/([0-9a-f-]+)(?:\/(trees)|\/(tree)\/(\d+))?$/.exec(hash);
  if (audit) {
    const [, id, trees, tree, treeId] = audit;
    return { name: "audit", audit: id, part: trees ?? tree ?? null, tree: Number(treeId) };
  }
  return { name: { "#/sent": "sent", "#/lock": "lock" }[hash] ?? "lots" };
};

// Over plain http there is neither a key nor a worker: the page says so and leads to what works there.
const showInsecure = (root, words) => {
  document.documentElement.lang = words.language;
  document.title = words.say("app.signal_only");
  root.replaceChildren(
    make(
      "div",
      { class: "contents" },
      make("h1", { tabindex: "-1" }, document.title),
      message(words.say("app.insecure"), { isProblem: true }),
      make("a", { class: "button button-main", href: "/" }, make("span", {}, words.say("app.to_pages"))),
    ),
  );
};

const root = document.querySelector("#field");
const words = await loadWords();
if (window.isSecureContext) {
  await new App(root, words, await openStore()).start();
} else {
  showInsecure(root, words);
}
