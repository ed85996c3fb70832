"""The templates and style sheets by themselves, without the pages' own figures."""

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from flask import get_template_attribute, render_template
from jinja2 import StrictUndefined, nodes
from jinja2.meta import find_referenced_templates
from wtforms import DateField, Form, IntegerField, RadioField, SelectField, StringField
from wtforms.fields import SelectChoice
from wtforms.validators import InputRequired

from audits.vocabulary import STAGES, LotState, Outcome, Result
from printables.drawing.palette import COLOURS
from tests.tree import PROJECT

TEMPLATES = PROJECT / "webapp" / "templates"
STYLE_SHEETS = PROJECT / "static" / "css"
SCRIPTS = PROJECT / "static" / "js"

# What the content security policy would block, or what would bring in markup from outside.
NOT_ALLOWED = {
    "an inline style": r"<style\b|\sstyle\s*=",
    "an inline script": r"<script\b(?![^>]*\bsrc=)|\son[a-z]+\s*=\s*[\"']|javascript:",
    "unescaped data": r"\|\s*safe\b|\bautoescape\b",
    "a resource from outside": r"(?:src|href|action)\s*=\s*[\"'](?:https?:)?//",
}
SPOKEN_ATTRIBUTES = {"alt", "aria-label", "placeholder", "title"}
# Stands for an expression while the text around it is read.
EXPRESSION = "\N{OBJECT REPLACEMENT CHARACTER}"


def templates() -> list[str]:
    return sorted(str(path.relative_to(TEMPLATES)) for path in TEMPLATES.rglob("*.html"))


