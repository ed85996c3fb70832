"""The desk: a paper sheet typed in, all of it or nothing, by the rules of the tree screen."""

import re
from dataclasses import replace
from datetime import date
from io import BytesIO
from itertools import pairwise, product
from uuid import uuid4

import pypdfium2
import pytest

from audits.errors import NotFound
from audits.sampling import DoublePlan, SinglePlan, StageTally, WavePlan, decide
from audits.services import auditing, standards
from audits.storage.queries.standards import versions_of_block
from audits.vocabulary import Fault, Outcome, PlantingKind, Result, Role, SheetKind, Stage
from printables.marked import MarkedPage, SheetCode
from printables.sheet import PAGE_SIZES_MM, SHEET_PAGES, Page
from tests import row_audit
from tests.orchard import Orchard
from tests.paper import page_sizes_mm, page_texts
from tests.web.conftest import NOW
from tests.web.pages import read_page
from webapp.auditing.sheets_on_paper import (
    tally_marked_page,
    tally_sheet_pdf,
    wave_numbers,
)

CLEAN = {"top": "R", "limbs": "2", "columns": "R", "heading": "R"}


@pytest.fixture
def begun(database, orchard) -> int:
    """An audit of row 1 that the supervisor has begun, without an answer yet."""
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)


@pytest.fixture
def view(database, orchard, begun):
    """Return how the audit stands now."""
    return lambda: auditing.view_audit(database, orchard.supervisor, begun)


def typed(tree_id: int, **boxes: str) -> dict[str, str]:
    """A row as the form posts it: clean but for the boxes named."""
    return {f"t{tree_id}-{box}": value for box, value in (CLEAN | boxes).items()}


def empty(tree_id: int, **boxes: str) -> dict[str, str]:
    return typed(tree_id, **(dict.fromkeys(CLEAN, "") | boxes))


def save(client, audit_id: int, *rows: dict[str, str], client_id: str | None = None):
    form = {"client_id": client_id or str(uuid4())}
    for row in rows:
        form |= row
    return client.post(f"/audits/{audit_id}/desk", data=form)


def walk_ids(view) -> list[int]:
    return [tree.id for tree in view().walk]


