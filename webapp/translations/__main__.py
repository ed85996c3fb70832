"""Commands for translators: ``python -m webapp.translations``."""

import sys
from pathlib import Path

import click
from babel.messages.pofile import write_po

from webapp import translations


@click.group()
def main() -> None:
    """Collect the texts of the source, and keep their translations complete."""


@main.command()
@click.argument("output", type=click.Path(path_type=Path, dir_okay=False), default="-")
def extract(output: Path) -> None:
    """Write every text of the source, without translations, to OUTPUT or the screen."""
    with click.open_file(str(output), "wb") as file:
        write_po(file, translations.extract(), sort_by_file=True, include_lineno=False)


@main.command()
def update() -> None:
    """Bring the catalogues up to the source, keeping the translations."""
    _tell("Updated", translations.update())


@main.command(name="compile")
def compile_() -> None:
    """Make the compiled catalogues that the program reads."""
    _tell("Compiled", translations.compile_catalogs())


@main.command()
def check() -> None:
    """Say what is missing or wrong in the catalogues; exit 1 if anything is."""
    found = translations.problems()
    for problem in found:
        click.echo(problem)
    if found:
        click.echo(f"{len(found)} problems in the catalogues.", err=True)
        sys.exit(1)
    click.echo("The catalogues are complete.")


def _tell(done: str, paths: list[Path]) -> None:
    for path in paths:
        click.echo(f"{done} {path}")
    if not paths:
        click.echo("Nothing changed.")


if __name__ == "__main__":
    main()
