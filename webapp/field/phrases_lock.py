"""What the phone says while it is enrolled, locked or opened."""

from typing import Final

from audits.messages import mark, mark_n

# By key: mark(text), or mark_n(one, several) where a number chooses, which stands as %(num)s.
PHRASES_LOCK: Final[dict[str, str | tuple[str, str]]] = {
    "lock.title": mark("Enter your six digits"),
    "lock.asked": mark("This phone is locked."),
    "lock.late": mark("It was open for twelve hours."),
    "lock.checking": mark("Checking the digits ..."),
    "lock.entered": mark("%(entered)s of %(all)s digits"),
    "lock.take_back": mark("Take the last digit back"),
    "lock.wrong": mark_n(
        "Wrong digits. %(num)s try is left without signal.",
        "Wrong digits. %(num)s tries are left without signal.",
    ),
    "lock.online_only": mark("Too many wrong tries here. Go where there is signal and try again."),
    "lock.unknown": mark("This phone is not enrolled here. Enrol it first."),
    "lock.failed": mark("That did not work. Close the page, open it again and try once more."),
    "enrol.title": mark("Enrol this phone"),
    "enrol.name": mark("A name for this phone"),
    "enrol.usual_name": mark("My phone"),
    "enrol.go_on": mark("Go on"),
    "enrol.choose": mark("Choose six digits"),
    "enrol.choose_note": mark("They open this phone. Tell them to nobody."),
    "enrol.again": mark("Enter them again"),
    "enrol.again_note": mark("The same six digits once more."),
    "enrol.differ": mark("The two were not the same. Choose six digits."),
    "enrol.working": mark("Enrolling this phone ..."),
    "enrol.try_again": mark("Try again"),
    "enrol.unreachable": mark(
        "The office does not answer. Check the farm's network, then try again."
    ),
    "enrol.insecure": mark(
        "A phone can be enrolled over https only. Set it up first: the office has the steps."
    ),
    "enrol.code": mark("Code from the office"),
    "enrol.no_code": mark(
        "This phone is not enrolled yet. A supervisor has a code for it, on the page Phones."
    ),
    "enrol.revoked": mark(
        "This phone was revoked. What it had kept is in the office, where a supervisor decides on "
        "it. To use the phone again, ask for a code."
    ),
    "enrol.home_screen": mark(
        "First add this page to the home screen: press the share key, then Add to Home Screen. "
        "Open it from there, and enter the code."
    ),
    "enrol.send_first": mark(
        "This phone was revoked and still holds trees. Leave it open until they are sent, then try "
        "again."
    ),
}
