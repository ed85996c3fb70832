// What is kept, what was sent, and what the office sent back with its reason: that stays in sight here
// and can be written to a file, so that nothing that was tapped is ever lost.
//
//   showSent(root, app)    returns { redraw(), refresh(), leave() }

import { key, make, message, putAnew, section, shape, untilReleased } from "./elements.js";
import { placeOf } from "./places.js";
import { walkOf } from "./walk.js";

const FILE_NAME = "sent-back.json";

export const showSent = async (root, app) => {
  const screen = { root, app, queue: [], packages: [], photos: [], news: null };
  await readQueue(screen);
  draw(screen);
  root.querySelector("h1").focus({ preventScroll: true });
  window.scrollTo({ top: 0, behavior: "instant" });
  const again = async () => {
    await readQueue(screen);
    await untilReleased(root);
    if (root.querySelector(".sent-screen")) {
      draw(screen);
    }
  };
  return { redraw: () => draw(screen), refresh: again, leave: () => {} };
};

const readQueue = async (screen) => {
  const { store } = screen.app;
  const [queue, packages, photos] = await Promise.all([store.queue(), store.packages(), store.photos()]);
  Object.assign(screen, { queue, packages, photos: photos.filter(({ state }) => state !== "waiting") });
};

const draw = (screen) => {
  const { root, app, queue } = screen;
  const { words, state } = app;
  const { counts, sync } = state;
  const back = queue.filter((entry) => entry.state !== "waiting");
  document.title = words.say("sent.title");
  const facts = [
    [words.say("sent.kept"), counts.all],
    [words.say("sent.sent"), counts.sent],
    [words.say("sent.waiting"), counts.waiting],
    [words.say("sent.back"), back.length],
    [words.say("sent.photos"), counts.photos],
  ];
  putAnew(
    root,
    make(
      "div",
      { class: "contents sent-screen" },
      make("h1", { tabindex: "-1", "data-part": "title" }, document.title),
      make("p", { class: "lead", role: "status" }, contactWords(sync, words)),
      ...app.notices(),
      make(
        "dl",
        { class: "sent-counts" },
        ...facts.map(([name, number]) => make("div", {}, make("dt", {}, name), make("dd", {}, String(number)))),
      ),
      counts.isLate ? message(words.say("sent.late"), { isProblem: true }) : null,
      key(sync.sending ? words.say("sent.sending") : words.say("sent.send_now"), () => app.sync.syncNow(), {
        main: true,
        shape: "onward",
        "data-part": "send",
      }),
      back.length
        ? section(
            words.say("sent.back_title"),
            make("p", {}, words.say("sent.back_words")),
            make("ul", { class: "field-lines" }, ...back.map((entry) => backLine(screen, entry))),
            key(words.say("sent.export"), () => exportFile(app), { "data-part": "export" }),
          )
        : null,
      screen.photos.length
        ? section(
            words.say("sent.photos_back_title"),
            make("p", {}, words.say("sent.photos_back_words")),
            make("ul", { class: "field-lines" }, ...screen.photos.map((photo) => photoLine(screen, photo))),
          )
        : null,
      key(words.say("sent.to_lots"), () => app.go("#/lots"), { "data-part": "lots" }),
    ),
  );
};

const contactWords = (sync, words) => {
  if (sync.sending) {
    return words.say("sent.sending");
  }
  if (sync.lastContact === null) {
    return words.say("sent.no_contact_yet");
  }
  return words.say("sent.last_contact", { when: words.moment(sync.lastContact) });
};

const backLine = ({ app, packages }, { item, state, words: reason, because }) => {
  const { words } = app;
  const why =
    state === "damaged" ? words.term("held", "damaged") : reason ? words.of(reason) : words.term("held", because);
  return make(
    "li",
    {},
    make("h3", { class: "sent-back" }, shape("back"), make("span", {}, whatWords(item, packages, words))),
    make("p", {}, why),
  );
};

// A photo that the office did not take can be saved like any other; only then it leaves the page.
const photoLine = ({ app, packages }, { id, audit, tree, at, blob }) => {
  const { words, store } = app;
  const pkg = packages.find(({ trees }) => trees.some((drawn) => drawn.id === tree));
  const save = async () => {
    saveFile(blob, `photo-${audit.slice(0, 8)}-${tree}.jpg`);
    await store.dropPhoto(id);
  };
  return make(
    "li",
    {},
    make("h3", { class: "sent-back" }, shape("back"), make("span", {}, pkg ? words.of(pkg.name) : words.say("sent.a_photo"))),
    make("p", {}, words.moment(at)),
    blob ? key(words.say("sent.save_photo"), save) : make("p", {}, words.term("held", "damaged")),
  );
};

const whatWords = (item, packages, words) => {
  const pkg = item && packages.find(({ draw: id }) => id === item.draw);
  if (!pkg) {
    return words.say("sent.an_entry");
  }
  const lot = words.of(pkg.name);
  if (item.kind === "row_finished") {
    return words.say("sent.row_finished", { lot });
  }
  const tree = item.body.tree && pkg.trees.find(({ id }) => id === item.body.tree);
  if (!tree) {
    return words.say("sent.verdict_of", { lot });
  }
  const walk = walkOf(pkg, []);
  const isWalked = walk.some(({ id }) => id === tree.id);
  return isWalked ? placeOf(pkg, walk, tree, words).place : words.say("sent.entry_of", { lot });
};

const exportFile = async (app) => saveFile(await app.store.exportRejected(), FILE_NAME);

const saveFile = (blob, name) => {
  const address = URL.createObjectURL(blob);
  const link = make("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  // The download has its own copy by then.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
};
