"""What a photo leaves unclear is for a person, and nothing of it is kept unless one has said so."""

import pytest

from audits.services import auditing, sheet_photos
from audits.services.sheet_photos import ReadPhoto
from audits.vocabulary import Role, SheetKind
from printables.marked import SheetCode
from printables.tally_letters import SIDE_MISSED_SIGN, TREE_MISSED_SIGN, kind_letters
from tests import row_audit
from tests.web.conftest import NOW
from tests.web.pages import read_page
from tests.web.test_papers import CLEAN, form_of


@pytest.fixture
def begun(database, orchard) -> int:
    """An audit of row 1 that the supervisor has begun, without an answer yet."""
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)


@pytest.fixture
def walk(database, orchard, begun) -> list[int]:
    return [tree.id for tree in auditing.view_audit(database, orchard.supervisor, begun).walk]


@pytest.fixture
def kept_photo(database, orchard, begun):
    """Keep a photo on which some boxes were read so, by the tree and the box."""

    def keep(states: dict[str, str], content: bytes = b"jpeg") -> int:
        code = SheetCode(SheetKind.TALLY, (str(begun), "L", "EN"), 1, "AAAAAA")
        reading = {"page": 1, "states": states, "crops": {}}
        photo = ReadPhoto(SheetKind.TALLY, code.text, begun, content, reading)
        return sheet_photos.keep_sheet_photo(database, orchard.supervisor, photo, now=NOW).id

    return keep


def right(tree_id: int) -> dict[str, str]:
    return {f"t{tree_id}.{mark}": "marked" for mark in CLEAN}


def answered(database, orchard, begun):
    return auditing.view_audit(database, orchard.supervisor, begun).answered


@pytest.mark.parametrize(
    "box",
    [
        f"missed.{TREE_MISSED_SIGN}",
        f"missed.{SIDE_MISSED_SIGN}",
        f"notree.{next(iter(kind_letters('en').values()))}",
    ],
)
def test_a_row_whose_tree_was_perhaps_missed_is_not_kept_unseen(
    supervisor, database, orchard, begun, walk, kept_photo, box
):
    """An empty box there means a tree that was pruned: left empty, it would be an answer."""
    photo_id = kept_photo(right(walk[0]) | {f"t{walk[0]}.{box}": "unsure"})
    form = form_of(supervisor.get(f"/audits/{begun}/desk?photo={photo_id}").text)
    saved = supervisor.post(f"/audits/{begun}/desk", data=form)
    assert answered(database, orchard, begun) == {}
    assert saved.status_code == 422
    assert "Look whether this was marked" in read_page(saved).text
    form[f"t{walk[0]}-missed"] = ""
    assert supervisor.post(f"/audits/{begun}/desk", data=form).status_code == 302
    assert set(answered(database, orchard, begun)) == {walk[0]}
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []


def test_a_photo_waits_until_what_is_unclear_on_it_was_typed(
    supervisor, database, orchard, begun, walk, kept_photo
):
    photo_id = kept_photo({f"t{walk[0]}.top.R": "unsure"})
    form = form_of(supervisor.get(f"/audits/{begun}/desk?photo={photo_id}").text)
    supervisor.post(f"/audits/{begun}/desk", data=form)
    assert answered(database, orchard, begun) == {}
    waiting = sheet_photos.waiting_photos(database, orchard.supervisor)
    assert [photo.id for photo in waiting] == [photo_id]


def test_a_number_that_no_photo_has_is_not_found(supervisor, begun):
    for number in ("0", "-1", str(2**31), "9" * 30):
        assert supervisor.get(f"/audits/{begun}/desk?photo={number}").status_code == 404, number
        post = supervisor.post(f"/audits/{begun}/desk", data={"photo": number})
        assert post.status_code == 404, number


def test_who_may_only_read_the_sheet_is_shown_no_marks_as_answers(sign_in, begun, walk, kept_photo):
    photo_id = kept_photo(right(walk[0]))
    page = read_page(sign_in(Role.OWNER).get(f"/audits/{begun}/desk?photo={photo_id}"))
    assert "Filled in from a photo" not in page.text


def test_the_audit_shows_the_photos_of_its_sheet(supervisor, begun, walk, kept_photo):
    """What was read from paper can be compared with it later on."""
    photo_id = kept_photo(right(walk[0]))
    assert f"/papers/{photo_id}/photo.jpg" in supervisor.get(f"/audits/{begun}/trees").text


def test_rows_that_were_kept_otherwise_are_named(supervisor, begun, walk, kept_photo):
    """They stay as they are, but a person sees where paper and record differ."""
    typed = {}
    for tree, top in zip(walk[:3], "RHN", strict=True):
        cells = {"top": top, "limbs": "2", "columns": "R", "heading": "R"}
        typed |= {f"t{tree}-{name}": value for name, value in cells.items()}
    form = {"client_id": "5c6ff3a2-5e53-4b0a-9d0f-0e8a0e5f1c11"} | typed
    assert supervisor.post(f"/audits/{begun}/desk", data=form).status_code == 302
    photo_id = kept_photo(right(walk[0]) | right(walk[1]) | right(walk[2]))
    page = read_page(supervisor.get(f"/audits/{begun}/desk?photo={photo_id}"))
    assert "3 rows were kept before and stay as they are." in page.text
    assert "Kept with other answers than the photo shows: 2, 3." in page.text


def test_a_replaced_tree_on_a_photo_is_kept_before_and_no_question(
    supervisor, database, orchard, begun, walk, kept_photo
):
    letter = next(iter(kind_letters("en").values()))
    photo_id = kept_photo({f"t{walk[0]}.notree.{letter}": "marked"})
    form = form_of(supervisor.get(f"/audits/{begun}/desk?photo={photo_id}").text)
    assert supervisor.post(f"/audits/{begun}/desk", data=form).status_code == 302
    assert walk[0] not in {
        tree.id for tree in auditing.view_audit(database, orchard.supervisor, begun).walk
    }
    assert sheet_photos.waiting_photos(database, orchard.supervisor) == []
    page = read_page(supervisor.get(f"/audits/{begun}/desk?photo={photo_id}"))
    assert "1 row was kept before" in page.text
    assert "Kept with other answers" not in page.text
