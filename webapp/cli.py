"""The command ``pruning-audit``."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn
from zoneinfo import ZoneInfo

import click

from audits.errors import AuditError, InvalidInput
from audits.messages import Message, Units, Words, say, say_n
from audits.records import Farm
from audits.sampling.tables import InspectionLevel, PlanKind
from audits.seasons import season_of
from audits.services import accounts, farms
from audits.services.accounts import LANGUAGES
from audits.storage.database import Database
from audits.storage.queries.accounts import only_farm
from audits.storage.schema import upgrade
from audits.vocabulary import ROLE_NAMES, Method, PlanMethod, Role, Stage
from webapp.config import Settings, clock_now, default_folder, settings_for
from webapp.reading import words_in, words_of_farm

if TYPE_CHECKING:
    from webapp.certificates import Certificates
    from webapp.hosts import Names

_DEFAULT_PORT = 8350
_DEFAULT_HTTPS_PORT = 8443
_SOON_DAYS = 30
_EXISTING = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.group()
@click.option(
    "--data",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder of the farm's data.  [default: the system's place for a program's data]",
)
@click.option("--database", "database_url", help="SQLAlchemy URL, such as that of a PostgreSQL.")
@click.option("--language", type=click.Choice(LANGUAGES), help="Language of what is printed here.")
@click.version_option(package_name="pruning-audit")
@click.pass_context
def main(
    context: click.Context, folder: Path | None, database_url: str | None, language: str | None
) -> None:
    """Sample, score and teach mature pruning in high-density apple blocks."""
    context.obj = _Choices(folder or default_folder(), database_url, language or _own_language())


class _Choices:
    """What was chosen ahead of the command."""

    def __init__(self, folder: Path, database_url: str | None, language: str) -> None:
        self.folder = folder
        self.database_url = database_url
        self.language = language

    @property
    def words(self) -> Words:
        return words_in(self.language, region="US", units=Units.IMPERIAL)

    def tell(self, message: Message | str, **style: Any) -> None:  # noqa: ANN401 - click's styles
        click.secho(self.words.say(message), **style)

    def refuse(self, *messages: Message) -> NoReturn:
        """Stop with sentences that say what is wrong."""
        raise click.ClickException("\n".join(map(self.words.say, messages)))

    def settings(self, *, https: bool = False) -> Settings:
        return settings_for(self.folder, self.database_url, https=https)

    @contextmanager
    def database(self) -> Iterator[Database]:
        """Open the farm's database; say what went wrong instead of showing where."""
        database = Database(self.settings().database_url)
        try:
            upgrade(database)
            yield database
        except InvalidInput as error:
            sentences = [
                f"{field}: {self.words.say(message)}" for field, message in error.problems.items()
            ]
            raise click.ClickException("\n".join(sentences)) from error
        except AuditError as error:
            raise click.ClickException(self.words.say(error.message)) from error
        finally:
            database.close()

    def farm(self, database: Database) -> Farm:
        with database.read() as connection:
            found = only_farm(connection)
        if found is None:
            raise click.ClickException(
                self.words.say(say("No farm is set up here yet. Run: pruning-audit init"))
            )
        return found


