"""From the farm's records to the sheets that a crew keeps; every function returns a document."""

from collections.abc import Collection
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from audits.errors import InvalidInput
from audits.messages import say
from audits.plain_words import stage_words
from audits.records import Actor, Farm
from audits.services.briefings import who_may_not_start
from audits.services.contesting import contested_in_season
from audits.services.farms import the_block, the_crew
from audits.services.name_order import by_name
from audits.services.season import (
    AcceptanceReading,
    GroupLine,
    LotSums,
    SeasonReview,
    StageLine,
    review_season,
)
from audits.services.sign_offs import StageProgress
from audits.services.standards import standard_of
from audits.services.training_records import TrainingRecordView, view_training_record
from audits.services.trends import LEAST_PEOPLE_OF_A_CREW
from audits.storage.database import Database
from audits.storage.queries import farms as farm_queries
from audits.vocabulary import Method, Stage
from printables.certificate import Certificate, SignedStage, sign_off_certificate
from printables.document import Document
from printables.model_tree_sheet import MODEL_TREES, ModelTreeSheet, model_tree_sheet
from printables.no_start import NoStart, NoStartLine, no_start_sheet
from printables.safety_brief import BLANK_LINES, NEWCOMERS, SafetyBrief, safety_brief_sheet
from printables.season_report import (
    ReportCrew,
    ReportHours,
    ReportLots,
    ReportStage,
    SeasonReport,
    season_report,
)
from printables.sheet import Page
from printables.subject import StandardSubject
from printables.training_record import (
    BriefLine,
    LearnedStage,
    PracticeLine,
    QuizLine,
    SignedOff,
    TrainingLine,
    TrainingRecord,
    training_record_sheet,
)
from webapp.coaching.papers import name_of
from webapp.printing.sheets import block_in_force
from webapp.reading import LANGUAGE_NAMES, words_of_farm

LANGUAGES: Final = dict(LANGUAGE_NAMES)


def model_tree_document(
    database: Database,
    farm: Farm,
    block_id: int,
    *,
    day: date,
    language: str,
    method: Method = Method.LADDER,
    trees: int = MODEL_TREES,
    page: Page = Page.LETTER,
) -> Document:
    """Print the model-tree sheet of a block's standard in force."""
    with database.read() as connection:
        block = the_block(connection, farm.id, block_id)
    version = block_in_force(database, farm, block, day)
    subject = StandardSubject(
        farm=farm.name,
        block=block.name,
        version=version.version,
        in_force_from=version.in_force_from,
        method=method,
        low_bloom=block.low_bloom,
        emergency_location=block.emergency_location or farm.emergency_location,
        first_aider=farm.first_aider,
    )
    sheet = ModelTreeSheet(subject, standard_of(version), trees)
    return model_tree_sheet(sheet, words_of_farm(farm, language), page=page)


def safety_brief_document(
    database: Database,
    farm: Farm,
    method: Method,
    crew_id: int | None = None,
    *,
    language: str,
    block_id: int | None = None,
    page: Page = Page.LETTER,
) -> Document:
    """Print a safety brief; with a crew its people's names, and a few lines for newcomers."""
    with database.read() as connection:
        block = None if block_id is None else the_block(connection, farm.id, block_id)
        crew = None if crew_id is None else the_crew(connection, farm.id, crew_id)
        people = [] if crew is None else farm_queries.workers_of_crew(connection, farm.id, crew.id)
    brief = SafetyBrief(
        farm=farm.name,
        method=method,
        block="" if block is None else block.name,
        emergency_location=(block and block.emergency_location) or farm.emergency_location,
        first_aider=farm.first_aider,
        crew="" if crew is None else crew.name,
        names=tuple(name_of(worker) for worker in by_name(people)),
        blank_lines=NEWCOMERS if people else BLANK_LINES,
    )
    return safety_brief_sheet(brief, words_of_farm(farm, language), page=page)


