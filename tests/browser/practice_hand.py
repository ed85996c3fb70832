"""A thumb at the practice page: reads its screens, presses its keys, knows what the phone keeps."""

from collections.abc import Callable, Mapping
from typing import Any

from playwright.sync_api import Locator, expect

from audits.vocabulary import Role
from tests.browser.people import Person

# What the phone keeps, read past the page's own modules.
_KEPT = """
const opened = await new Promise((resolve, reject) => {
  const request = indexedDB.open("practice");
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});
const all = (store) => new Promise((resolve) => {
  opened.transaction(store).objectStore(store).getAll().onsuccess =
    ({ target }) => resolve(target.result);
});
const one = (store, key) => new Promise((resolve) => {
  opened.transaction(store).objectStore(store).get(key).onsuccess =
    ({ target }) => resolve(target.result ?? null);
});
"""


class PracticeHand(Person):
    """Somebody who practises."""

    def open_practice(self, role: Role = Role.WORKER) -> None:
        self.sign_in(role)
        self.page.goto("/practice/")
        expect(self.page.locator(".practice-begin")).to_be_visible()

    def begin(self) -> None:
        expect(self.page.locator(".practice-begin")).to_be_enabled(timeout=30_000)
        self.press(self.page.locator(".practice-begin"))
        # The trees are drawn when they are first asked for, which takes a busy machine a while.
        expect(self.page.locator(".practice-screen")).to_be_visible(timeout=30_000)

    def kept(self, body: str) -> Any:
        return self.page.evaluate(f"async () => {{ {_KEPT} {body} }}")

    @property
    def results(self) -> list[dict]:
        return self.kept("return all('results');")

    @property
    def walk(self) -> dict:
        return self.kept("return one('phone', 'open');")

    @property
    def pack(self) -> dict:
        return self.kept("return (await all('packs'))[0];")

    def tree(self) -> dict:
        walk = self.walk
        return next(tree for tree in self.pack["trees"] if tree["id"] == walk["id"])

    def ideal(self) -> Mapping[str, Any]:
        """Return one right way to prune the tree on the screen."""
        return self._of_level("ideal")

    def cuts(self) -> Mapping[str, Any]:
        """Return what is cut on the tree by now, or was from the start."""
        return self.walk.get("cuts") or self._of_level("before")

    def _of_level(self, which: str) -> Mapping[str, Any]:
        walk, found = self.walk, self.tree()[which]
        level = walk["level"]
        return found["all"] if level == "all" else found[level]["+".join(walk["stages"])]

    def show_tree(self, tree_id: str, level: str, stages: list[str]) -> None:
        """Put a certain tree on the screen, as if its turn had come."""
        pack = self.pack
        kind = next(tree["kind"] for tree in pack["trees"] if tree["id"] == tree_id)
        self.kept(
            f"""
            const walk = {{ kind: 'tree', id: {tree_id!r}, level: {level!r}, stages: {stages!r},
              card: {{ stage: {stages[0]!r}, kind: {kind!r} }}, keptAt: Date.now(),
              worker: await one('phone', 'learner'), block: await one('phone', 'block'),
              edition: {pack["edition"]} }};
            await new Promise((resolve) => {{
              const write = opened.transaction('phone', 'readwrite');
              write.objectStore('phone').put(walk, 'open');
              write.oncomplete = resolve;
            }});
            """
        )
        self.page.reload()
        expect(self.page.locator("[data-done]")).to_be_visible()

    def expect_cuts(self, fits: Callable[[Mapping[str, Any]], bool]) -> None:
        """Wait until the phone has kept cuts that fit; it writes behind the presses."""
        for _ in range(50):
            if fits(self.cuts()):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"kept were {self.cuts()}")

    def go_on(self, key: str) -> None:
        """Press a key that leads to another screen, and wait for that."""
        screen = self.page.locator(".practice-screen").element_handle()
        self.tap_key(key)
        self.page.wait_for_function("(screen) => !screen.isConnected", arg=screen)

    # --- keys ------------------------------------------------------------------------------------

    def button(self, name: str) -> Locator:
        return self.page.locator(f"[data-{name}]")

    def tap_key(self, name: str) -> None:
        self.press(self.button(name))

    def select(self, place: str) -> None:
        """Walk with the keys to a place."""
        option = self.page.locator(f"#{_option_id(place)}")
        first = self.page.locator("[role=option]").first
        if option.get_attribute("aria-selected") == "true":
            return
        while first.get_attribute("aria-selected") != "true":
            self.press(self.page.locator("[data-move='-1']"))
        while option.get_attribute("aria-selected") != "true":
            self.press(self.page.locator("[data-move='1']"))

    def cut(self, place: str) -> None:
        self.select(place)
        self.tap_key("act")

    def prune(self, cuts: Mapping[str, Any]) -> None:
        """Make cuts on every step of the tree, then hand it in."""
        while self.button("done").count():
            for place in self._cuts_here(cuts):
                self.cut(place)
            self.go_on("done")

    def _cuts_here(self, cuts: Mapping[str, Any]) -> list[str]:
        stage, _, limb = self.page.locator("[data-step]").get_attribute("data-step").partition("/")
        head = cuts["heads"].get(limb)
        wanted = {
            "top": [cuts["top"]] if cuts["top"] else [],
            "limbs": cuts["limbs"],
            "columns": [side for side in cuts["sides"] if side.startswith(f"{limb}.")],
            "heading": [head] if head else [],
        }[stage]
        ids = self.page.locator("[role=option]").evaluate_all("(all) => all.map(({ id }) => id)")
        return [place for place in wanted if _option_id(place) in ids]


def _option_id(place: str) -> str:
    return f"place-{place.replace('.', '-')}"