def source(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def without_comments(text: str) -> str:
    return re.sub(r"\{#.*?#\}", "", text, flags=re.DOTALL)


class Reader(HTMLParser):
    """Collects what a page says, its elements' attributes, and the texts of its elements."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.texts += [value or "" for name, value in attrs if name in SPOKEN_ATTRIBUTES]

    def handle_data(self, data):
        self.texts.append(data)

    def all(self, tag: str, **attributes: str) -> list[dict[str, str | None]]:
        return [
            found
            for name, found in self.elements
            if name == tag and all(found.get(key) == value for key, value in attributes.items())
        ]

    def ids(self) -> list[str]:
        return [found["id"] for _, found in self.elements if found.get("id")]


def read(markup: str) -> Reader:
    reader = Reader()
    reader.feed(markup)
    return reader


@pytest.mark.parametrize("name", templates())
@pytest.mark.parametrize("what", NOT_ALLOWED)
def test_no_template_holds(what, name):
    found = re.search(NOT_ALLOWED[what], without_comments(source(name)), re.IGNORECASE)
    assert found is None, f"{name}: {found and found[0]}"


@pytest.mark.parametrize("text", ['<p style="color:red">', "<style>", "<p STYLE = 'x'>"])
def test_an_inline_style_is_recognised(text):
    assert re.search(NOT_ALLOWED["an inline style"], text, re.IGNORECASE)


@pytest.mark.parametrize("text", ["<script>", "<a onclick='x()'>", '<a href="javascript:x()">'])
def test_an_inline_script_is_recognised(text):
    assert re.search(NOT_ALLOWED["an inline script"], text, re.IGNORECASE)


@pytest.mark.parametrize("name", templates())
def test_every_word_of_a_template_can_be_translated(name):
    # The one block whose text is a class and is read by nobody.
    text = re.sub(r"block page_class %\}.*?\{%", "%}{%", without_comments(source(name)))
    text = re.sub(r"\{%.*?%\}", " ", text, flags=re.DOTALL)
    # A name made by an expression, as in <{{ level }}>, is read as some element.
    text = re.sub(r"(</?)\{\{.*?\}\}", r"\1div", text, flags=re.DOTALL)
    text = re.sub(r"\{\{.*?\}\}", EXPRESSION, text, flags=re.DOTALL)
    untranslated = [said for said in read(text).texts if re.search(r"[^\W\d_]", said)]
    assert untranslated == []


def test_a_word_outside_the_catalogue_is_recognised():
    assert read('<p>Rows</p><img alt="Tree">').texts == ["Rows", "Tree"]


def test_every_template_compiles_and_refers_to_templates_that_exist(app):
    assert app.jinja_env.undefined is StrictUndefined
    known = set(templates())
    for name in known:
        app.jinja_env.get_template(name)
        referred = set(find_referenced_templates(app.jinja_env.parse(source(name))))
        assert referred <= known, name


def test_links_lead_to_pages_that_exist(app):
    missing = set()
    for name in templates():
        for call in app.jinja_env.parse(source(name)).find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name == "url_for":
                target = call.args[0]
                if isinstance(target, nodes.Const) and target.value not in app.view_functions:
                    missing.add((name, target.value))
    assert missing == set()


def test_static_files_that_templates_name_exist(app):
    for name in templates():
        for call in app.jinja_env.parse(source(name)).find_all(nodes.Call):
            for keyword in call.kwargs:
                if keyword.key == "filename" and isinstance(keyword.value, nodes.Const):
                    assert (PROJECT / "static" / keyword.value.value).is_file(), name


def test_style_sheets_use_only_properties_that_are_defined():
    texts = {path.name: path.read_text(encoding="utf-8") for path in STYLE_SHEETS.glob("*.css")}
    defined = set(re.findall(r"(--[\w-]+)\s*:", "".join(texts.values())))
    assert {f"--{name}" for name in COLOURS} <= defined
    for name, text in texts.items():
        assert set(re.findall(r"var\((--[\w-]+)", text)) <= defined, name


def test_style_sheets_and_scripts_bring_nothing_from_outside():
    for path in (*STYLE_SHEETS.glob("*.css"), *SCRIPTS.glob("*.js")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"https?://|@import|url\(\s*[\"']?data:", text), path.name


def test_colours_stand_in_the_palette_alone():
    for path in STYLE_SHEETS.glob("*.css"):
        if path.name != "palette.css":
            text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
            assert not re.search(r"#[0-9a-f]{3,8}\b|rgba?\(", text, re.IGNORECASE), path.name


class RowForm(Form):
    name = StringField("Name", [InputRequired("Give a name.")], description="As crews call it.")
    trees = IntegerField("Trees", [InputRequired("Count the trees.")])
    planted = DateField("Planted on")
    end = SelectField(
        "Start end",
        default="north",
        choices=[SelectChoice("north", "North"), SelectChoice("south", "South")],
    )
    method = RadioField(
        "Method",
        [InputRequired("Choose a method.")],
        choices=[SelectChoice("ladder", "Ladders"), SelectChoice("ground", "From the ground")],
    )
    form_errors: list[str]


@pytest.fixture
def page(app, orchard):
    """Return a function that renders a component inside a request."""

    def rendered(component: str, macro: str, *values, **named) -> str:
        with app.test_request_context("/"):
            return str(
                get_template_attribute(f"components/{component}.html", macro)(*values, **named)
            )

    assert orchard
    return rendered


def faulty_form() -> RowForm:
    form = RowForm()
    assert not form.validate()
    return form


@pytest.mark.parametrize("name", ["name", "trees", "planted", "end"])
def test_a_field_has_its_label(page, name):
    form = RowForm()
    reader = read(page("field", "field", form[name]))
    assert [label["for"] for label in reader.all("label")] == [name]
    assert name in reader.ids()


def test_a_field_names_its_hint_and_its_problem(page):
    form = faulty_form()
    reader = read(page("field", "field", form.name))
    (entry,) = reader.all("input")
    assert entry["aria-invalid"] == "true"
    assert set(entry["aria-describedby"].split()) == {"name-hint", "name-problem"}
    assert {"name-hint", "name-problem"} <= set(reader.ids())
    assert {"As crews call it.", "Give a name."} <= {said.strip() for said in reader.texts}


def test_a_field_that_may_stay_empty_says_so(page):
    form = RowForm()
    assert "may stay empty" in page("field", "field", form.planted)
    assert "may stay empty" not in page("field", "field", form.name)


def test_a_number_is_asked_for_without_the_browsers_own_stepper(page):
    reader = read(page("field", "field", RowForm().trees))
    assert reader.all("input", type="text", inputmode="numeric")


def test_choices_stand_in_a_group_with_a_legend(page):
    form = faulty_form()
    reader = read(page("field", "field", form.method))
    (group,) = reader.all("fieldset")
    assert group["aria-describedby"] == "method-problem"
    assert len(reader.all("legend")) == 1
    assert {label["for"] for label in reader.all("label")} == {"method-0", "method-1"}


def test_the_summary_links_every_problem_to_its_field(page):
    form = faulty_form()
    form.form_errors = ["The pass is over."]
    summary = read(page("form", "problem_summary", form))
    links = {link["href"] for link in summary.all("a")}
    assert links == {"#name", "#trees", "#method-0"}
    assert "The pass is over." in summary.texts
    fields = read("".join(page("field", "field", bound) for bound in form))
    assert {link.removeprefix("#") for link in links} <= set(fields.ids())


def test_a_form_without_problems_has_no_summary(page):
    assert page("form", "problem_summary", RowForm()).strip() == ""


def test_a_one_key_form_carries_the_token(page):
    reader = read(page("form", "post_button", "/close", "Close", {"lot": 3}))
    assert reader.all("form", method="post", action="/close")
    assert reader.all("input", name="csrf_token")[0]["value"]
    assert reader.all("input", name="lot", value="3")


def test_a_table_names_its_rows_and_columns(page):
    columns = ["Row", ("Trees", "numeric")]
    reader = read(page("table", "data_table", "Rows", columns, [["12", "240"], ["13", None]]))
    assert len(reader.all("caption")) == 1
    assert [cell["scope"] for cell in reader.all("th")] == ["col", "col", "row", "row"]
    # On a narrow screen the column's name is shown beside each figure.
    assert [cell["data-column"] for cell in reader.all("td")] == ["Trees", "Trees"]
    assert all("numeric" in cell["class"] for cell in reader.all("td"))
    assert "-" in reader.texts


def test_a_table_escapes_what_it_is_given(page):
    markup = page("table", "data_table", "Rows", ["Row"], [["<b>12</b>"]])
    assert "&lt;b&gt;12" in markup


@pytest.mark.parametrize(
    ("macro", "vocabulary"),
    [("lot_state", LotState), ("outcome", Outcome), ("result", Result)],
)
def test_every_state_has_a_shape_of_its_own_beside_its_word(page, macro, vocabulary):
    shapes = set()
    for member in vocabulary:
        markup = page("state", macro, member, "A word")
        assert "A word" in markup
        shapes.add(re.search(r'<path [^>]*d="([^"]+)"', markup)[1])
    assert len(shapes) == len(vocabulary)


def test_safety_notes_defer_to_local_rules(page):
    notes = [{"signal_word": None, "text": "Set the third leg uphill."}]
    markup = page("safety", "safety_notes", "Ladders", notes)
    assert "signal-word" not in markup
    assert "The rules of the farm and of the law come first" in markup


def tile(value: str, shape: str, *, selected: bool = False) -> dict[str, object]:
    return {"value": value, "label": value, "shape": shape, "selected": selected}


def stage(key: str, **changes: object) -> dict[str, object]:
    return {
        "key": key,
        "name": key.title(),
        "pictogram": "",
        "tiles": [tile("right", "right"), tile("fault", "fault")],
        "faults": [
            {"value": "high", "name": "Too high", "selected": False},
            {"value": "low", "name": "Too low", "selected": True},
        ],
        "decided": False,
        "decided_words": "",
        "error": None,
        "measures": [],
        "shows_measures": False,
    } | changes


TREE = {
    "form_action": "/trees/7",
    "tree": {
        "order": 7,
        "total": 30,
        "place_words": "panel 19, tree 7",
        "side_words": "left side",
        "direction_words": "walking out",
    },
    "sign": {"state": "carry_on", "words": "Carry on", "reason": None},
    "saved_words": "kept",
    "undo_url": "/trees/6",
    "stages": [stage(key) for key in STAGES],
    "tallies": {"top": "1 fault"},
    "settled": [],
    "missed": {"tree_selected": False, "side_selected": False},
    "kinds": [{"value": "dead", "name": "Dead tree"}],
    "client_id": "a1",
}


@pytest.fixture
def tree_page(app, orchard):
    """Return a function that renders the tree screen with changes to its context."""

    def rendered(**changes: object) -> Reader:
        with app.test_request_context("/trees/7"):
            return read(render_template("field/tree.html", **(TREE | changes)))

    assert orchard
    return rendered


def test_the_tree_screen_follows_the_tree_from_top_to_bottom(tree_page):
    reader = tree_page()
    assert [found["data-stage"] for found in reader.all("section")] == [*STAGES]
    assert len(reader.all("h1")) == 1


def test_the_tree_screen_has_one_radio_button_for_each_answer(tree_page):
    reader = tree_page()
    for key in STAGES:
        values = [found["value"] for found in reader.all("input", type="radio", name=key)]
        assert values == ["right", "fault"]
        names = reader.all("input", type="checkbox", name=f"{key}_faults")
        assert [found["value"] for found in names if "checked" in found] == ["low"]


def test_enter_never_sends_a_missed_tree(tree_page):
    # A browser presses the first submitting key of a form.
    keys = [found for found in tree_page().all("button") if found.get("type") == "submit"]
    assert keys[0]["name"] == "save"


def test_nothing_can_be_pressed_before_the_stages_but_undo(tree_page):
    pressed = []
    for tag, found in tree_page().elements:
        if tag == "section":
            break
        if tag in {"a", "button", "summary"} and "hidden" not in found:
            pressed.append(found.get("href"))
    assert pressed == ["/trees/6"]


def test_the_first_tree_has_nothing_to_undo(tree_page):
    assert not tree_page(undo_url=None).all("a", **{"class": "undo"})


def test_a_decided_stage_keeps_its_place_and_asks_nothing(tree_page):
    done = stage("top", decided=True, decided_words="No more trees needed")
    reader = tree_page(stages=[done, stage("limbs")])
    assert not reader.all("input", name="top")
    assert "No more trees needed" in reader.texts
    assert [found["data-stage"] for found in reader.all("section")] == ["top", "limbs"]


def test_a_decided_stage_that_is_still_asked_is_greyed(tree_page):
    reader = tree_page(settled=["limbs"])
    greyed = {
        found["data-stage"]
        for found in reader.all("section")
        if "stage-settled" in found["class"].split()
    }
    assert greyed == {"limbs"}
    assert reader.all("input", name="limbs")


def test_a_stage_without_an_answer_says_so_at_its_tiles(tree_page):
    reader = tree_page(stages=[stage("top", error="Tap an answer.")])
    (group,) = reader.all("div", role="radiogroup")
    assert group["aria-describedby"] in reader.ids()
    assert "Tap an answer." in reader.texts


@pytest.mark.parametrize(("state", "words"), [("carry_on", "Carry on"), ("stop", "Stop")])
def test_the_sign_says_its_word(tree_page, state, words):
    reader = tree_page(sign={"state": state, "words": words, "reason": "Why."})
    assert reader.all("div", **{"data-sign": state})
    assert {words, "Why."} <= set(reader.texts)


@pytest.mark.parametrize(
    "path", sorted(Path(STYLE_SHEETS).glob("*.css")), ids=lambda path: path.name
)
def test_no_style_sheet_hides_the_focus(path):
    text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="utf-8"), flags=re.DOTALL)
    hidden = re.findall(r"([^{}]+)\{[^}]*outline:\s*(?:none|0)\b[^}]*\}", text)
    # The contents take the focus from the skip link only; a tile shows its box's focus itself.
    assert {selector.strip() for selector in hidden} <= {
        "main:focus",
        ".choice input:focus-visible",
    }
