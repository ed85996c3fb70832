"""
Every page that links lead to, for each role and language, on the demo as it is served.

Each kind of address is visited once by each role in each language; axe reads it once in each
language. What a page is like is collected first (crawling.py), so that a failing test lists every
page at fault.
"""

import re

import pytest
from playwright.sync_api import expect

from audits.vocabulary import Role
from tests.browser.crawling import FILES, PICTURES, WIDTHS, Crawler
from webapp.printing.offers import OFFERS

LANGUAGES = ("en", "es")
# Addresses that only lead on to another, so that nobody ever stands there.
LEADS_ON = {"auditing.audit", "auditors.audit"}
# What a script of a page asks for while it waits.
ASKED_BY_SCRIPTS = {
    "comparison.standing",
    "practice.blocks",
    "practice.learners",
    "practice.pack",
    "printing.file_standing",
}
# Only a phone that was handed over leads there: see tests/web/test_hand_over.py.
ONLY_HANDED_OVER = {"learn.give_back"}
# A worker's own page is offered under the address of "my work" alone.
# Crew leads say why only where they disagreed themselves, on a worker's behalf.
NOT_OFFERED = {
    Role.OWNER: {"contests.words_of"},
    Role.SUPERVISOR: {"contests.words_of"},
    # Workers come to a block by the code on their card, to the first page by the farm's address.
    Role.WORKER: {"workers.show", "blocks.show", "today.index"},
}
# A quiz is read in the language in which it was begun, whoever sits before it.
LANGUAGE_OF_ITS_OWN = {"quizzes.question", "quizzes.check", "quizzes.result"}
# Forms in which nothing need be entered: there is nothing to refuse.
MAY_STAY_EMPTY: set[str] = set()

EMPTY_FORM = """form => {
    for (const entry of form.elements) {
        if (["radio", "checkbox"].includes(entry.type)) {
            entry.checked = false;
        } else if (entry.type !== "hidden" && entry.type !== "submit") {
            entry.value = "";
        }
    }
}"""


@pytest.fixture(scope="module", params=LANGUAGES)
def language(request):
    return request.param


@pytest.fixture(scope="module", params=[*Role, None], ids=lambda role: role or "visitor")
def role(request):
    return request.param


@pytest.fixture(scope="module")
def crawl(crawled, role, language):
    return crawled(role, language)


def faults(visits, fault_of):
    """Return a line for each visit that has a fault."""
    return [f"{visit}: {fault}" for visit in visits if (fault := fault_of(visit))]


def test_every_page_answers_and_says_what_it_is(crawl, language):
    def fault(visit):
        facts = visit.first
        headings = [" ".join(heading.split()) for heading in facts["headings"]]
        if visit.status != 200:
            return f"status {visit.status}"
        if len(headings) != 1 or not headings[0]:
            return f"headings {headings}"
        if not facts["title"].startswith(headings[0]):
            return f"title {facts['title']!r} with heading {headings[0]!r}"
        has_own = visit.endpoint in LANGUAGE_OF_ITS_OWN
        return not has_own and facts["language"] != language and f"language {facts['language']}"

    assert crawl.visits
    assert not faults(crawl.visits, fault)


def test_no_page_has_an_error_in_the_browser(crawl):
    assert not faults(crawl.visits, lambda visit: visit.errors)


def test_axe_finds_nothing_on_any_page(crawl):
    assert not faults(crawl.visits, lambda visit: visit.axe)


@pytest.mark.parametrize("width", WIDTHS)
def test_no_page_scrolls_sideways(crawl, width):
    assert not faults(crawl.visits, lambda visit: visit.facts[width]["wide"])


@pytest.mark.parametrize("width", WIDTHS)
def test_no_text_is_cut_off(crawl, width):
    assert not faults(crawl.visits, lambda visit: visit.facts[width]["clipped"])


def type_of(endpoint):
    if endpoint in FILES:
        return "text/csv; charset=utf-8; header=present"
    return "image/jpeg" if endpoint in PICTURES else "application/pdf"


def test_every_paper_is_a_pdf(crawl):
    wrong = [
        paper for endpoint, paper in crawl.papers.items() if paper[1:] != (200, type_of(endpoint))
    ]
    assert not wrong


@pytest.mark.parametrize("role", [Role.OWNER, Role.SUPERVISOR, Role.WORKER], indirect=True)
def test_every_address_open_to_a_role_is_reached_by_links(crawl, role, rules):
    views, url_map = rules
    pages = {
        rule.endpoint
        for rule in url_map.iter_rules()
        if "GET" in rule.methods
        and role in getattr(views[rule.endpoint], "open_to", ())
        and not getattr(views[rule.endpoint], "open_to_phones", False)
    }
    # The forms of the print desk ask for these by GET: see tests/web/test_printing.py.
    printed = {
        f"printing.{offer.endpoint}{ending}"
        for offer in OFFERS
        for ending in (["_preview"] if offer.is_batch else ["_preview", "_pdf"])
    }
    not_linked = LEADS_ON | ASKED_BY_SCRIPTS | ONLY_HANDED_OVER | NOT_OFFERED.get(role, set())
    missing = pages - crawl.endpoints - not_linked
    assert missing == printed & pages


# --- pages that say no ---------------------------------------------------------------------------


@pytest.fixture
def refused(prepared_server, person, browser_errors, rules, axe_check, look, language):
    """Sign in on a phone, and look at pages that are expected to say no."""
    browser_errors.allow(r"status of (400|403|404|405|422)")

    def signed_in(role=None):
        somebody = person(prepared_server.url, language)
        if role is not None:
            somebody.sign_in(role)
        return Crawler(somebody, role, rules[1], axe_check=axe_check, picture=look(language))

    return signed_in


