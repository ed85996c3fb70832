"""Photos of faults: made anew on arrival, kept once, and seen by crew leads alone."""

import subprocess
import sys
import zipfile
from datetime import timedelta
from io import BytesIO
from random import Random
from uuid import uuid4

import pytest
from PIL import Image, PngImagePlugin

from audits.errors import InvalidInput
from audits.services import devices
from audits.services.auditing import begin_audit
from audits.storage import tables
from audits.storage.queries import audits as queries
from audits.vocabulary import Role
from printables import picture_files
from tests.row_audit import PHONE, prune
from tests.row_phone import AT, enrolled
from tests.web.conftest import NOW
from webapp.field import pictures
from webapp.field.pictures import LONGEST_PX, remade

AUDIT = str(uuid4())
SECRET = b"Tule Hollow gate code 4711"


@pytest.fixture
def phone(database, orchard):
    return enrolled(database, orchard.supervisor, NOW)


@pytest.fixture
def audit_id(database, orchard):
    return begin_audit(
        database,
        orchard.supervisor,
        prune(database, orchard).lot_ids[0],
        seed=5,
        client_id=AUDIT,
        device=PHONE,
        now=NOW,
    )


@pytest.fixture
def tree(database, orchard, audit_id):
    return trees_of(database, orchard, audit_id)[0].id


def trees_of(database, orchard, audit_id):
    with database.read() as connection:
        audit = queries.audit_by_id(connection, orchard.farm_id, audit_id)
        return queries.draw_trees(connection, orchard.farm_id, audit.draw_id)


