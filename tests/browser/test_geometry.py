"""
The tree screen under a gloved thumb, and letters in the sun.

Sizes are in CSS pixels; on a phone of about 460 pixels an inch one is 0.166 mm. A tile of 88 px is
14.6 mm high, an inch-wide thumb's worth of 12 px lies between two of them, and nothing but Undo can
be pressed in the top third, which the thumb of one hand does not reach. The contrast of all text is
at least 7 to 1 (WCAG 2.2, 1.4.6), that of what is tapped or seen at a glance at least 15 to 1.
"""

from datetime import UTC, date, datetime, timedelta
from uuid import uuid4

import pytest
from playwright.sync_api import expect

from audits.services import auditing, passes, standards
from audits.services.auditing import Device
from audits.storage.database import Database
from audits.storage.queries.standards import versions_of_block
from audits.storage.schema import upgrade
from audits.vocabulary import Fault, HeadingRule, Method, PassKind, Role, Stage
from tests.browser.conftest import PHONE
from tests.browser.people import Person
from tests.browser.tile_sizes import (
    LEAST_OTHER_TARGET,
    MEASURE,
    SMALL,
    TALL,
    assert_tiles_fit,
    in_the_top_third,
)
from tests.orchard import PASSWORD, plant_orchard

LANGUAGES = ("en", "es")
LEAST_CONTRAST = 7
LEAST_CONTRAST_OF_TILES = 15

# From when a standard is in force, and how it differs from the one before.
STANDARDS = {
    "four stages": (date(2025, 11, 1), {}),
    "three stages": (date(2025, 12, 1), {"heading": {"rule": HeadingRule.OFF}}),
    "four tiles": (
        date(2026, 1, 1),
        {"heading": {"rule": HeadingRule.REQUIRED}, "limbs": {"least": 2, "most": 3}},
    ),
}


@pytest.fixture(scope="module")
def audits_to_score(tmp_path_factory):
    """A data folder with an audit begun under each standard, and the audits' ids."""
    folder = tmp_path_factory.mktemp("geometry")
    database = Database(f"sqlite:///{folder / 'farm.db'}", durable=False)
    upgrade(database)
    planted = datetime(2025, 10, 1, tzinfo=UTC)
    orchard = plant_orchard(database, planted)
    with database.read() as connection:
        first = versions_of_block(connection, orchard.farm_id, orchard.block_id)[0].payload
    audits = {}
    for row_id, (name, (day, changes)) in zip(orchard.row_ids, STANDARDS.items(), strict=False):
        if changes:
            payload = first | {stage: first[stage] | change for stage, change in changes.items()}
            standards.write_standard(
                database,
                orchard.supervisor,
                orchard.block_id,
                payload=payload,
                in_force_from=day,
                now=planted,
            )
        audits[name] = _begin(database, orchard, row_id, day + timedelta(days=7))
    database.close()
    return folder, orchard, audits


def _begin(database, orchard, row_id, day):
    begun = datetime.combine(day, datetime.min.time(), tzinfo=UTC) + timedelta(hours=15)
    pass_id = passes.begin_pass(
        database,
        orchard.supervisor,
        block_id=orchard.block_id,
        crew_id=orchard.crew_id,
        kind=PassKind.DORMANT,
        method=Method.LADDER,
        row_ids=[row_id],
        started_at=begun,
    )
    finished = begun + timedelta(hours=2)
    return auditing.begin_audit(
        database,
        orchard.supervisor,
        passes.finish_row(database, orchard.supervisor, pass_id, row_id, finished),
        seed=row_id,
        client_id=str(uuid4()),
        device=Device("a phone"),
        now=finished,
    )


@pytest.fixture(scope="module")
def geometry_server(audits_to_score, serve):
    return serve(data=audits_to_score[0])


@pytest.fixture(scope="module")
def cookies(audits_to_score, geometry_server, browser):
    """The supervisor's cookies: signing in once is enough."""
    context = browser.new_context(base_url=geometry_server.url, locale="en-US")
    name = audits_to_score[1].sign_ins[Role.SUPERVISOR]
    Person(context.new_page(), "en").sign_in(name=name, password=PASSWORD)
    state = context.storage_state()
    context.close()
    return state


@pytest.fixture(params=LANGUAGES)
def language(request):
    return request.param


@pytest.fixture(params=[SMALL, TALL], ids=lambda size: f"{size[0]}x{size[1]}")
def size(request):
    return request.param