@main.command()
@click.option("--farm", "farm_name", prompt=True, help="Name of the farm.")
@click.option("--owner", "owner_name", prompt=True, help="The owner's sign-in name.")
@click.option(
    "--password",
    prompt=True,
    hide_input=True,
    confirmation_prompt=True,
    envvar="PRUNING_AUDIT_OWNER_PASSWORD",
    help="The owner's password, at least 15 characters.",
)
@click.option("--units", type=click.Choice([str(unit) for unit in Units]), default="imperial")
@click.option("--region", default="US", show_default=True, help="Two-letter country code.")
@click.option("--time-zone", default="America/New_York", show_default=True)
@click.option("--season-start-month", type=click.IntRange(1, 12), default=11, show_default=True)
@click.pass_obj
def init(
    choices: _Choices,
    farm_name: str,
    owner_name: str,
    password: str,
    units: str,
    region: str,
    time_zone: str,
    season_start_month: int,
) -> None:
    """Set up the farm and its owner's sign-in."""
    with choices.database() as database:
        with database.read() as connection:
            found = only_farm(connection)
        if found is not None:
            raise click.ClickException(
                choices.words.say(say("%(farm)s is set up here already.", farm=found.name))
            )
        accounts.refuse_weak_password(password)
        farm_id = farms.create_farm(
            database,
            name=farm_name,
            units=Units(units),
            region=region,
            language=choices.language,
            time_zone=time_zone,
            season_start_month=season_start_month,
        )
        accounts.add_user(
            database,
            farm_id,
            name=owner_name,
            password=password,
            role=Role.OWNER,
            language=choices.language,
            now=clock_now(),
        )
    choices.tell(say("%(farm)s is set up. Start the pages: pruning-audit serve", farm=farm_name))


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option(
    "--port",
    default=_DEFAULT_PORT,
    show_default=True,
    type=click.IntRange(1, 65535),
    help="Port for plain HTTP: the pages, or over https the page that sets up phones.",
)
@click.option(
    "--https-port",
    default=_DEFAULT_HTTPS_PORT,
    show_default=True,
    type=click.IntRange(1, 65535),
    help="Port for the pages over https.",
)
@click.option("--cert", "certificate", type=_EXISTING, help="A certificate from elsewhere, in PEM.")
@click.option("--key", type=_EXISTING, help="The key of --cert, in PEM.")
@click.option("--https", is_flag=True, help="Browsers come over https, through a proxy in front.")
@click.pass_obj
def serve(
    choices: _Choices,
    host: str,
    port: int,
    https_port: int,
    certificate: Path | None,
    key: Path | None,
    *,
    https: bool,
) -> None:
    """Serve the pages of the farm."""
    with choices.database() as database:
        farm = choices.farm(database)
    if https and (certificate or key):
        choices.refuse(
            say("With --https the proxy in front has the certificate: leave out --cert.")
        )
    if (certificate is None) != (key is None):
        choices.refuse(say("--cert and --key go together: give both."))
    found = None if https else _certificates_to_serve(choices, certificate, key)
    if found is None:
        if not https:
            _tell_what_is_missing(choices, host)
        _serve(choices, choices.settings(https=https), host, port)
        return
    if port == https_port:
        choices.refuse(say("--port and --https-port must differ."))
    _serve_securely(choices, farm, found, host=host, port=port, https_port=https_port)


@main.command()
@click.option("--name", "names", multiple=True, help="Name of this machine on the network.")
@click.option("--ip", "addresses", multiple=True, help="Address of this machine on the network.")
@click.option("--renew", is_flag=True, help="Make a new authority; set up every phone again.")
@click.pass_obj
def certs(
    choices: _Choices, names: tuple[str, ...], addresses: tuple[str, ...], *, renew: bool
) -> None:
    """Make the certificates of the farm's pages, or show them."""
    from webapp import certificates, hosts  # noqa: PLC0415 - only here are they needed

    with choices.database() as database:
        farm = choices.farm(database)
    folder = certificates.folder_in(choices.folder)
    try:
        wanted = hosts.chosen_names(
            names, addresses, host_name=hosts.own_name(), own_addresses=hosts.own_addresses()
        )
        found = None if renew else certificates.load_certificates(folder, clock_now())
        if found is None:
            found = certificates.make_authority(folder, wanted, farm.name, clock_now())
            choices.tell(say("The certificates are made."))
        elif names or addresses:
            asked = hosts.Names(wanted.dns * bool(names), wanted.addresses * bool(addresses))
            _refuse_uncovered(choices, found, asked)
    except InvalidInput as error:
        choices.refuse(*error.problems.values())
    except AuditError as error:
        choices.refuse(error.message)
    _show_certificates(choices, found)


