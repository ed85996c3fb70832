// The start: who practises, on which block's trees, and one big key. What the office says is asked
// for when the page opens; without signal it is what the phone has.

import { key, make, message } from "../field/elements.js";
import { bigKey } from "./frame.js";
import { asJson } from "./office.js";

export const showStart = (root, app) => {
  const { words, store } = app;
  const found = { learners: [], blocks: [], learner: null, block: null, problem: null, isAsking: true };
  let isLeft = false;
  let isBusy = false;

  const ask = async () => {
    [found.learner, found.block] = [await store.get("learner"), await store.get("block")];
    found.kept = await store.get("who");
    const [who, blocks] = await Promise.all([asJson("/practice/learners.json"), asJson("/practice/blocks.json")]);
    found.isAsking = false;
    found.problem = who.problem ?? blocks.problem ?? null;
    found.learners = who.body?.learners ?? (found.kept ? [found.kept] : []);
    found.blocks = blocks.body?.blocks ?? (await store.packedBlocks());
    found.reasons = await store.reasons();
    draw();
  };

  const begin = async () => {
    const worker = found.learners.find(({ id }) => id === found.learner) ?? found.learners[0];
    const block = found.blocks.find(({ id }) => id === found.block) ?? found.blocks[0];
    if (isBusy || !worker || !block) {
      return;
    }
    isBusy = true;
    draw();
    const pack = await asJson(`/practice/pack.json?block=${block.id}`);
    try {
      if (pack.body && !pack.problem) {
        await store.savePack(pack.body);
      }
      await store.put("who", worker);
    } catch {
      found.problem = "full";
    }
    isBusy = false;
    if (!(await store.pack(block.id))) {
      found.problem ??= pack.problem;
      draw();
      return;
    }
    await app.begin(worker.id, block.id);
  };

  const choice = (name, label, options, chosen, onChoose) => {
    if (options.length < 2) {
      return options.length === 1 ? make("p", { class: "practice-chosen" }, `${label}: `, make("strong", {}, options[0].name)) : null;
    }
    const select = make(
      "select",
      { id: `choose-${name}`, onchange: () => onChoose(Number(select.value)) },
      ...options.map(({ id, name: text }) => make("option", { value: id, selected: id === chosen }, text)),
    );
    return make("div", { class: "field" }, make("label", { class: "field-label", for: select.id }, label), select);
  };

  const notes = () => {
    const { problem } = found;
    const notice = (text) => message(text, { isProblem: true });
    if (problem === "signed_out") {
      return [
        notice(words.say("practice.signed_out")),
        make("a", { class: "button", href: "/sign-in?next=/practice/" }, make("span", {}, words.say("practice.sign_in"))),
      ];
    }
    if (problem === "full") {
      return [notice(words.say("lots.store_full"))];
    }
    if (found.blocks.length === 0) {
      return [notice(words.say(problem ? "practice.nothing_here" : "practice.no_blocks"))];
    }
    if (found.learners.length === 0) {
      return [notice(words.say(problem ? "practice.nothing_here" : "practice.no_learners"))];
    }
    return [];
  };

  const draw = () => {
    if (isLeft) {
      return;
    }
    document.title = words.say("practice.title");
    const canStart = found.learners.length > 0 && found.blocks.length > 0;
    root.replaceChildren(
      make(
        "div",
        { class: "practice-start" },
        make("div", { class: "practice-top" }, make("a", { class: "practice-key", href: "/learn" }, words.say("practice.to_pages")), app.languageKey()),
        make("h1", { tabindex: "-1" }, document.title),
        make("p", { class: "lead" }, words.say("practice.what")),
        ...(found.isAsking
          ? [make("p", { role: "status" }, words.say("practice.looking"))]
          : [
              choice("learner", words.say("practice.who"), found.learners, found.learner, (id) => (found.learner = id)),
              choice("block", words.say("practice.block"), found.blocks, found.block, (id) => (found.block = id)),
              ...notes(),
              canStart
                ? bigKey(words.say(isBusy ? "practice.loading" : "practice.start"), begin, {
                    css: "button-main practice-begin",
                    "aria-disabled": isBusy ? "true" : null,
                  })
                : null,
              ...(found.reasons ?? []).map((reason) => message(words.of(reason), { isProblem: true })),
            ].filter(Boolean)),
        make("p", { class: "practice-kept", "data-kept": true }, app.keptWords()),
        app.state.counts.all > app.state.counts.sent + app.state.counts.back
          ? key(words.say("sent.send_now"), () => app.sending.send())
          : null,
        app.takeNewPage ? message(words.say("app.new_page")) : null,
        app.takeNewPage ? key(words.say("app.take_new_page"), () => app.takeNewPage()) : null,
      ),
    );
  };

  draw();
  ask().catch((error) => console.warn(error));
  return {
    redraw: draw,
    refresh: () => {
      const line = root.querySelector("[data-kept]");
      if (line) {
        line.textContent = app.keptWords();
      }
    },
    leave: () => (isLeft = true),
  };
};
