"""The areas of the pages, one blueprint each."""

from flask import Blueprint

from webapp.account.routes import blueprint as account
from webapp.auditing.routes import blueprint as auditing
from webapp.auditors.routes import blueprint as auditors
from webapp.blocks.routes import blueprint as blocks
from webapp.checks.routes import blueprint as checks
from webapp.coaching.routes import blueprint as coaching
from webapp.comparison.routes import blueprint as comparison
from webapp.contests.routes import blueprint as contests
from webapp.crews.routes import blueprint as crews
from webapp.devices.phone import blueprint as phone
from webapp.devices.routes import blueprint as devices
from webapp.farm.routes import blueprint as farm
from webapp.field.routes import blueprint as field
from webapp.learn.routes import blueprint as learn
from webapp.learning_items.routes import blueprint as items
from webapp.learning_rows.routes import blueprint as learning_rows
from webapp.papers.routes import blueprint as papers
from webapp.passes.routes import blueprint as passes
from webapp.practice.routes import blueprint as practice
from webapp.practice_gallery.routes import blueprint as gallery
from webapp.printing.routes import blueprint as printing
from webapp.quizzes.routes import blueprint as quizzes
from webapp.safety.routes import blueprint as safety
from webapp.season.routes import blueprint as season
from webapp.setup.routes import blueprint as setup
from webapp.standards.routes import blueprint as standards
from webapp.today.routes import blueprint as today
from webapp.workers.routes import blueprint as workers


def blueprints() -> tuple[Blueprint, ...]:
    """Return every area's blueprint."""
    return (
        account,
        today,
        auditing,
        auditors,
        blocks,
        standards,
        crews,
        farm,
        workers,
        coaching,
        learn,
        learning_rows,
        gallery,
        items,
        season,
        comparison,
        printing,
        papers,
        quizzes,
        practice,
        passes,
        checks,
        contests,
        safety,
        field,
        setup,
        devices,
        phone,
    )