class TestTyping:
    def test_the_page_has_a_box_for_every_stage_of_every_tree(self, supervisor, begun, view):
        answer = supervisor.get(f"/audits/{begun}/desk")
        assert answer.status_code == 200
        page = read_page(answer)
        names = {f"t{tree}-{box}" for tree in walk_ids(view) for box in (*CLEAN, "missed")}
        assert names <= set(page.values)
        assert not any(page.values[name] for name in names)

    def test_what_was_typed_is_kept_as_the_tree_screen_would_keep_it(self, supervisor, begun, view):
        first, second, third = walk_ids(view)[:3]
        answer = save(
            supervisor,
            begun,
            typed(first),
            typed(second, top="HU", heading="n"),
            typed(third, limbs="N", columns="f, s"),
        )
        assert answer.status_code == 302
        kept = view().answers
        assert set(kept) == {first, second, third}
        assert kept[first].stages[Stage.LIMBS].removed == 2
        assert kept[second].stages[Stage.TOP].faults == (Fault.HIGH, Fault.BLUNT)
        assert kept[second].stages[Stage.HEADING].tap == "nothing_due"
        assert kept[third].stages[Stage.LIMBS].tap == "fewer_none_left"
        assert kept[third].stages[Stage.COLUMNS].faults == (Fault.FORK, Fault.SIDE_BRANCH)

    def test_a_sheet_in_spanish_is_typed_in_by_somebody_who_reads_english(
        self, supervisor, begun, view
    ):
        first, second = walk_ids(view)[:2]
        spanish = {"top": "B", "limbs": "2", "columns": "B", "heading": "B"}
        save(supervisor, begun, typed(first, **spanish), typed(second, top="A", limbs="J"))
        kept = view().answers
        assert kept[first].stages[Stage.TOP].tap == "right"
        assert kept[second].stages[Stage.TOP].faults == (Fault.HIGH,)
        assert kept[second].stages[Stage.LIMBS].faults == (Fault.LOW_STUB,)

    def test_the_page_shows_what_is_stored_and_saving_it_again_changes_nothing(
        self, supervisor, begun, view
    ):
        first, second = walk_ids(view)[:2]
        save(supervisor, begun, typed(first, top="YH"), empty(second, missed="*"))
        before = view().answered
        page = read_page(supervisor.get(f"/audits/{begun}/desk"))
        assert page.values[f"t{first}-top"] == "HY"
        assert page.values[f"t{second}-missed"] == "*"
        rows = {name: value for name, value in page.values.items() if re.match(r"t\d+-", name)}
        answer = save(supervisor, begun, rows)
        assert answer.status_code == 302
        assert view().answered == before

    def test_an_answer_is_changed_by_typing_over_it(self, supervisor, begun, view):
        first = walk_ids(view)[0]
        save(supervisor, begun, typed(first))
        save(supervisor, begun, typed(first, top="L"))
        assert view().answers[first].stages[Stage.TOP].faults == (Fault.LOW,)
        assert len(view().answered) == 1

    def test_the_same_save_sent_twice_is_kept_once(self, supervisor, begun, view):
        first, client_id = walk_ids(view)[0], str(uuid4())
        for _ in range(2):
            assert save(supervisor, begun, typed(first), client_id=client_id).status_code == 302
        assert len(view().answered) == 1

    def test_a_missed_side_leaves_top_and_limbs_to_be_answered(self, supervisor, begun, view):
        first = walk_ids(view)[0]
        row = typed(first, missed="/", columns="", heading="")
        assert save(supervisor, begun, row).status_code == 302
        results = {score.stage: score.result for score in view().scores}
        assert results == {
            Stage.TOP: Result.CONFORMING,
            Stage.LIMBS: Result.CONFORMING,
            Stage.COLUMNS: Result.NONCONFORMING,
            Stage.HEADING: Result.NONCONFORMING,
        }

    def test_the_verdict_is_certain_as_soon_as_the_sheet_says_so(self, supervisor, begun, view):
        rows = [typed(tree, top="H") for tree in walk_ids(view)[:5]]
        save(supervisor, begun, *rows)
        outcomes = {standing.stage: standing.outcome for standing in view().standings}
        assert outcomes[Stage.TOP] is Outcome.NOT_ACCEPTED
        text = read_page(supervisor.get(f"/audits/{begun}/desk")).text
        assert "Not accepted" in text
        assert "Trees left: 28" in text

    def test_once_every_stage_is_decided_no_tree_is_left(self, supervisor, begun, view):
        save(supervisor, begun, *[typed(tree) for tree in walk_ids(view)[:20]])
        assert view().all_decided
        answer = supervisor.get(f"/audits/{begun}/desk")
        assert "Save the sheet Stop Trees left: 0" in read_page(answer).text
        assert "autofocus" not in answer.text
        # What stands on the paper after that may still be typed in.
        assert save(supervisor, begun, typed(walk_ids(view)[20])).status_code == 302