def picture(width=320, height=200, colour="darkgreen") -> Image.Image:
    image = Image.new("RGB", (width, height), colour)
    # The left half is lighter, so that a turned picture shows.
    image.paste("white", (0, 0, width // 2, height))
    return image


def written(image: Image.Image, kind="JPEG", **how) -> bytes:
    file = BytesIO()
    image.save(file, kind, **how)
    return file.getvalue()


def noted() -> bytes:
    """Return a photo as a camera writes it: with place, phone and a thumbnail's worth of notes."""
    exif = Image.Exif()
    exif[0x0110] = "Camera of Saul"
    exif[0x9286] = SECRET
    exif.get_ifd(0x8825)[2] = (41.0, 25.0, 30.0)
    exif.get_ifd(0x8825)[29] = "2026:01:20"
    return written(picture(), exif=exif, comment=SECRET, xmp=b"<x:xmpmeta>" + SECRET)


def send(client, phone, content, tree, *, photo=None, **headers):
    return client.post(
        f"/field/photos/{photo or uuid4()}",
        data=content,
        content_type="image/jpeg",
        headers={
            **phone.headers(content),
            "X-Audit": AUDIT,
            "X-Tree": str(tree),
            "X-Stage": "top",
            "X-At": AT,
            **headers,
        },
    )


def stored(database) -> list:
    with database.read() as connection:
        return connection.execute(tables.photo.select().order_by(tables.photo.c.id)).all()


# --- what is kept of a picture -------------------------------------------------------------------


def test_nothing_that_a_camera_noted_is_left():
    before = noted()
    assert SECRET in before
    assert b"Camera of Saul" in before
    after = remade(before)

    assert SECRET not in after
    assert b"Camera of Saul" not in after
    assert b"Exif" not in after
    assert b"xmpmeta" not in after
    with Image.open(BytesIO(after)) as image:
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_profile_and_texts_in_a_png_are_left_behind():
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Comment", SECRET.decode())
    before = written(picture(), "PNG", pnginfo=texts, icc_profile=SECRET * 10)
    assert SECRET in before

    after = remade(before)
    assert SECRET not in after
    assert b"ICC_PROFILE" not in after


@pytest.mark.parametrize(
    ("orientation", "corner"), [(1, "left"), (3, "right"), (6, "top"), (8, "bottom")]
)
def test_a_picture_stands_upright_as_its_notes_say(orientation, corner):
    """As Exif 2.32 has tag 0x0112: 3 is half a turn, 6 a quarter to the right, 8 to the left."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    with Image.open(BytesIO(remade(written(picture(), exif=exif)))) as image:
        width, height = image.size
        points = {
            "left": (10, height // 2),
            "right": (width - 10, height // 2),
            "top": (width // 2, 10),
            "bottom": (width // 2, height - 10),
        }
        light = {where: sum(image.getpixel(point)) > 600 for where, point in points.items()}
    assert light[corner]
    opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}[corner]
    assert not light[opposite]
    assert (width > height) is (orientation in {1, 3})


@pytest.mark.parametrize("size", [(4000, 3000), (3000, 4000), (1600, 1600), (6000, 20), (1, 1)])
def test_a_picture_is_no_larger_than_it_needs_to_be(size):
    with Image.open(BytesIO(remade(written(picture(*size))))) as image:
        assert image.format == "JPEG"
        assert max(image.size) == min(max(size), LONGEST_PX)
        assert abs(image.width / image.height - size[0] / size[1]) < 0.02 * size[0] / size[1] or (
            min(image.size) <= 6
        )


@pytest.mark.parametrize(
    ("kind", "mode"),
    [
        ("PNG", "RGBA"),
        ("PNG", "P"),
        ("PNG", "LA"),
        ("PNG", "I;16"),
        ("PNG", "1"),
        ("WEBP", "RGBA"),
        ("WEBP", "RGB"),
        ("JPEG", "L"),
        ("JPEG", "CMYK"),
    ],
)
def test_pictures_of_every_kind_become_plain_jpegs(kind, mode):
    with Image.open(BytesIO(remade(written(Image.new(mode, (40, 30)), kind)))) as image:
        assert (image.format, image.mode, image.size) == ("JPEG", "RGB", (40, 30))


@pytest.mark.parametrize("kind", ["GIF", "BMP", "TIFF", "PPM", "ICO", "PDF", "EPS"])
def test_no_other_kind_of_file_is_read(kind):
    with pytest.raises(InvalidInput):
        remade(written(picture(32, 32), kind))


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\xff\xd8\xff",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b"<!doctype html><script>alert(1)</script>",
        b"<script>/*" + written(picture()) + b"*/</script>",
        b"GIF89a" + written(picture()),
        b"%PDF-1.4\n" + written(picture()),
        written(picture())[: len(written(picture())) // 2],
    ],
)
def test_what_only_looks_like_a_picture_is_refused(content):
    with pytest.raises(InvalidInput):
        remade(content)


def test_what_hangs_on_to_a_picture_is_left_behind():
    """A file that is a JPEG from the front and an archive from the back: only the JPEG is kept."""
    archive = BytesIO()
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("page.html", f"<script>{SECRET.decode()}</script>")
    both = written(picture()) + archive.getvalue()
    assert zipfile.is_zipfile(BytesIO(both))
    after = remade(both)

    assert not zipfile.is_zipfile(BytesIO(after))
    assert SECRET not in after
    assert b"<script>" not in after


# Prints by how many MB the most memory ever used grows while a picture is made anew.
_GROWTH = """
import sys
from webapp.field.pictures import remade
from printables.reading.photo import grey_photo

def memory(line):
    return int(open("/proc/self/status").read().split(line + ":")[1].split()[0])

content = sys.stdin.buffer.read()
open("/proc/self/clear_refs", "w").write("5")
before = memory("VmRSS")
remade(content)
grey_photo(content)
print((memory("VmHWM") - before) // 1024)
"""


@pytest.mark.parametrize(("kind", "mode"), [("PNG", "LA"), ("PNG", "RGBA"), ("WEBP", "RGB")])
def test_a_picture_of_any_kind_needs_little_memory(kind, mode):
    """At most 150 MB, this project's own bound; only JPEG can be unpacked smaller than it is."""
    side = int(picture_files.MOST_UNPACKED**0.5)
    largest = written(Image.new(mode, (side, side), 200), kind)
    grown = subprocess.run(
        [sys.executable, "-c", _GROWTH], input=largest, capture_output=True, check=True
    )
    assert int(grown.stdout) <= 150
    with pytest.raises(InvalidInput):
        remade(written(Image.new(mode, (side, side + 2), 200), kind))


@pytest.mark.parametrize("side", [8_000, 20_000])
def test_a_picture_that_unpacks_to_too_much_is_refused_before_it_is(side, monkeypatch):
    """One is beyond the cap, the other beyond Pillow's own, which warns; neither is unpacked."""
    bomb = written(Image.new("1", (side, side)), "PNG", optimize=True)
    assert len(bomb) < 100_000
    monkeypatch.setattr(pictures, "_fitted", lambda _: pytest.fail("it was unpacked"))

    with pytest.raises(InvalidInput):
        remade(bomb)


def test_no_damage_to_a_picture_breaks_anything(volume):
    """Cut, changed and mixed up at random, as by a bad link: a picture or a refusal, no more."""
    chance = Random(20260120)  # noqa: S311 - damage, not a secret
    sources = [
        written(picture(64, 48), kind, **how)
        for kind, how in (("JPEG", {}), ("JPEG", {"progressive": True}), ("PNG", {}), ("WEBP", {}))
    ]
    refused = 0
    for _ in range(volume(short=400, long=20_000)):
        damaged = bytearray(chance.choice(sources))
        for _ in range(chance.randint(1, 12)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        if chance.random() < 0.3:
            del damaged[chance.randrange(len(damaged)) :]
        try:
            assert remade(bytes(damaged)).startswith(b"\xff\xd8\xff")
        except InvalidInput:
            refused += 1
    assert refused > 0


# --- sending -------------------------------------------------------------------------------------


def test_a_photo_is_kept_once(app, phone, database, tree):
    photo = uuid4()
    answers = [send(app.test_client(), phone, noted(), tree, photo=photo) for _ in range(3)]

    assert [answer.status_code for answer in answers] == [200] * 3
    assert [answer.json["outcome"] for answer in answers] == ["stored", "duplicate", "duplicate"]
    (row,) = stored(database)
    assert row.client_id == str(photo)
    assert row.draw_tree_id == tree
    assert row.stage == "top"
    assert SECRET not in row.content


def test_a_photo_waits_for_its_audit(app, phone, database, tree):
    answer = send(app.test_client(), phone, noted(), tree, **{"X-Audit": str(uuid4())})

    assert (answer.status_code, answer.json["problem"]) == (409, "no_audit_yet")
    assert not stored(database)


@pytest.mark.parametrize(
    ("headers", "problem"),
    [
        ({"X-Tree": "999999"}, "tree"),
        ({"X-Tree": "0"}, "tree"),
        ({"X-Tree": "-1"}, "tree"),
        ({"X-Tree": "9" * 30}, "tree"),
        ({"X-Tree": "٣"}, "tree"),
        ({"X-Tree": ""}, "tree"),
        ({"X-Audit": "not-an-id"}, "headers"),
        ({"X-Stage": "roots"}, "headers"),
    ],
)
def test_a_photo_of_nothing_is_refused(app, phone, database, tree, headers, problem):
    answer = send(app.test_client(), phone, noted(), tree, **encoded(headers))

    assert (answer.status_code, answer.json["problem"]) == (422, problem)
    assert not stored(database)


def encoded(headers: dict[str, str]) -> dict[str, str]:
    """Write headers as they travel, in Latin-1 (RFC 9110, 5.5)."""
    return {name: value.encode().decode("latin-1") for name, value in headers.items()}


def test_a_file_that_is_no_picture_is_refused(app, phone, database, tree):
    answer = send(app.test_client(), phone, b"<html>", tree)

    assert (answer.status_code, answer.json["problem"]) == (422, "photo")
    assert not stored(database)


def test_a_photo_of_somebody_who_leads_no_crews_any_more_waits(app, phone, database, orchard, tree):
    """The session goes on after a change of role; what the phone sends is not taken unasked."""
    supervisor = orchard.supervisor
    with database.write() as connection:
        account = tables.user_account
        person = account.c.id == supervisor.user_id
        connection.execute(account.update().where(person).values(role=Role.WORKER))
    answer = send(app.test_client(), phone, noted(), tree)

    assert (answer.status_code, answer.json["problem"]) == (403, "not_allowed")
    assert not stored(database)


def test_a_photo_with_a_wrong_clock_is_kept(app, phone, database, tree):
    for at in ("yesterday", "", "1970-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00", "9999-12-31"):
        assert send(app.test_client(), phone, noted(), tree, **{"X-At": at}).status_code == 200
    assert len(stored(database)) == 5


def test_an_id_that_was_used_for_another_tree_is_refused(app, phone, database, orchard, audit_id):
    one, other = trees_of(database, orchard, audit_id)[:2]
    photo = uuid4()
    assert send(app.test_client(), phone, noted(), one.id, photo=photo).status_code == 200
    answer = send(app.test_client(), phone, noted(), other.id, photo=photo)

    assert (answer.status_code, answer.json["problem"]) == (422, "photo")
    assert [row.draw_tree_id for row in stored(database)] == [one.id]


def test_a_photo_for_somebody_elses_audit_is_refused(app, database, orchard, tree):
    other = enrolled(database, orchard.owner, NOW)
    answer = send(app.test_client(), other, noted(), tree)

    assert (answer.status_code, answer.json["problem"]) == (422, "audit")
    assert not stored(database)


def test_only_what_the_phone_signed_is_taken(app, phone, database, tree):
    content = noted()
    client = app.test_client()
    forged = send(client, phone, content, tree, **{"X-Signature": phone.sign(content + b" ")})
    unknown = send(client, phone, content, tree, **{"X-Device": str(uuid4())})
    nobody = client.post(f"/field/photos/{uuid4()}", data=content)

    assert [answer.status_code for answer in (forged, unknown, nobody)] == [401] * 3
    assert [answer.json["problem"] for answer in (forged, unknown, nobody)] == [
        "bad_signature",
        "unknown_device",
        "unknown_device",
    ]
    assert not stored(database)


def test_a_revoked_phone_sends_no_photos(app, phone, database, orchard, tree):
    devices.revoke_device(database, orchard.owner, phone.device_id, NOW)
    answer = send(app.test_client(), phone, noted(), tree)

    assert (answer.status_code, answer.json["problem"]) == (401, "revoked")
    assert not stored(database)


def test_a_photo_has_a_size_that_is_known_ahead(app, phone, database, tree):
    large = b"\xff" * 1_000_001
    answer = send(app.test_client(), phone, large, tree)
    assert (answer.status_code, answer.json["problem"]) == (413, "too_large")

    unknown = app.test_client().post(
        f"/field/photos/{uuid4()}",
        data=noted(),
        headers=phone.headers(noted()) | {"Transfer-Encoding": "chunked"},
    )
    assert (unknown.status_code, unknown.json["problem"]) == (411, "length_required")
    assert not stored(database)


# --- looking at them -----------------------------------------------------------------------------


@pytest.fixture
def shown(app, phone, database, tree):
    assert send(app.test_client(), phone, noted(), tree).status_code == 200
    return stored(database)[0]


def test_crew_leads_see_the_photo_and_nobody_else(app, sign_in, audit_id, shown):
    address = f"/audits/{audit_id}/photos/{shown.id}"
    answers = {role: sign_in(role).get(address) for role in Role}

    assert {role: answer.status_code for role, answer in answers.items()} == {
        Role.OWNER: 200,
        Role.SUPERVISOR: 200,
        Role.WORKER: 403,
    }
    assert answers[Role.OWNER].data == shown.content
    assert answers[Role.OWNER].mimetype == "image/jpeg"
    assert answers[Role.OWNER].headers["X-Content-Type-Options"] == "nosniff"
    assert answers[Role.OWNER].headers["Cache-Control"] == "no-store"
    assert app.test_client().get(address).status_code == 302


def test_a_photo_is_found_with_its_own_audit_only(supervisor, audit_id, shown):
    assert supervisor.get(f"/audits/{audit_id + 1}/photos/{shown.id}").status_code == 404
    assert supervisor.get(f"/audits/{audit_id}/photos/{shown.id + 1}").status_code == 404


def test_the_audits_page_shows_its_photos_with_what_they_show(sign_in, audit_id, shown):
    for language, words in (("en", "Photo"), ("es", "Foto")):
        page = sign_in(Role.SUPERVISOR, language).get(f"/audits/{audit_id}/trees").text
        (image,) = [part for part in page.split("<img ")[1:] if "/photos/" in part.split(">")[0]]
        tag = image.split(">")[0]
        assert f'src="/audits/{audit_id}/photos/{shown.id}"' in tag
        alt = tag.partition('alt="')[2].partition('"')[0]
        assert words in alt
        assert "1" in alt


def test_an_audit_without_photos_says_nothing_of_them(supervisor, audit_id):
    assert "/photos/" not in supervisor.get(f"/audits/{audit_id}/trees").text


def test_a_locked_phone_keeps_its_photos(app, phone, database, tree):
    with database.write() as connection:
        connection.execute(
            tables.user_session.update().values(created_at=NOW - timedelta(hours=13))
        )
    answer = send(app.test_client(), phone, noted(), tree)

    assert (answer.status_code, answer.json["problem"]) == (401, "locked")
    assert not stored(database)
