// The tree screen by touch: the answer to the last open stage sends the tree, so that a tree without
// faults takes one tap a stage. A fault's names take the screen and cost one tap more. Whoever uses a
// keyboard or a screen reader keeps the plain form: nothing moves or sends until "next tree".

const SETTLING_MS = 350;
const TOUCH_TO_CLICK_MS = 1000;

const form = document.querySelector("form[data-tree]");
if (form) {
  start(form);
}

function start(form) {
  const stages = [...form.querySelectorAll("[data-stage]")]
    .filter((section) => section.querySelector(".tile-row"))
    .map((section) => readStage(section));
  const screen = { form, stages, touchedAt: -Infinity, settledAt: 0, sent: false };

  form.classList.add("is-live");
  form.querySelector("[data-live-help]").hidden = false;
  stages.forEach((stage) => listen(screen, stage));

  // Mouse, pen and finger come with a pointer event just before the click; keys do not.
  form.addEventListener("pointerup", (event) => (screen.touchedAt = event.timeStamp), true);
  form.addEventListener("click", (event) => guard(screen, event), true);
  form.addEventListener("submit", (event) => sendOnce(screen, event));
  window.addEventListener("pageshow", (event) => {
    if (event.persisted) {
      screen.sent = false;
      form.classList.remove("is-sending");
    }
    settle(screen);
  });

  stages.forEach(showNames);
  const unnamed = stages.find((stage) => isFault(stage) && !isNamed(stage));
  if (unnamed) {
    unnamed.section.classList.add("is-open");
  }
  feel(document.querySelector("[data-sign=stop]") ? [300, 120, 300] : []);
}

function readStage(section) {
  return {
    section,
    answers: [...section.querySelectorAll(".tile-row input")],
    names: [...section.querySelectorAll(".fault-tile input")],
    more: section.querySelector("[data-more]"),
    named: section.querySelector("[data-named]"),
    // What was chosen before the tap that is being handled: a second tap on "fault" takes it back.
    before: section.querySelector(".tile-row :checked")?.value,
  };
}

function listen(screen, stage) {
  for (const input of stage.answers) {
    input.addEventListener("click", (event) => answer(screen, stage, input, isTouch(screen, event)));
  }
  for (const input of stage.names) {
    input.addEventListener("click", (event) => name(screen, stage, input, isTouch(screen, event)));
  }
  stage.more?.addEventListener("click", () => chooseSeveral(screen, stage));
}

function answer(screen, stage, input, touched) {
  const again = stage.before === input.value;
  stage.before = input.value;
  if (input.value === "fault" && stage.names.length > 0) {
    answerFault(screen, stage, again, touched);
  } else {
    stage.names.forEach((other) => (other.checked = false));
    closeNames(screen, stage);
    feel([20]);
    sendWhenComplete(screen, touched);
  }
  showNames(stage);
}

function answerFault(screen, stage, again, touched) {
  const open = stage.section.classList.contains("is-naming-now");
  if (again && open && !isNamed(stage)) {
    takeBack(stage);
    closeNames(screen, stage);
  } else if (again && open) {
    closeNames(screen, stage);
    sendWhenComplete(screen, touched);
  } else {
    openNames(screen, stage, touched);
  }
  feel([20, 60, 20]);
}

function name(screen, stage, input, touched) {
  if (touched && !isSeveral(stage)) {
    stage.names.forEach((other) => (other.checked = other === input));
    closeNames(screen, stage);
    sendWhenComplete(screen, touched);
  }
  showNames(stage);
  feel([20]);
}

function chooseSeveral(screen, stage) {
  if (!isSeveral(stage)) {
    stage.more.setAttribute("aria-pressed", "true");
    [stage.more.textContent, stage.more.dataset.done] = [stage.more.dataset.done, stage.more.textContent];
    return;
  }
  if (!isNamed(stage)) {
    return;
  }
  closeNames(screen, stage);
  sendWhenComplete(screen, true);
}

function openNames(screen, stage, touched) {
  stage.section.classList.add("is-open");
  if (!touched) {
    return;
  }
  screen.form.classList.add("is-naming");
  document.documentElement.classList.add("shows-names");
  stage.section.classList.add("is-naming-now");
  if (stage.more) {
    stage.more.hidden = false;
  }
  window.scrollTo({ top: 0, behavior: "instant" });
  settle(screen);
}

function closeNames(screen, stage) {
  screen.form.classList.remove("is-naming");
  document.documentElement.classList.remove("shows-names");
  stage.section.classList.remove("is-naming-now", "is-open");
  if (stage.more) {
    stage.more.hidden = true;
    if (isSeveral(stage)) {
      stage.more.setAttribute("aria-pressed", "false");
      [stage.more.textContent, stage.more.dataset.done] = [stage.more.dataset.done, stage.more.textContent];
    }
  }
}

function takeBack(stage) {
  stage.answers.forEach((input) => (input.checked = false));
  stage.before = undefined;
}

function showNames(stage) {
  const labels = stage.names
    .filter((input) => input.checked)
    .map((input) => input.closest("label").querySelector(".tile-label").textContent.trim());
  stage.named.textContent = labels.join(", ");
}

function isFault(stage) {
  return stage.answers.some((input) => input.checked && input.value === "fault");
}

function isNamed(stage) {
  return stage.names.length === 0 || stage.names.some((input) => input.checked);
}

function isSeveral(stage) {
  return stage.more?.getAttribute("aria-pressed") === "true";
}

function isAnswered(stage) {
  return stage.answers.some((input) => input.checked) && (!isFault(stage) || isNamed(stage));
}

function isTouch(screen, event) {
  return event.timeStamp - screen.touchedAt < TOUCH_TO_CLICK_MS;
}

function sendWhenComplete(screen, touched) {
  const measuring = screen.form.querySelector("#measures[open]");
  if (touched && !measuring && screen.stages.every(isAnswered)) {
    screen.form.requestSubmit(screen.form.querySelector("button[name=save]"));
  }
}

function sendOnce(screen, event) {
  if (screen.sent) {
    event.preventDefault();
    return;
  }
  screen.sent = true;
  screen.form.classList.add("is-sending");
}

function settle(screen) {
  screen.form.classList.add("is-settling");
  clearTimeout(screen.settling);
  screen.settling = setTimeout(() => screen.form.classList.remove("is-settling"), SETTLING_MS);
}

function guard(screen, event) {
  if (screen.sent && !event.target.closest("[type=submit]")) {
    event.preventDefault();
    event.stopPropagation();
  }
}

function feel(pattern) {
  if (pattern.length > 0 && navigator.userActivation?.hasBeenActive) {
    navigator.vibrate?.(pattern);
  }
}