class TestWhatCannotBeTaken:
    @pytest.mark.parametrize(
        ("boxes", "box", "sentence"),
        [
            ({"top": "Z"}, "top", '"Z" is no answer for this stage: Top.'),
            ({"top": "RH"}, "top", '"RH" is no answer'),
            ({"limbs": "7"}, "limbs", '"7" is no answer'),
            ({"limbs": "R"}, "limbs", '"R" is no answer'),
            ({"heading": "F1"}, "heading", '"F1" is no answer'),
            ({"columns": "?" * 61}, "columns", "too long"),
            ({"columns": ""}, "columns", "Write an answer, or leave the whole row empty."),
            ({"missed": "x"}, "missed", '"x" means nothing here.'),
            ({"missed": "*"}, "top", "This was missed"),
            ({"missed": "/"}, "columns", "This was missed"),
            ({"missed": "D"}, "missed", "there is nothing to answer"),
        ],
    )
    def test_it_is_said_at_its_box_and_nothing_is_kept_or_lost(
        self, supervisor, begun, view, boxes, box, sentence
    ):
        first, second = walk_ids(view)[:2]
        answer = save(supervisor, begun, typed(first), typed(second, **boxes))
        assert answer.status_code == 422
        page = read_page(answer)
        assert sentence in page.problems[f"t{second}-{box}"]
        assert view().answered == {}
        # What was typed is still there, in the good row and in the bad one.
        for name, value in (typed(first) | typed(second, **boxes)).items():
            assert page.values[name] == value

    def test_every_box_at_fault_is_named_at_once(self, supervisor, begun, view):
        first, second = walk_ids(view)[:2]
        answer = save(
            supervisor, begun, typed(first, top="?"), typed(second, limbs="", columns="9")
        )
        assert set(read_page(answer).problems) >= {
            f"t{first}-top",
            f"t{second}-columns",
        }

    def test_answers_are_not_taken_back_here(self, supervisor, begun, view):
        first = walk_ids(view)[0]
        save(supervisor, begun, typed(first))
        answer = save(supervisor, begun, empty(first))
        assert answer.status_code == 422
        assert "not taken back" in answer.text
        assert len(view().answered) == 1

    def test_a_page_without_its_id_keeps_what_was_typed(self, supervisor, begun, view):
        first = walk_ids(view)[0]
        answer = save(supervisor, begun, typed(first), client_id="nothing of the kind")
        assert answer.status_code == 422
        assert read_page(answer).values[f"t{first}-top"] == "R"
        assert view().answered == {}

    def test_somebody_elses_audit_is_only_read(self, owner, begun, view):
        page = read_page(owner.get(f"/audits/{begun}/desk"))
        assert not any(name.startswith("t") for name in page.values)
        assert save(owner, begun, typed(walk_ids(view)[0])).status_code == 403
        assert view().answered == {}

    def test_a_sealed_audit_is_only_read(self, database, orchard, supervisor, begun, view):
        row_audit.fill(database, orchard, begun)
        row_audit.seal(database, orchard, begun)
        first = walk_ids(view)[0]
        page = read_page(supervisor.get(f"/audits/{begun}/desk"))
        assert "This audit is sealed." in page.text
        assert f"t{first}-top" not in page.values
        answer = save(supervisor, begun, typed(first, top="H"))
        assert answer.status_code == 409
        assert view().answers[first].stages[Stage.TOP].tap == "right"

    def test_there_is_no_desk_for_what_is_not_there(self, supervisor):
        assert supervisor.get("/audits/9999/desk").status_code == 404
        assert supervisor.get("/audits/9999/sheet.pdf").status_code == 404


class TestDecidedStages:
    @pytest.fixture
    def skipping(self, database, orchard):
        """A standard that lets decided stages be left out, and an audit under it."""
        return begin_under(database, orchard, {"skip_decided": True})

    def test_a_stage_may_stay_empty_where_the_rest_of_the_sheet_decides_it(
        self, database, orchard, supervisor, skipping
    ):
        walk = auditing.view_audit(database, orchard.supervisor, skipping).walk
        failing = [typed(tree.id, top="H") for tree in walk[:5]]
        # The row without a top stands before those that decide it.
        answer = save(supervisor, skipping, typed(walk[6].id, top=""), *failing)
        assert answer.status_code == 302

    def test_a_stage_that_is_still_open_may_not(self, database, orchard, supervisor, skipping):
        walk = auditing.view_audit(database, orchard.supervisor, skipping).walk
        failing = [typed(tree.id, top="H") for tree in walk[:4]]
        answer = save(supervisor, skipping, *failing, typed(walk[6].id, top=""))
        assert answer.status_code == 422
        problem = read_page(answer).problems[f"t{walk[6].id}-top"]
        assert "still open" in problem
        assert auditing.view_audit(database, orchard.supervisor, skipping).answered == {}