def assert_is_sound(visit):
    """Hold a page that says no against what every page is held against."""
    facts = visit.first
    assert visit.axe == ""
    assert len(facts["headings"]) == 1, visit
    assert facts["language"] == visit.language, visit
    for width in WIDTHS:
        assert visit.facts[width]["wide"] == [], f"{visit} at {width}"
        assert visit.facts[width]["clipped"] == [], f"{visit} at {width}"
    pale = [text for text in facts["texts"] if text["ratio"] < 7]
    assert pale == [], visit


def test_a_page_that_is_not_there(refused):
    crawler = refused(Role.SUPERVISOR)
    visit = crawler.visit("/nowhere", "error-404")
    assert visit.status == 404
    assert_is_sound(visit)
    assert crawler.visit("/lots/999999", "error-404-lot").status == 404


def test_a_page_for_others(refused):
    visit = refused(Role.WORKER).visit("/blocks", "error-403")
    assert visit.status == 403
    assert_is_sound(visit)


@pytest.mark.parametrize("paper", ["poster", "quiz"])
def test_a_paper_asked_for_without_a_block(refused, paper):
    visit = refused(Role.SUPERVISOR).visit(f"/print/{paper}.pdf", f"print-{paper}-refused")
    assert visit.status == 422
    assert_is_sound(visit)


def test_a_form_that_was_open_too_long(refused):
    crawler = refused(Role.OWNER)
    page = crawler.page
    page.goto("/blocks/new")
    page.locator("main input[name=csrf_token]").evaluate("token => { token.value = 'stale'; }")
    with page.expect_navigation() as sent:
        page.locator("main form.form .button-main").first.tap()
    visit = crawler.look(sent.value, "error-400")
    assert visit.status == 400
    assert_is_sound(visit)


def test_a_wrong_password(refused):
    crawler = refused()
    person = crawler.person
    person.page.goto("/sign-in")
    person.page.get_by_label(person.say("Sign-in name")).fill("Nobody")
    person.page.get_by_label(person.say("Password")).fill("a wrong password")
    with person.page.expect_navigation() as sent:
        person.press_button("Sign in")
    visit = crawler.look(sent.value, "sign-in-refused")
    assert_is_sound(visit)
    sentence = person.say("The name and the password do not belong together.")
    expect(person.page.get_by_role("alert")).to_contain_text(sentence)


def test_every_form_sent_empty_says_what_is_missing(refused, crawled, rules, language):
    """Each problem stands in the summary, which has the focus, and at its field."""
    forms = {rule.endpoint for rule in rules[1].iter_rules() if {"GET", "POST"} <= rule.methods} - {
        "account.sign_in",
        *NOT_OFFERED[Role.OWNER],
        *ONLY_HANDED_OVER,
    }
    paths = {visit.endpoint: visit.path for visit in crawled(Role.OWNER, language).visits}
    paths = {endpoint: paths[endpoint] for endpoint in [*sorted(forms), "auditing.tree"]}
    crawler = refused(Role.OWNER)
    page = crawler.page
    accepted = set()
    for endpoint, path in paths.items():
        page.goto(path)
        form = page.locator("main form[method=post]:has(.entry, .choice, .tile)").first
        assert form.count() == 1, f"no form at {path}"
        form.evaluate(EMPTY_FORM)
        with page.expect_navigation() as sent:
            form.evaluate("form => form.requestSubmit(form.querySelector('.button-main'))")
        visit = crawler.look(sent.value, f"{endpoint}-refused")
        if visit.status == 200:
            accepted.add(endpoint)
            continue
        assert visit.status == 422, visit
        assert visit.errors == [error for error in visit.errors if "422" in error], visit
        assert_is_sound(visit)
        assert page.locator(".field-problem").count() > 0, visit
        if page.locator("[data-problems]").count():
            expect(page.locator("[data-problems]")).to_be_focused()
            targets = page.locator("[data-problems] a").evaluate_all(
                "links => links.map(link => document.querySelector(link.hash) !== null)"
            )
            assert targets, visit
            assert all(targets), visit
    assert accepted == MAY_STAY_EMPTY


# --- the checks themselves -----------------------------------------------------------------------

PLANTED = """
<!doctype html><html lang='en'><meta name='viewport' content='width=device-width'>
<title>Planted</title><link rel='icon' href='data:,'><style>
.pale { color: #777; background: #fff }
.wide { width: 500px }
.cut { width: 60px; overflow: hidden; white-space: nowrap }
.faint { color: rgb(0 0 0 / 50%); }
</style><main><h1>Planted</h1><p class='pale'>pale</p><p class='faint'>faint</p>
<p class='wide'>wide</p><p class='cut'>cut off in the middle of it all</p>
<svg width='90' height='20'><rect width='90' height='20' fill='#000'></rect>
<text y='15' class='drawn' fill='#333'>drawn</text></svg></main>
"""


def test_faults_planted_in_a_page_are_found(phone, read_facts):
    phone.set_content(re.sub(r"\s*\n\s*", " ", PLANTED))
    facts = read_facts(phone)

    pale = {text["text"] for text in facts["texts"] if text["ratio"] < 7}
    assert pale == {"pale", "faint", "drawn"}
    assert any("p.wide" in place for place in facts["wide"])
    assert [place for place in facts["clipped"] if "p.cut" in place]