@main.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=_DEFAULT_PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option("--seed", default=20, show_default=True, help="Seed of the simulation.")
@click.option("--keep", is_flag=True, help="Keep the data in the folder given by --data.")
@click.option("--no-serve", is_flag=True, help="Simulate only.")
@click.pass_obj
def demo(choices: _Choices, host: str, port: int, seed: int, *, keep: bool, no_serve: bool) -> None:
    """Simulate an invented season and serve it."""
    from audits.demo import make_demo  # noqa: PLC0415 - only here is it needed

    if not keep:
        choices.folder = Path(tempfile.mkdtemp(prefix="pruning-audit-demo-"))
        choices.database_url = f"sqlite:///{choices.folder / 'farm.db'}"
    try:
        settings = choices.settings()
        database = Database(settings.database_url, durable=False)
        upgrade(database)
        with database.read() as connection:
            if only_farm(connection) is not None:
                raise click.ClickException(
                    choices.words.say(
                        say("There is a farm here already; the demo needs an empty place.")
                    )
                )
        with _progress(choices, say("Simulating a season")) as show:
            made = make_demo(database, clock_now(), seed=seed, progress=show)
        upgrade(database)
        database.close()
        choices.tell(
            say("%(audits)s audits of %(trees)s trees.", audits=made.audits, trees=made.trees)
        )
        for sign_in in made.sign_ins:
            click.echo(
                f"  {choices.words.say(ROLE_NAMES[sign_in.role]):<12} "
                f"{sign_in.name:<22} {sign_in.password}"
            )
        if not no_serve:
            _serve(choices, settings, host, port)
    finally:
        if not keep:
            shutil.rmtree(choices.folder, ignore_errors=True)


@main.command()
@click.option("--check", is_flag=True, required=True, help="Compare only; nothing is written.")
@click.pass_obj
def rescore(choices: _Choices, *, check: bool) -> None:  # noqa: ARG001 - the only way so far
    """Recompute every stored score and compare."""
    from audits.services.rescoring import check_scores  # noqa: PLC0415 - only here is it needed

    with choices.database() as database:
        farm = choices.farm(database)
        with _progress(choices, say("Recomputing")) as show:
            report = check_scores(database, farm.id, show)
    for difference in report.differences[:20]:
        click.echo(
            f"audit {difference.audit_id} {difference.where}: "
            f"{difference.stored} != {difference.recomputed}",
            err=True,
        )
    choices.tell(
        say(
            "%(audits)s audits, %(trees)s trees recomputed, %(count)s differences.",
            audits=report.audits,
            trees=report.trees,
            count=len(report.differences),
        )
    )
    if report.differences:
        raise SystemExit(1)


@main.command()
@click.option("--season", type=click.IntRange(1900, 2200), help="Year in which it began.")
@click.option(
    "--stage",
    "stages",
    multiple=True,
    type=click.Choice([str(stage) for stage in Stage]),
    help="A stage; may be given again.  [default: every stage]",
)
@click.pass_obj
def compare(choices: _Choices, season: int | None, stages: tuple[str, ...]) -> None:
    """Work out fair rates of a season and print them by name."""
    from webapp.comparison.report import report_of  # noqa: PLC0415 - only here is it needed

    with choices.database() as database:
        farm = choices.farm(database)
        words = words_of_farm(farm, choices.language)
        if season is None:
            season = season_of(_today(farm), farm.season_start_month)
        for stage in map(Stage, stages or Stage):
            for line in report_of(database, farm, season, stage, words):
                click.echo(line)