class TestNoTree:
    def test_a_reserve_tree_comes_instead_and_its_row_is_kept(self, supervisor, begun, view):
        reserve_left = view().reserve_left
        gone = walk_ids(view)[2]
        page = supervisor.get(f"/audits/{begun}/desk").text
        first_reserve = int(re.search(r'id="row-(\d+)">\s*<span[^>]*>\s*<span[^>]*>\+1<', page)[1])
        answer = save(supervisor, begun, empty(gone, missed="D"), typed(first_reserve, top="H"))
        assert answer.status_code == 302
        now = view()
        assert gone not in {tree.id for tree in now.walk}
        assert now.answers[first_reserve].stages[Stage.TOP].faults == (Fault.HIGH,)
        assert now.reserve_left == reserve_left - 1
        # The paper's numbers stay: the row is still there and says what stands in its place.
        text = read_page(supervisor.get(f"/audits/{begun}/desk")).text
        assert "Dead tree" in text

    def test_a_reserve_row_without_a_place_is_refused(self, supervisor, begun):
        page = supervisor.get(f"/audits/{begun}/desk").text
        first_reserve = int(re.search(r'id="row-(\d+)">\s*<span[^>]*>\s*<span[^>]*>\+1<', page)[1])
        answer = save(supervisor, begun, typed(first_reserve))
        assert answer.status_code == 422
        assert "stands for none" in read_page(answer).problems[f"t{first_reserve}-top"]

    def test_nothing_is_replaced_where_another_row_is_wrong(self, supervisor, begun, view):
        walk = walk_ids(view)
        answer = save(supervisor, begun, empty(walk[2], missed="D"), typed(walk[3], top="?"))
        assert answer.status_code == 422
        assert walk_ids(view) == walk

    def test_more_than_the_reserve_holds_is_refused(self, supervisor, begun, view):
        walk = walk_ids(view)
        gone = [empty(tree, missed="D") for tree in walk[: view().reserve_left + 1]]
        answer = save(supervisor, begun, *gone)
        assert answer.status_code == 422
        assert "reserve is used up" in answer.text
        assert walk_ids(view) == walk

    @pytest.mark.parametrize(
        ("letter", "kind"),
        [("Y", PlantingKind.REPLANT), ("g", PlantingKind.MISSING), ("M", PlantingKind.DEAD)],
    )
    def test_the_letter_says_what_stands_there(self, supervisor, begun, view, letter, kind):
        gone = view().walk[0]
        save(supervisor, begun, empty(gone.id, missed=letter))
        found = read_page(supervisor.get(f"/audits/{begun}/desk")).text
        names = {
            PlantingKind.REPLANT: "Young replant",
            PlantingKind.MISSING: "Missing tree",
            PlantingKind.DEAD: "Dead tree",
        }
        # Once in the keys, once in the row.
        assert found.count(names[kind]) == 2