@pytest.fixture(params=list(STANDARDS))
def screen(request, audits_to_score, geometry_server, cookies, person, language, size):
    """The supervisor before the second tree, so that there is something to undo."""
    width, height = size
    device = PHONE | {"viewport": {"width": width, "height": height}}
    somebody = person(geometry_server.url, language, device, storage_state=cookies)
    somebody.page.goto(f"/audits/{audits_to_score[2][request.param]}")
    somebody.read_in_own_language()
    if somebody.page.get_by_role("link", name=somebody.say("Undo"), exact=True).count() == 0:
        here = somebody.page.url
        somebody.answer_by_taps({})
        somebody.page.wait_for_url(lambda url: url != here)
    expect(somebody.page.locator("form.is-live")).to_be_visible()
    return somebody


def test_every_tile_has_its_size_and_its_gaps_and_fits_the_screen(screen, size, screenshot):
    name = f"{len(screen.stages_asked)}-stages"
    screenshot(screen.page, f"{screen.language}-{size[0]}x{size[1]}-tree-{name}", full_page=False)
    measured = screen.page.evaluate(MEASURE)

    assert len(measured["rows"]) in {3, 4}
    assert_tiles_fit(measured, size)


def test_nothing_but_undo_can_be_pressed_in_the_top_third(screen, size):
    measured = screen.page.evaluate(MEASURE)
    assert in_the_top_third(measured, size) == [screen.say("Undo")]
    small = [
        target
        for target in measured["pressed"]
        if target["height"] < LEAST_OTHER_TARGET or target["width"] < LEAST_OTHER_TARGET
    ]
    assert not small


def test_the_names_of_faults_fit_the_screen(screen, size, screenshot):
    for stage in screen.stages_asked:
        screen.press(screen.tile(stage, "fault"))
        if screen.page.locator(f"[data-stage={stage}] .fault-names").count() == 0:
            continue
        screenshot(
            screen.page,
            f"{screen.language}-{size[0]}x{size[1]}-faults-{stage}",
            full_page=False,
        )
        measured = screen.page.evaluate(MEASURE)
        assert measured["names"]
        for name in measured["names"]:
            assert name["height"] >= LEAST_OTHER_TARGET, name
            assert name["bottom"] <= size[1], f"{stage}: below the screen: {name}"
        assert measured["spilled"] == []
        reachable = {target["words"] for target in measured["pressed"]}
        assert screen.say("All trees of this audit") not in reachable
        # Pressed again, the tile takes the answer back.
        screen.press(screen.tile(stage, "fault"))


def test_tiles_and_signs_stand_out_in_the_sun(screen, read_facts):
    screen.press(screen.tile(Stage.TOP, "right"))
    screen.press(screen.tile(Stage.LIMBS, "fault"))
    screen.press(screen.fault_name(Stage.LIMBS, Fault.TOO_FEW))
    glanced = [
        text
        for text in read_facts(screen.page)["texts"]
        if any(name in text["place"] for name in ("tile", "sign", "h1"))
    ]
    assert len(glanced) >= 12
    assert [text for text in glanced if text["ratio"] < LEAST_CONTRAST_OF_TILES] == []


@pytest.mark.parametrize("role", [*Role, None], ids=lambda role: role or "visitor")
def test_all_text_stands_out_from_what_is_behind_it(crawled, role, language):
    visits = crawled(role, language).visits
    pale = {
        str(visit): texts
        for visit in visits
        if (texts := [text for text in visit.first["texts"] if text["ratio"] < LEAST_CONTRAST])
    }
    assert visits
    assert all(visit.first["texts"] for visit in visits)
    assert not pale


def test_a_tile_too_small_and_a_key_too_high_are_found(
    person, geometry_server, audits_to_score, cookies
):
    somebody = person(geometry_server.url, "en", storage_state=cookies)
    page = somebody.page
    page.goto(f"/audits/{audits_to_score[2]['four stages']}")
    somebody.read_in_own_language()
    assert_tiles_fit(page.evaluate(MEASURE), SMALL)
    allowed = in_the_top_third(page.evaluate(MEASURE), SMALL)

    page.evaluate("document.querySelector('.tree-saved').innerHTML = '<a href=\"/\">away</a>'")
    assert in_the_top_third(page.evaluate(MEASURE), SMALL) == [*allowed, "away"]
    page.evaluate("document.querySelectorAll('.tile-row .tile-face')[4].style.height = '80px'")
    with pytest.raises(AssertionError, match="too low"):
        assert_tiles_fit(page.evaluate(MEASURE), SMALL)