_BLOCK = click.option("--block", help="Name of the block.")
_CREW = click.option("--crew", help="Name of a crew.")
_WORKER = click.option("--worker", help="Code of a worker.")
_LANGUAGE_OF_PAPER = click.option(
    "--in", "in_", type=click.Choice(LANGUAGES), help="Language of the paper."
)
_SHEET_PAPER = click.option(
    "--page", type=click.Choice(["letter", "a4"]), help="Paper.  [default: usual in the region]"
)
_METHOD = click.option(
    "--method",
    type=click.Choice([str(method) for method in Method]),
    help="From where the crew works; it chooses the safety notes.  [default: ladder]",
)
_PRINTER = click.option("--printer", help="Name of a printer, whose correction moves the backs.")
_ADDRESS = click.option(
    "--address",
    default="",
    help="Address of the farm's pages for phones, such as https://farm.local:8443/, as a QR code.",
)
_OUTPUT = click.option(
    "--output", type=click.Path(dir_okay=False, path_type=Path), help="File to write."
)


@main.command()
@_BLOCK
@_CREW
@click.option(
    "--cards-in",
    "languages",
    multiple=True,
    type=click.Choice(LANGUAGES),
    help="Language of the cards; may be given twice.  [default: both, or each person's own]",
)
@click.option(
    "--format",
    type=click.Choice(["a7", "id_1", "three_by_five"]),
    help="Size of the cards.  [default: a7]",
)
@click.option(
    "--style",
    type=click.Choice(["all_stages", "large_print"]),
    help="What the cards show.  [default: all_stages]",
)
@click.option(
    "--stage",
    type=click.Choice([str(stage) for stage in Stage]),
    help="A stage, for cards that show one.",
)
@click.option("--copies", help="Cards of each kind.  [default: one full sheet, or one a person]")
@_METHOD
@_SHEET_PAPER
@_PRINTER
@_ADDRESS
@_OUTPUT
@click.pass_obj
def card(
    choices: _Choices,
    /,
    languages: tuple[str, ...],
    style: str | None,
    stage: str | None,
    address: str,
    output: Path | None,
    **options: str | None,
) -> None:
    """Print pocket cards of a block's standard, with --crew one for each of its people."""
    if stage is not None and style is not None:
        choices.refuse(say("--style and --stage do not go together: leave one out."))
    chosen = options | {
        "style": style if stage is None else f"one-{stage}",
        "in": languages[0] if len(set(languages)) == 1 else None,
    }
    _print(choices, "cards", chosen, address=address, output=output)


@main.command()
@_BLOCK
@click.option("--crew", help="Name of a crew: an answer sheet for each of its people.")
@click.option("--worker", help="Code of a worker: one answer sheet.")
@click.option("--seed", type=click.IntRange(0), required=True, help="The same seed, the same quiz.")
@click.option(
    "--variant",
    default="A",
    show_default=True,
    help="Order of questions and choices, A to D; all for each of them, with the keys last.",
)
@click.option("--style", help="words, or pictures for choices that are pictures and signs alone.")
@_LANGUAGE_OF_PAPER
@_METHOD
@_SHEET_PAPER
@_OUTPUT
@click.pass_obj
def quiz(
    choices: _Choices, /, output: Path | None, in_: str | None, **options: str | int | None
) -> None:
    """Print a quiz on a block's standard, with answer sheets and its key."""
    if options["crew"] is not None and options["worker"] is not None:
        choices.refuse(say("--crew and --worker do not go together: leave one out."))
    _print(choices, "quiz", options | {"in": in_}, output=output)


_SHEETS = (
    "tally",
    "rework",
    "coaching",
    "crew",
    "model-trees",
    "no-start",
    "safety",
    "training",
    "certificate",
    "season",
    "gauges",
    "poster",
    "duplex-test",
)