class TestMeasured:
    @pytest.fixture
    def measuring(self, database, orchard):
        return begin_under(
            database, orchard, {"columns": {"measured": True}, "top": {"measured": True}}
        )

    def test_measures_are_typed_into_boxes_of_their_own(
        self, database, orchard, supervisor, measuring
    ):
        first, second = auditing.view_audit(database, orchard.supervisor, measuring).walk[:2]
        row = {"limbs": "2", "heading": "R"}
        high = {"top_height": "12 ft", "top_letters": "U", "columns_looked_at": "5"}
        right = {"top_height": "9 ft", "top_letters": "N", "columns_looked_at": "5"}
        answer = save(
            supervisor,
            measuring,
            boxes(first.id, row | high | {"columns_single": "3", "columns_letters": "F"}),
            boxes(second.id, row | right | {"columns_single": "5", "columns_letters": ""}),
        )
        assert answer.status_code == 302
        now = auditing.view_audit(database, orchard.supervisor, measuring)
        faults = {score.stage: score.faults for score in now.scores[:4]}
        assert faults[Stage.TOP] == (Fault.HIGH, Fault.BLUNT)
        assert faults[Stage.COLUMNS] == (Fault.FORK,)
        assert not now.answers[second.id].stages[Stage.TOP].topped
        page = read_page(supervisor.get(f"/audits/{measuring}/desk"))
        assert page.values[f"t{first.id}-top_height"] == "12 ft"
        assert page.values[f"t{first.id}-top_letters"] == "U"
        assert page.values[f"t{first.id}-columns_letters"] == "F"

    @pytest.mark.parametrize(
        ("changes", "box"),
        [
            ({"top_height": "twelve"}, "top_height"),
            ({"top_height": ""}, "top_height"),
            ({"top_letters": "H"}, "top_letters"),
            ({"columns_single": "6"}, "columns_looked_at"),
            ({"columns_single": ""}, "columns_single"),
        ],
    )
    def test_what_cannot_be_read_is_named_at_its_box(
        self, database, orchard, supervisor, measuring, changes, box
    ):
        first = auditing.view_audit(database, orchard.supervisor, measuring).walk[0]
        row = {
            "top_height": "10 ft",
            "top_letters": "",
            "limbs": "2",
            "columns_looked_at": "5",
            "columns_single": "5",
            "heading": "R",
        }
        answer = save(supervisor, measuring, boxes(first.id, row | changes))
        assert answer.status_code == 422
        assert f"t{first.id}-{box}" in read_page(answer).problems

    def test_measures_from_a_phone_stay_as_they_are(self, database, orchard, supervisor, begun):
        first = auditing.view_audit(database, orchard.supervisor, begun).walk[0]
        measured = {"kind": "top", "height_mm": 3_100.0}
        row_audit.enter(database, orchard, begun, first.id, row_audit.right(top=measured))
        page = read_page(supervisor.get(f"/audits/{begun}/desk"))
        assert page.values[f"t{first.id}-top"] == "="
        save(supervisor, begun, typed(first.id, top="=", columns="F"))
        kept = auditing.view_audit(database, orchard.supervisor, begun).answers[first.id]
        assert kept.stages[Stage.TOP].height_mm == pytest.approx(3_100.0, abs=13)
        assert kept.stages[Stage.COLUMNS].faults == (Fault.FORK,)


class TestHonesty:
    def test_what_came_from_the_desk_says_so(self, database, orchard, supervisor, begun, view):
        first, second = view().walk[:2]
        row_audit.enter(database, orchard, begun, first.id, row_audit.right())
        save(supervisor, begun, typed(second.id))
        devices = [row.device for row in view().answered.values()]
        assert devices[0] == row_audit.PHONE.name
        assert re.fullmatch(r"desk:[0-9a-f-]{36}", devices[1])
        text = read_page(supervisor.get(f"/audits/{begun}/trees")).text
        assert "1 tree was typed in at a desk, from paper." in text
        assert text.count("; typed in at a desk") == 1

    def test_without_a_desk_nothing_is_said(self, database, orchard, supervisor, begun):
        row_audit.fill(database, orchard, begun)
        assert "at a desk" not in read_page(supervisor.get(f"/audits/{begun}/trees")).text