def no_start_document(
    database: Database,
    farm: Farm,
    actor: Actor,
    method: Method,
    *,
    day: date,
    language: str,
    crew_id: int | None = None,
    page: Page = Page.LETTER,
) -> Document:
    """Print who may not start with a method, of one crew or of all."""
    barred = who_may_not_start(database, actor, method, day)
    with database.read() as connection:
        crew = None if crew_id is None else the_crew(connection, farm.id, crew_id)
        crews = {each.id: each.name for each in farm_queries.crews(connection, farm.id)}
        people = farm_queries.workers(connection, farm.id)
    asked = [worker for worker in people if crew is None or worker.crew_id == crew.id]
    sheet = NoStart(
        farm=farm.name,
        method=method,
        day=day,
        crew="" if crew is None else crew.name,
        people=len(asked),
        lines=tuple(
            NoStartLine(
                name_of(standing.worker),
                crews.get(standing.worker.crew_id or 0, ""),
                LANGUAGES[standing.worker.language],
                None if standing.briefing is None else standing.briefing.holds_until,
            )
            for standing in barred
            if crew is None or standing.worker.crew_id == crew.id
        ),
    )
    return no_start_sheet(sheet, words_of_farm(farm, language), page=page)


def training_record_document(
    database: Database,
    farm: Farm,
    actor: Actor,
    worker_id: int,
    *,
    day: date,
    language: str | None = None,
    page: Page = Page.LETTER,
) -> Document:
    """Print a worker's training record, in the worker's language unless another is asked for."""
    view = view_training_record(database, actor, worker_id)
    worker, people = view.learning.worker, view.learning.people
    record = TrainingRecord(
        farm=farm.name,
        worker=name_of(worker),
        issued_on=day,
        stages=tuple(_learned(each, view, farm) for each in view.learning.stages),
        trainings=tuple(
            TrainingLine(
                event.stage, event.kind, event.held_on, people.get(event.noted_by, ""), event.note
            )
            for event in view.events
        ),
        crew=view.crew.name if view.crew else "",
        started_on=worker.started_on,
        briefs=tuple(
            BriefLine(
                brief.method,
                brief.held_on,
                brief.holds_until,
                LANGUAGES[brief.language],
                view.people.get(brief.noted_by, ""),
            )
            for brief in view.briefings
        ),
        quizzes=tuple(
            QuizLine(
                line.attempt.taken_on,
                line.block,
                LANGUAGES[line.attempt.language],
                line.attempt.correct,
                line.attempt.questions,
                line.is_passed,
            )
            for line in view.attempts
        ),
        practice=tuple(
            PracticeLine(
                line.is_pruned,
                line.trees,
                line.first_at.astimezone(ZoneInfo(farm.time_zone)).date(),
                line.last_at.astimezone(ZoneInfo(farm.time_zone)).date(),
                LANGUAGES[line.language],
            )
            for line in view.practised
        ),
        practised=tuple((stage.stage, stage.right, stage.done) for stage in view.practised_stages),
    )
    return training_record_sheet(
        record, words_of_farm(farm, language or worker.language), page=page
    )


def certificate_document(
    database: Database,
    farm: Farm,
    actor: Actor,
    worker_id: int,
    *,
    day: date,
    stages: Collection[Stage] = (),
    language: str | None = None,
    page: Page = Page.LETTER,
) -> Document:
    """Print a worker's certificate for all stages that were signed off, or some of them."""
    view = view_training_record(database, actor, worker_id)
    worker = view.learning.worker
    signed = [
        _signed(each, view, farm)
        for each in view.learning.stages
        if _is_signed(each) and (not stages or each.stage in stages)
    ]
    if not signed:
        field = "stages" if stages else "worker_id"
        problem = say(
            "Nothing was signed off for %(name)s yet, so there is nothing to certify.",
            name=name_of(worker),
        )
        raise InvalidInput({field: problem})
    certificate = Certificate(farm.name, name_of(worker), day, tuple(signed))
    return sign_off_certificate(
        certificate, words_of_farm(farm, language or worker.language), page=page
    )


def season_report_document(
    database: Database,
    farm: Farm,
    actor: Actor,
    season: int,
    *,
    day: date,
    language: str,
    page: Page = Page.LETTER,
) -> Document:
    """Print the owner's report of a season, with the figures that the season's page shows."""
    review = review_season(database, actor, season)
    by_crew = {
        name: review_season(database, actor, season, crew_id=crew_id)
        for crew_id, name in review.chartable_crews.items()
    }
    report = SeasonReport(
        farm=farm.name,
        season=_season_name(farm, season),
        first_day=review.season.first_day,
        last_day=review.season.last_day,
        issued_on=day,
        lots=ReportLots("", _figures(review.lots), review.lots.acceptance.sentence),
        trees=review.trees_audited,
        pruning=ReportHours(
            review.effort.hours, review.effort.passes, review.effort.passes_without_hours
        ),
        rework=ReportHours(
            review.effort.rework_hours,
            review.effort.rework_passes,
            review.effort.rework_without_hours,
        ),
        blocks=tuple(map(_lots, review.blocks)),
        crews=tuple(map(_lots, review.crews)),
        stages=tuple(map(_report_stage, review.stages)),
        crew_rates=_crew_rates(review, by_crew),
        least_people=LEAST_PEOPLE_OF_A_CREW,
        contested=contested_in_season(database, actor, season),
        read_otherwise=review.lots.read_otherwise,
    )
    return season_report(report, words_of_farm(farm, language), page=page)