@main.command(epilog=f"KIND is one of: {', '.join(_SHEETS)}.")
@click.argument("kind", type=click.Choice(_SHEETS), metavar="KIND")
@_BLOCK
@_CREW
@_WORKER
@click.option("--audit", help="Number of an audit that is going on.")
@click.option("--order", help="Number of a rework order.")
@click.option("--season", help="Year in which a season began.  [default: the present one]")
@click.option("--copies", help="Sheets of gauges.  [default: 1]")
@_LANGUAGE_OF_PAPER
@_METHOD
@click.option(
    "--page",
    type=click.Choice(["letter", "a4", "tabloid", "a3"]),
    help="Paper; posters take tabloid or a3.  [default: usual in the region]",
)
@_PRINTER
@_ADDRESS
@_OUTPUT
@click.pass_obj
def sheet(
    choices: _Choices,
    /,
    kind: str,
    in_: str | None,
    address: str,
    output: Path | None,
    **options: str | None,
) -> None:
    """Print a sheet, a poster, gauges or the test page of a printer."""
    _print(choices, kind, options | {"in": in_}, address=address, output=output)


def _print(
    choices: _Choices,
    key: str,
    options: Mapping[str, object],
    *,
    output: Path | None,
    address: str = "",
) -> None:
    """Print a thing of the print desk into a file."""
    from webapp.printing import from_command  # noqa: PLC0415 - only here is paper needed

    path = output or Path(f"{key}.pdf")
    with choices.database() as database:
        farm = choices.farm(database)
        try:
            with from_command.as_on_a_page(choices.settings(), farm, choices.language, address):
                printed = from_command.print_from_options(
                    key, options, lambda: _refuse_unwritable(choices, path)
                )
        except from_command.RefusalError as error:
            raise click.ClickException("\n".join(error.sentences)) from error
    _write(choices, printed.content, path)
    if printed.batch is not None:
        choices.tell(
            say(
                "It is batch B%(number)s. Check its scale on the page of the batch before its "
                "gauges are used.",
                number=printed.batch,
            )
        )
    if not address and from_command.offer_named(key).has_code:
        choices.tell(
            say("It has no code for phones: --address says under which address they find the farm.")
        )


@main.command()
@click.option("--trees", required=True, help="Trees in the lot, such as 310.")
@click.option("--acceptable", default="5%", show_default=True, help="Bad trees in a good lot.")
@click.option("--rejectable", default="25%", show_default=True, help="Bad trees in a bad lot.")
@click.option(
    "--producer-risk",
    default="5%",
    show_default=True,
    help="Chance that a lot good in every stage goes back.",
)
@click.option(
    "--consumer-risk",
    default="10%",
    show_default=True,
    help="Chance that a bad lot passes a stage.",
)
@click.option("--stages", default="4", show_default=True, help="Stages in use, 1 to 4.")
@click.option("--waves", default="2", show_default=True, help="Walks at most, 2 or 3.")
@click.option(
    "--method",
    type=click.Choice([str(method) for method in PlanMethod]),
    default=str(PlanMethod.WAVES),
    show_default=True,
)
@click.option("--aql", default="6.5", show_default=True, help="Quality limit of the tables.")
@click.option(
    "--level",
    type=click.Choice([str(level) for level in InspectionLevel]),
    default=str(InspectionLevel.GENERAL_2),
    show_default=True,
    help="Inspection level of the tables.",
)
@click.option(
    "--inspection",
    type=click.Choice(["normal", "tightened", "reduced"]),
    default="normal",
    show_default=True,
    help="State of inspection in the tables.",
)
@click.option(
    "--kind",
    type=click.Choice([str(kind) for kind in PlanKind]),
    default=str(PlanKind.SINGLE),
    show_default=True,
    help="Single or double plans of the tables.",
)
@click.option("--seconds", default="60", show_default=True, help="Time for a tree.")
@click.option("--language", type=click.Choice(LANGUAGES), help="Language of the report.")
@click.pass_obj
def plan(choices: _Choices, /, language: str | None, **entered: str) -> None:
    """Print the plan of a lot and its curve; needs no farm."""
    from webapp.plan_report import report_of  # noqa: PLC0415 - only here are plans needed

    if language is not None:
        choices.language = language
    try:
        click.echo(report_of(entered, choices.words))
    except InvalidInput as error:
        raise click.ClickException(
            "\n".join(
                f"{option}: {choices.words.say(message)}"
                for option, message in error.problems.items()
            )
        ) from error
    except AuditError as error:
        raise click.ClickException(choices.words.say(error.message)) from error