class TestOnPaper:
    def test_the_lot_and_the_audit_lead_to_the_sheet_and_to_the_desk(self, supervisor, begun, view):
        lot_id = view().book.draw.lot_id
        for path in (f"/lots/{lot_id}", f"/audits/{begun}/desk"):
            assert f"/audits/{begun}/sheet.pdf" in supervisor.get(path).text
        links = read_page(supervisor.get(f"/lots/{lot_id}")).links
        assert f"/audits/{begun}/desk" in links

    @pytest.mark.parametrize("paper", SHEET_PAGES)
    def test_paper_and_language_are_chosen(self, supervisor, begun, paper):
        answer = supervisor.get(f"/audits/{begun}/sheet.pdf?page={paper}&language=es")
        assert answer.mimetype == "application/pdf"
        assert page_sizes_mm(answer.data) == {PAGE_SIZES_MM[paper][::-1]}
        assert "tramo" in page_texts(answer.data)[0]

    def test_every_tree_of_the_walk_and_of_the_reserve_is_on_it(self, supervisor, begun, view):
        text = " ".join(page_texts(supervisor.get(f"/audits/{begun}/sheet.pdf").data))
        assert "Tally sheet: Creek Block, Row 1" in text
        assert "Draw 1 of Jan 20, 2026." in text
        for number in range(1, len(view().walk) + 1):
            assert re.search(rf"(?<![\d+]){number} panel \d+, tree \d+", text), number
        for number in range(1, view().reserve_left + 1):
            assert f"+{number} panel" in text
        assert "After 20 trees:" in text
        assert "After 33 trees:" in text

    def test_what_is_unknown_is_refused(self, supervisor, begun):
        for query in ("page=a5", "language=fr"):
            assert supervisor.get(f"/audits/{begun}/sheet.pdf?{query}").status_code == 422

    def test_a_worker_gets_neither_sheet_nor_desk(self, sign_in, begun):
        worker = sign_in(Role.WORKER)
        assert worker.get(f"/audits/{begun}/sheet.pdf").status_code == 403
        assert worker.get(f"/audits/{begun}/desk").status_code == 403

    def test_it_is_printed_without_a_page_too(self, app, database, orchard, begun):
        """The command line has an application but no request."""
        with app.app_context():
            made = [
                tally_sheet_pdf(
                    database, orchard.supervisor, begun, page=Page.A4, language=language
                )
                for language in ("en", "es", "en")
            ]
        assert made[0] == made[2] != made[1]
        assert len(pypdfium2.PdfDocument(BytesIO(made[0]))) == 4

    def test_numbers_stay_with_their_trees_when_one_is_replaced(self, supervisor, begun, view):
        before = view().walk
        save(supervisor, begun, empty(before[0].id, missed="D"))
        text = " ".join(page_texts(supervisor.get(f"/audits/{begun}/sheet.pdf").data))
        assert not re.search(r"(?<![\d+])1 panel \d+, tree", text)
        assert re.search(r"(?<![\d+])2 panel \d+, tree", text)
        assert re.search(r"\+1 panel \d+, tree", text)


class TestReadBack:
    """A code leads back to its page, whatever was replaced since it was printed."""

    @pytest.fixture
    def pages(self, app, database, orchard, begun):
        """Return the pages of the sheet as it would be printed now."""

        def printed() -> list[MarkedPage]:
            codes = []
            with app.app_context():
                for number in (1, 2, 3):
                    code = SheetCode(SheetKind.TALLY, (str(begun), "A", "ES"), number, "")
                    codes.append(tally_marked_page(database, orchard.supervisor, code))
            return codes

        return printed

    @pytest.fixture
    def found(self, app, database, orchard):
        def found(code: SheetCode) -> MarkedPage:
            with app.app_context():
                return tally_marked_page(database, orchard.supervisor, code)

        return found

    def test_boxes_are_named_as_the_desk_names_its_cells(self, pages, view):
        trees = {int(box.key[1:].split(".")[0]) for page in pages() for box in page.boxes}
        assert set(walk_ids(view)) <= trees

    def test_a_sheet_is_found_again_after_each_replacement(
        self, supervisor, begun, view, pages, found
    ):
        before = pages()
        walk = walk_ids(view)
        save(supervisor, begun, empty(walk[2], missed="D"))
        between = pages()
        save(supervisor, begun, empty(walk[5], missed="G"))
        after = pages()
        layouts = {tuple(page.code.layout for page in each) for each in (before, between, after)}
        assert len(layouts) == 3
        for page in (*before, *between, *after):
            assert found(page.code) == page

    def test_boxes_that_lie_elsewhere_are_told_by_another_code(self, pages, found):
        page = pages()[0]
        other = replace(page.code, layout="ABCDEF")
        assert found(other).code == page.code != other

    @pytest.mark.parametrize(
        ("fields", "number"),
        [
            (("9999", "A", "EN"), 1),
            (("1", "X", "EN"), 1),
            (("1", "A", "FR"), 1),
            (("one", "A", "EN"), 1),
            (("1", "A"), 1),
            (("1", "A", "EN"), 99),
            (("1", "A", "EN"), 0),
        ],
    )
    def test_a_code_of_no_sheet_is_refused(self, found, fields, number):
        with pytest.raises(NotFound):
            found(SheetCode(SheetKind.TALLY, fields, number, "ABCDEF"))