def _learned(progress: StageProgress, view: TrainingRecordView, farm: Farm) -> LearnedStage:
    learning = progress.learning
    if learning is None:
        return LearnedStage(progress.stage)
    people = view.learning.people
    standard = None
    if progress.version is not None:
        standard = say(
            "%(block)s, standard %(version)s",
            block=view.blocks[progress.version.block_id].name,
            version=str(progress.version.version),
        )
    signed = None
    if learning.signed_off_at is not None:
        signed = SignedOff(
            learning.signed_off_at.astimezone(ZoneInfo(farm.time_zone)).date(),
            people.get(learning.signed_off_by or 0, ""),
            learning.trees or 0,
            learning.nonconforming or 0,
        )
    return LearnedStage(
        stage=progress.stage,
        begun_on=learning.begun_on,
        begun_by=people.get(learning.begun_by, ""),
        trees=len(progress.outcomes),
        nonconforming=sum(progress.outcomes),
        rule=progress.rule,
        standard=standard,
        signed_off=signed,
    )


def _is_signed(progress: StageProgress) -> bool:
    return progress.learning is not None and progress.learning.signed_off_at is not None


def _signed(progress: StageProgress, view: TrainingRecordView, farm: Farm) -> SignedStage:
    learning, version = progress.learning, progress.version
    if learning is None or learning.signed_off_at is None or version is None:
        raise ValueError(f"{progress.stage} is not signed off")
    standard = standard_of(version)
    block = view.blocks[version.block_id]
    return SignedStage(
        stage=progress.stage,
        headline=stage_words(standard, progress.stage, low_bloom=block.low_bloom).headline,
        rule=standard.sign_off,
        trees=learning.trees or 0,
        signed_on=learning.signed_off_at.astimezone(ZoneInfo(farm.time_zone)).date(),
        signed_by=view.learning.people.get(learning.signed_off_by or 0, ""),
        block=block.name,
        version=version.version,
    )


def _season_name(farm: Farm, year: int) -> str:
    if farm.season_start_month == 1:
        return str(year)
    return f"{year}/{(year + 1) % 100:02d}"


def _figures(sums: LotSums) -> tuple[int, int, int, int, int, int, int]:
    return (
        sums.lots,
        sums.first_accepted,
        sums.accepted_after_rework,
        sums.in_rework,
        sums.closed,
        sums.not_audited,
        sums.not_chosen,
    )


def _lots(group: GroupLine) -> ReportLots:
    if group.sums is None:
        held_back = say(
            "Fewer than %(people)s people: no figures are shown.", people=LEAST_PEOPLE_OF_A_CREW
        )
        return ReportLots(group.name, None, held_back)
    reading: AcceptanceReading = group.sums.acceptance
    return ReportLots(group.name, _figures(group.sums), reading.sentence)


def _report_stage(line: StageLine) -> ReportStage:
    return ReportStage(
        stage=line.stage,
        audited=line.acceptance.audited,
        accepted=line.acceptance.accepted,
        reworked=line.reworked,
        leading_fault=line.leading_fault,
        acceptance=line.acceptance.sentence,
        due=line.rate.due,
        rate=line.rate.sentence,
        chart=line.chart,
    )


def _crew_rates(review: SeasonReview, by_crew: dict[str, SeasonReview]) -> tuple[ReportCrew, ...]:
    """Return the rates of crews with finished lots; a small crew stands there without figures."""
    return tuple(
        ReportCrew(
            crew.name,
            tuple((line.stage, line.rate.sentence) for line in by_crew[crew.name].stages)
            if crew.name in by_crew
            else None,
        )
        for crew in review.crews
        if crew.name not in by_crew or by_crew[crew.name].stages
    )
