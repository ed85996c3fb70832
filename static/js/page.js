// Small helps on every page; each page works without them.

// A page that came back with problems starts at their summary.
document.querySelector("[data-problems]")?.focus();

for (const menu of document.querySelectorAll("details.menu")) {
  menu.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && menu.open) {
      menu.open = false;
      menu.querySelector("summary").focus();
    }
  });
  document.addEventListener("click", (event) => {
    if (menu.open && !menu.contains(event.target)) {
      menu.open = false;
    }
  });
}

for (const key of document.querySelectorAll("[data-print]")) {
  key.hidden = false;
  key.addEventListener("click", () => window.print());
}