PLANS = [
    (WavePlan((14, 30), (0, 4), (4, 5)), (14, 30)),
    (WavePlan((14, 30), (None, 4), (4, 5)), (14, 30)),
    (WavePlan((14, 30), (0, 4), (None, 5)), (14, 30)),
    (DoublePlan(20, 1, 4, 20, 4), (20, 40)),
    # Another stage's plan ends waves of the walk where this one has none.
    (WavePlan((14, 30), (0, 4), (4, 5)), (14, 20, 30)),
    (SinglePlan(24, 3), (14, 24, 30)),
    (SinglePlan(20, 2, 5), (20,)),
]


@pytest.mark.parametrize(("plan", "walk"), PLANS, ids=str)
def test_the_numbers_on_paper_decide_as_the_engine_does(plan, walk):
    """Whoever holds counts against the printed numbers stops where and as `decide` does."""
    decided = 0
    sizes = [size for size in walk if size <= plan.sample_size]
    for counts in product(*(range(min(size, 8) + 1) for size in sizes)):
        parts = [later - earlier for earlier, later in pairwise((0, *counts))]
        trees = [later - earlier for earlier, later in pairwise((0, *sizes))]
        if any(not 0 <= part <= most for part, most in zip(parts, trees, strict=True)):
            continue
        for place, size in enumerate(sizes):
            numbers = wave_numbers(Stage.TOP, plan, size)
            paper = on_paper(numbers.accepted, numbers.rejected, counts[place])
            assert paper is decide(plan, *tallies(plan, sizes, parts, place)), (counts, size)
            if paper is not Outcome.OPEN:
                decided += 1
                break
    assert decided > 5


def tallies(plan, sizes, parts, place):
    """Sort what was found by the end of a wave of the walk into the waves of a plan."""
    found, start = [[0, 0] for _ in plan.waves], 0
    for size, part in list(zip(sizes, parts, strict=True))[: place + 1]:
        wave = next(number for number, own in enumerate(plan.waves) if size <= own.size)
        found[wave][0] += size - start
        found[wave][1] += part
        start = size
    return [StageTally(*trees) for trees in found if trees[0]]


def on_paper(accepted, rejected, found):
    """Decide as somebody does who reads the two numbers."""
    if accepted is not None and found <= accepted:
        return Outcome.ACCEPTED
    if rejected is not None and found >= rejected:
        return Outcome.NOT_ACCEPTED
    return Outcome.OPEN


def test_beyond_its_own_sample_a_stage_has_no_numbers():
    numbers = wave_numbers(Stage.TOP, SinglePlan(24, 3), 30)
    assert (numbers.accepted, numbers.rejected) == (None, None)


def boxes(tree_id: int, values: dict[str, str]) -> dict[str, str]:
    return {f"t{tree_id}-{box}": value for box, value in values.items()}


def begin_under(database, orchard: Orchard, changes: dict) -> int:
    """Begin an audit of row 1 under a changed standard."""
    with database.read() as connection:
        payload = versions_of_block(connection, orchard.farm_id, orchard.block_id)[-1].payload
    for name, change in changes.items():
        payload[name] = payload[name] | change if isinstance(change, dict) else change
    standards.write_standard(
        database,
        orchard.supervisor,
        orchard.block_id,
        payload=payload,
        in_force_from=date(2026, 1, 1),
        now=NOW,
    )
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)