def _today(farm: Farm) -> date:
    return clock_now().astimezone(ZoneInfo(farm.time_zone)).date()


def _write(choices: _Choices, document: bytes, path: Path) -> None:
    try:
        path.write_bytes(document)
    except OSError as error:
        _refuse_file(choices, path, error)
    choices.tell(say("%(file)s is written.", file=str(path)))


def _refuse_unwritable(choices: _Choices, path: Path) -> None:
    """Stop before anything is recorded of what could not be kept."""
    try:
        with path.open("ab"):
            pass
    except OSError as error:
        _refuse_file(choices, path, error)


def _refuse_file(choices: _Choices, path: Path, error: OSError) -> NoReturn:
    choices.refuse(
        say("%(file)s cannot be written: %(reason)s", file=str(path), reason=error.strerror)
    )


def _serve(choices: _Choices, settings: Settings, host: str, port: int) -> None:
    from webapp import serving  # noqa: PLC0415 - only here is the server needed

    address = f"http://{_shown(host)}:{port}/"
    choices.tell(say("Open %(address)s (stop with Ctrl-C)", address=address), bold=True)
    try:
        serving.serve(settings, host, port)
    except serving.PortTakenError:
        choices.refuse(say("Port %(port)s is taken. Choose another with --port.", port=str(port)))


def _serve_securely(
    choices: _Choices,
    farm: Farm,
    found: "Certificates",
    *,
    host: str,
    port: int,
    https_port: int,
) -> None:
    from webapp import certificates, serving  # noqa: PLC0415 - only here is the server needed
    from webapp.setup.settings import setup_settings  # noqa: PLC0415

    _warn_of_certificates(choices, found, host)
    shown = _shown(host, found)
    pages, setup = f"https://{shown}:{https_port}/", f"http://{shown}:{port}/"
    choices.tell(say("Open %(address)s (stop with Ctrl-C)", address=pages), bold=True)
    choices.tell(say("Set up phones at %(address)s", address=setup))
    settings = replace(choices.settings(https=True), hsts=found.is_public, setup_port=port)
    folder = certificates.folder_in(choices.folder)

    def renew() -> object:
        if found.authority is not None:
            return certificates.load_certificates(folder, clock_now())
        files = (found.certificate_file, found.key_file)
        return certificates.given_certificates(*files, clock_now())

    try:
        serving.serve_securely(
            settings,
            setup_settings(
                found,
                farm_name=farm.name,
                language=farm.language,
                host=host,
                https_port=https_port,
                http_port=port,
            ),
            found,
            host=host,
            https_port=https_port,
            http_port=port,
            renew=renew,
        )
    except serving.PortTakenError as error:
        option = "--port" if error.port == port else "--https-port"
        choices.refuse(
            say(
                "Port %(port)s is taken. Choose another with %(option)s.",
                port=str(error.port),
                option=option,
            )
        )
    except serving.HalfEndedError:
        choices.refuse(say("The page that sets up phones ended, so the pages ended too."))


def _shown(host: str, found: "Certificates | None" = None) -> str:
    """Return the host to type for people, who cannot open "every address of this machine"."""
    from webapp import hosts  # noqa: PLC0415 - only for servers

    if host in {"0.0.0.0", "::"}:  # noqa: S104 - compared, not listened on
        best = found.names.best if found else next(map(str, hosts.own_addresses()), "localhost")
        return hosts.in_url(best)
    return "localhost" if hosts.is_loopback(host) else hosts.in_url(host)


