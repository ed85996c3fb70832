"""Pages of printed and photographed paper take as many statements however much there is."""

import pytest

from audits.services import sheet_photos
from audits.services.sheet_photos import ReadPhoto
from audits.vocabulary import SheetKind
from printables.marked import SheetCode
from tests import row_audit
from tests.statements import statements_of
from tests.web.conftest import NOW


@pytest.fixture
def begun(database, orchard) -> int:
    lot_id = row_audit.prune(database, orchard).lot_ids[0]
    return row_audit.begin(database, orchard, lot_id)


def add(supervisor, database, orchard, begun, number):
    """Print a batch of gauges, check it, and photograph a page of the audit's sheet and a quiz."""
    sheet = {"block_id": orchard.block_id, "copies": "1", "language": "en", "page": "a4"}
    assert supervisor.post("/print/gauges", data=sheet | {"printer_id": 0}).status_code == 302
    fits = {"occasion": "printed", "card_fits": "yes"}
    assert supervisor.post(f"/print/batches/{number}", data=fits).status_code == 302
    code = SheetCode(SheetKind.TALLY, (str(begun), "L", "EN"), number, "AAAAAA")
    reading = {"page": number, "states": {}, "crops": {}}
    photo = ReadPhoto(SheetKind.TALLY, code.text, begun, b"photo %d" % number, reading)
    sheet_photos.keep_sheet_photo(database, orchard.supervisor, photo, now=NOW)
    fields = ("1", str(number), "A", "L", "L", "EN", str(orchard.worker_ids[0]))
    code = SheetCode(SheetKind.ANSWERS, fields, 1, "AAAAAA")
    answers = ReadPhoto(SheetKind.ANSWERS, code.text, None, b"answers %d" % number, reading)
    sheet_photos.keep_sheet_photo(database, orchard.supervisor, answers, now=NOW)


@pytest.mark.parametrize(
    "address",
    [
        "/papers",
        "/print/batches",
        "/print/batches/1",
        "/print/printers",
        "/print/cards",
        "/print/quiz",
        "/audits/{audit}/trees",
        "/audits/{audit}/desk",
        "/audits/{audit}/desk?photo=1",
        "/audits/{audit}/trees/1",
        "/blocks/1?card=1",
    ],
)
def test_it_takes_as_many_statements_for_little_as_for_much(
    supervisor, database, orchard, begun, address
):
    address = address.format(audit=begun)
    add(supervisor, database, orchard, begun, 1)
    with statements_of(database) as few:
        assert supervisor.get(address).status_code == 200
    for number in range(2, 9):
        add(supervisor, database, orchard, begun, number)
    with statements_of(database) as many:
        assert supervisor.get(address).status_code == 200
    assert len(many) == len(few)