def _certificates_to_serve(
    choices: _Choices, certificate: Path | None, key: Path | None
) -> "Certificates | None":
    """Return the certificates given, else the farm's own; renew those that run out."""
    from webapp import certificates  # noqa: PLC0415 - only for servers

    try:
        if certificate is not None and key is not None:
            return certificates.given_certificates(certificate, key, clock_now())
        found = certificates.load_certificates(certificates.folder_in(choices.folder), clock_now())
    except AuditError as error:
        choices.refuse(error.message)
    if found is not None and found.renewed:
        choices.tell(say("The certificate of the pages is renewed; phones need nothing new."))
    return found


def _tell_what_is_missing(choices: _Choices, host: str) -> None:
    from webapp import hosts  # noqa: PLC0415 - only for servers

    choices.tell(
        say(
            "Plain http: phones work with a signal only, and what is sent can be read on the "
            "network. For https run once: pruning-audit certs"
        )
    )
    if hosts.is_loopback(host):
        choices.tell(say("Only this machine can open the pages; for others add --host 0.0.0.0"))


def _warn_of_certificates(choices: _Choices, found: "Certificates", host: str) -> None:
    """Say what will keep phones from trusting the pages, before somebody stands in a row."""
    from webapp import hosts  # noqa: PLC0415 - only for servers

    if hosts.is_loopback(host):
        choices.tell(say("Only this machine can open the pages; for others add --host 0.0.0.0"))
    days_left = (found.pages.not_valid_after_utc - clock_now()).days
    if days_left < _SOON_DAYS:
        choices.tell(
            say_n(
                "The certificate runs out in %(count)s day.",
                "The certificate runs out in %(count)s days.",
                days_left,
            )
        )
    if found.authority is None:
        return
    for address in hosts.own_addresses():
        if address not in found.names.addresses:
            choices.tell(
                say(
                    "This machine has the address %(address)s, for which its certificate is not "
                    "good: phones do not trust it there. Give the machine a fixed address in the "
                    "router, or make new certificates: pruning-audit certs --renew",
                    address=str(address),
                )
            )


def _refuse_uncovered(choices: _Choices, found: "Certificates", wanted: "Names") -> None:
    missing = [name for name in wanted.dns if name not in found.names.dns]
    missing += [str(address) for address in wanted.addresses if not found.names.has(str(address))]
    if missing:
        choices.refuse(
            say(
                "The authority may not speak for %(names)s. To make a new one add --renew; every "
                "phone then has to be set up again.",
                names=", ".join(missing),
            )
        )


def _show_certificates(choices: _Choices, found: "Certificates") -> None:
    from webapp import certificates  # noqa: PLC0415 - only here are they needed

    folder = certificates.folder_in(choices.folder)
    choices.tell(say("Good for: %(names)s", names=found.names))
    choices.tell(
        say(
            "Pages trusted until %(day)s, renewed by themselves; authority until %(end)s.",
            day=found.pages.not_valid_after_utc.date(),
            end=(found.authority or found.pages).not_valid_after_utc.date(),
        )
    )
    if found.authority is not None:
        choices.tell(say("SHA-256 fingerprint of the authority, as phones show it:"))
        click.echo(f"  {certificates.fingerprint(found.authority)}")
    choices.tell(
        say(
            "The keys stay in %(folder)s. Whoever has them can pass for this machine: keep them "
            "off other machines, and back them up under lock.",
            folder=str(folder),
        )
    )
    choices.tell(say("Now start the pages: pruning-audit serve --host 0.0.0.0"))


@contextmanager
def _progress(choices: _Choices, label: Message) -> Iterator[Callable[[int, int], None]]:
    """Show how far a long piece of work is."""
    with click.progressbar(length=100, label=choices.words.say(label)) as bar:

        def show(done: int, whole: int) -> None:
            bar.update(100 * done // max(whole, 1) - bar.pos)

        yield show


def _own_language() -> str:
    """Return Spanish where the terminal speaks it, else English."""
    named = os.environ.get("LC_ALL") or os.environ.get("LANG") or ""
    return "es" if named.startswith("es") else "en"


if __name__ == "__main__":
    main()
