"""States of the demo that no simulated season leaves behind: their pages are to be seen too."""

from base64 import b64encode
from collections.abc import Callable
from datetime import datetime, timedelta
from hashlib import sha256
from io import BytesIO
from typing import Any
from uuid import uuid4

from PIL import Image

from audits.demo import OWNER, SUPERVISOR, WORKER
from audits.quiz_letters import letters_of
from audits.quizzes import QUESTIONS, Quiz
from audits.records import Actor
from audits.seasons import season_of
from audits.services import (
    accounts,
    amending,
    auditing,
    calibrating,
    contesting,
    farms,
    passes,
    printers,
    printing,
    quiz_attempts,
    quiz_sittings,
    sealing,
    sheet_photos,
    standards,
    start_checks,
)
from audits.services.auditing import AuditView, Device, TreeEntry
from audits.services.own_trees import view_own_trees
from audits.services.photos import SentPhoto, keep_photo
from audits.services.quiz_attempts import QuizPaper
from audits.services.quiz_sittings import SittingChoice
from audits.services.sheet_photos import ReadPhoto
from audits.storage.database import Database
from audits.storage.queries import accounts as account_queries
from audits.storage.queries import farms as farm_queries
from audits.storage.queries import passes as pass_queries
from audits.storage.queries.fetch import insert
from audits.storage.queries.standards import versions_of_block
from audits.storage.tables import photo
from audits.vocabulary import (
    BatchKind,
    CheckOccasion,
    Fault,
    LotState,
    Method,
    PassKind,
    Result,
    Role,
    SheetKind,
    Side,
    Stage,
    TurnedOver,
)
from printables.marked import SheetCode
from printables.sheet import Page
from tests import phone_queue
from webapp.papers.photos import meaning_check
from webapp.printing.choices import GaugeChoices, PaperChoice, SubjectChoice, stored_choices

PHONE = Device("a phone")
WORKER_PASSWORD = "a quiet row of apples"  # noqa: S105 - opens nothing but the tests' own farm

Answers = dict[str, Any]


class States:
    """Makes the states, one after another, through the services that people use."""

    def __init__(self, database: Database, now: datetime) -> None:
        self.database = database
        self.now = now
        self.owner = self._actor(OWNER[0])
        self.supervisor = self._actor(SUPERVISOR[0])
        with database.read() as connection:
            self.waiting = pass_queries.lots_in_state(
                connection, self.owner.farm_id, LotState.WAITING
            )
            self.passed_over = pass_queries.lots_in_state(
                connection, self.owner.farm_id, LotState.NOT_CHOSEN
            )[0]
            self.blocks = farm_queries.blocks(connection, self.owner.farm_id)

    def make(self) -> dict[str, str]:
        """Make every state; return the path of its page under a name for it."""
        accepted = self._audit(answers_right)
        refused = self._audit(answers_with(Fault.HIGH, Fault.LOW))
        decided = self._audit(answers_right, to_the_end=True, seal=False)
        begun = self._begin()
        self._score(begun, answers_with(Fault.HIGH), trees=2)
        amended = self._amend(accepted)
        check = self._start_check()
        self._phone(begun)
        self._disagree()
        self._quizzes_on_a_screen()
        rounds = self._rounds_on_check_trees()
        with self.database.read() as connection:
            orders = pass_queries.rework_orders_of_lot(
                connection, self.owner.farm_id, refused.book.draw.lot_id
            )
        return {
            "audit-decided": f"/audits/{decided.book.audit.id}",
            "audit-begun": f"/audits/{begun.book.audit.id}/trees",
            "tree": f"/audits/{begun.book.audit.id}",
            "tree-answered": f"/audits/{begun.book.audit.id}/trees/{begun.walk[0].id}",
            "audit-refused": f"/audits/{refused.book.audit.id}",
            "audit-amended": f"/audits/{accepted.book.audit.id}",
            "amend": amended,
            "lot-refused": f"/lots/{refused.book.draw.lot_id}",
            "lot-not-chosen": f"/lots/{self.passed_over.id}",
            "lot-begun": f"/lots/{begun.book.draw.lot_id}",
            "rework": f"/rework/{orders[-1].id}",
            "start-check": f"/start-checks/{check}",
            "start-check-tree": f"/start-checks/{check}/tree",
            "print-batch": f"/print/batches/{self._print_batch()}",
            "printer": f"/print/printers/{self._printer()}",
            **self._sheets_from_photos(begun),
            "round-of-owner": f"/auditors/audits/{rounds[0]}/trees",
            "round-of-supervisor": f"/auditors/audits/{rounds[1]}/trees",
        } | self._newcomers()

    def _actor(self, name: str) -> Actor:
        with self.database.read() as connection:
            farm = account_queries.only_farm(connection)
            user = account_queries.user_by_name(connection, farm.id, name)
        return Actor(user.id, farm.id, user.name, user.role, user.language, user.worker_id)

    # --- quizzes on a screen -----------------------------------------------------------------

    def _quizzes_on_a_screen(self) -> None:
        """Let each person hand one quiz in, leave one half done, and one that waits for its key."""
        with self.database.read() as connection:
            workers = farm_queries.workers(connection, self.owner.farm_id)
        for actor in (self.owner, self.supervisor, self._actor(WORKER[0])):
            for answered, is_handed_in in ((QUESTIONS, True), (5, False), (QUESTIONS, False)):
                sitting = quiz_sittings.begin_sitting(
                    self.database,
                    actor,
                    SittingChoice(actor.worker_id or workers[0].id, self.blocks[0].id, "es"),
                    uid=uuid4().hex,
                    seed=answered,
                    variant="B",
                    now=self.now,
                )
                for number in range(1, answered + 1):
                    quiz_sittings.answer_question(self.database, actor, sitting.uid, number, 1)
                if is_handed_in:
                    quiz_sittings.hand_in(self.database, actor, sitting.uid, now=self.now)

    # --- paper -------------------------------------------------------------------------------

    def _printer(self) -> int:
        return printers.add_printer(
            self.database,
            self.supervisor,
            name="Office",
            turned_over=TurnedOver.LONG_EDGE,
            back_right_mm=0.5,
        )

    def _print_batch(self) -> int:
        """Record gauges that were printed and fit, but no more once they were laminated."""
        block = self.blocks[0]
        with self.database.read() as connection:
            farm = account_queries.only_farm(connection)
            version = versions_of_block(connection, farm.id, block.id)[0]
        choices = GaugeChoices(
            subject=SubjectChoice.of(farm, block, version, Method.GROUND),
            paper=PaperChoice(page=Page.LETTER, region=farm.region, units=farm.units),
            language="en",
            copies=2,
            printed_on=self.now.date(),
        )
        order = printing.BatchOrder(
            BatchKind.GAUGES, block.id, version.id, None, stored_choices(choices), choices.count
        )
        batch = printing.make_batch(self.database, self.supervisor, order, self.now)
        for occasion, fits in ((CheckOccasion.PRINTED, True), (CheckOccasion.LAMINATED, False)):
            printing.note_check(
                self.database,
                self.supervisor,
                batch.number,
                occasion=occasion,
                card_fits=fits,
                across_mm=100.2,
                now=self.now,
            )
        return batch.number

    def _sheets_from_photos(self, begun: AuditView) -> dict[str, str]:
        """Keep photos of sheets as if they had been read: two that wait, and one confirmed."""
        tree = begun.walk[3].id
        states = {f"t{tree}.{mark}": "marked" for mark in ("top.R", "limbs.2", "heading.N")}
        states |= {f"t{tree}.columns.F": "unsure"}
        audit = begun.book.audit.id
        tally = SheetCode(SheetKind.TALLY, (str(audit), "L", "EN"), 1, "ABC123").text
        tally_id = self._sheet_photo(SheetKind.TALLY, tally, states, audit)
        with self.database.read() as connection:
            version = versions_of_block(connection, self.owner.farm_id, self.blocks[0].id)[0]
            worker = farm_queries.workers(connection, self.owner.farm_id)[0]
        answers = {f"q{number}.A": "marked" for number in range(1, 9)} | {"q9.B": "unsure"}
        waiting, kept = (
            self._sheet_photo(
                SheetKind.ANSWERS,
                SheetCode(
                    SheetKind.ANSWERS,
                    (str(version.id), seed, "B", "L", "L", "ES", str(worker.id)),
                    1,
                    "000000",
                ).text,
                answers,
                quiz=quiz_attempts.quiz_of(
                    self.database,
                    self.supervisor,
                    QuizPaper(version.id, int(seed), "B", Method.LADDER, "es"),
                ),
            )
            for seed in ("6", "7")
        )
        quiz_attempts.record_attempt(
            self.database,
            self.supervisor,
            QuizPaper(version.id, 7, "B", Method.LADDER, "es"),
            worker.id,
            [0] * 8 + [1, None],
            # The farm's day may still be the one before.
            taken_on=(self.now - timedelta(days=1)).date(),
            now=self.now,
            photo_id=kept,
        )
        return {
            "desk-from-photo": f"/audits/{audit}/desk?photo={tally_id}",
            "answers-to-confirm": f"/papers/{waiting}",
            "answers-kept": f"/papers/{kept}",
        }

    def _sheet_photo(
        self,
        kind: SheetKind,
        code: str,
        states: dict[str, str],
        audit_id: int | None = None,
        quiz: Quiz | None = None,
    ) -> int:
        picture = BytesIO()
        # Each photo is kept once by what is in it.
        shade = int(sha256(code.encode()).hexdigest()[:2], 16)
        Image.new("L", (120, 40), shade).save(picture, "JPEG")
        unsure = {key.rpartition(".")[0] for key, state in states.items() if state == "unsure"}
        crop = b64encode(picture.getvalue()).decode()
        reading = {
            "page": 1,
            "states": states,
            "crops": dict.fromkeys(unsure, crop),
            "meaning": meaning_check(letters_of(quiz)) if quiz else "",
        }
        kept = sheet_photos.keep_sheet_photo(
            self.database,
            self.supervisor,
            ReadPhoto(kind, code, audit_id, picture.getvalue(), reading),
            now=self.now,
        )
        return kept.id

    # --- audits ------------------------------------------------------------------------------

    def _begin(self) -> AuditView:
        lot = self.waiting.pop(0)
        audit_id = auditing.begin_audit(
            self.database,
            self.supervisor,
            lot.id,
            seed=lot.id,
            client_id=str(uuid4()),
            device=PHONE,
            now=self.now,
        )
        return auditing.view_audit(self.database, self.supervisor, audit_id)

    def _audit(
        self,
        answer: Callable[[int, Stage], Answers],
        *,
        to_the_end: bool = True,
        seal: bool = True,
    ) -> AuditView:
        view = self._begin()
        if to_the_end:
            self._score(view, answer)
        if seal:
            sealing.seal_audit(self.database, self.supervisor, view.book.audit.id, self.now)
        return view

    def _score(
        self,
        view: AuditView,
        answer: Callable[[int, Stage], Answers],
        trees: int | None = None,
    ) -> None:
        stages = view.book.draw.stages
        for number, tree in enumerate(view.walk[:trees]):
            answers = {str(stage): answer(number, stage) for stage in stages}
            entry = TreeEntry(tree.id, str(uuid4()), {"stages": answers}, PHONE)
            now_view = auditing.record_trees(
                self.database, self.supervisor, view.book.audit.id, [entry], self.now
            )
            if now_view.all_decided:
                break

    def _amend(self, view: AuditView) -> str:
        tree = view.walk[0]
        answers = {str(stage): answers_right(0, stage) for stage in view.book.draw.stages}
        amending.amend_tree(
            self.database,
            self.supervisor,
            view.book.audit.id,
            tree.id,
            answers={"stages": answers | {"top": fault(Fault.BLUNT)}},
            reason="Looked again with the worker.",
            client_id=str(uuid4()),
            device=PHONE,
            now=self.now,
        )
        return f"/audits/{view.book.audit.id}/trees/{tree.id}/amend"

    def _rounds_on_check_trees(self) -> list[int]:
        """Score some trees of a calibration walk, as owner and as supervisor; close nothing."""
        begin = self.now - timedelta(days=90)
        pruned = calibrating.passes_to_walk(self.database, self.supervisor, begin)[0]
        walk_id = calibrating.open_walk(
            self.database, self.supervisor, pruned.id, seed=5, now=self.now
        )
        return [self._round(walk_id, auditor) for auditor in (self.owner, self.supervisor)]

    def _round(self, walk_id: int, auditor: Actor) -> int:
        audit_id = calibrating.begin_round(
            self.database,
            auditor,
            walk_id,
            client_id=str(uuid4()),
            device=PHONE,
            now=self.now,
        )
        view = calibrating.view_check_audit(self.database, auditor, audit_id).view
        for number, tree in enumerate(view.walk[:6]):
            answer = answers_with(Fault.HIGH) if number % 2 else answers_right
            answers = {str(stage): answer(number, stage) for stage in view.book.draw.stages}
            entry = TreeEntry(tree.id, str(uuid4()), {"stages": answers}, PHONE)
            calibrating.score_check_tree(self.database, auditor, audit_id, entry, self.now)
        return audit_id

    # --- what phones send --------------------------------------------------------------------

    def _phone(self, view: AuditView) -> None:
        """Send a photo of a tree, and something that the office cannot read."""
        phone = phone_queue.enrol(self.database, None, "Glove phone", actor=self.supervisor)
        phone.send(self.database, [{"id": "a torn page", "kind": "tree"}], self.now)
        picture = BytesIO()
        Image.new("RGB", (320, 240), "#7a5a3a").save(picture, "JPEG")
        sent = SentPhoto(
            client_id=str(uuid4()),
            audit_client_id=view.book.audit.client_id,
            draw_tree_id=view.walk[0].id,
            stage=Stage.TOP,
            device_at=self.now,
        )
        keep_photo(
            self.database,
            self.owner.farm_id,
            phone.device,
            sent,
            remade=picture.getvalue,
            now=self.now,
        )

    # --- a disagreement ----------------------------------------------------------------------

    def _disagree(self) -> None:
        """Let the demo's worker disagree with a score of another supervisor; a photo shows it."""
        worker = self._actor(WORKER[0])
        with self.database.read() as connection:
            farm = account_queries.only_farm(connection)
        season = season_of(self.now.date(), farm.season_start_month)
        # As the supervisor sees them: none that is still to be scored unseen.
        found = view_own_trees(
            self.database,
            self.supervisor,
            worker.worker_id,
            season,
            now=self.now,
            faults_only=True,
        )
        tree, score = next(
            (own.tree, score)
            for own in found.trees
            for score in own.scores
            if score.may_disagree
            and score.result is Result.NONCONFORMING
            and own.tree.auditor != self.supervisor.name
        )
        contesting.raise_contest(
            self.database, worker, tree.audit_id, tree.draw_tree_id, score.stage, now=self.now
        )
        picture = BytesIO()
        Image.new("RGB", (320, 240), "#7a5a3a").save(picture, "JPEG")
        with self.database.write() as connection:
            insert(
                connection,
                photo,
                {
                    "farm_id": worker.farm_id,
                    "client_id": str(uuid4()),
                    "audit_id": tree.audit_id,
                    "draw_tree_id": tree.draw_tree_id,
                    "stage": score.stage,
                    "content": picture.getvalue(),
                    "content_hash": sha256(picture.getvalue()).hexdigest(),
                    "received_at": self.now,
                },
            )

    # --- a new pass and its start check ------------------------------------------------------

    def _start_check(self) -> int:
        farm_id = self.owner.farm_id
        block = next(block for block in self.blocks if block.name == "Upper Bench")
        with self.database.read() as connection:
            row_ids = [row.id for row in farm_queries.rows_of_block(connection, farm_id, block.id)]
            crew = farm_queries.crews(connection, farm_id)[0]
            workers = farm_queries.workers(connection, farm_id)
        pass_id = passes.begin_pass(
            self.database,
            self.supervisor,
            block_id=block.id,
            crew_id=crew.id,
            kind=PassKind.SUMMER,
            method=Method.LADDER,
            row_ids=row_ids[:4],
            started_at=self.now - timedelta(minutes=20),
        )
        worker = next(worker for worker in workers if worker.crew_id == crew.id)
        audit_id = start_checks.begin_start_check(
            self.database,
            self.supervisor,
            pass_id,
            worker_id=worker.id,
            client_id=str(uuid4()),
            device=PHONE,
            now=self.now,
        )
        view = auditing.view_audit(self.database, self.supervisor, audit_id)
        for position in (3, 4):
            stages = view.book.draw.stages
            start_checks.score_start_tree(
                self.database,
                self.supervisor,
                audit_id,
                row_id=row_ids[0],
                position=position,
                side=Side.LEFT,
                answers={
                    "stages": {
                        str(stage): answers_with(Fault.HIGH)(position, stage) for stage in stages
                    }
                },
                client_id=str(uuid4()),
                device=PHONE,
                now=self.now,
            )
        return audit_id

    # --- what is new or gone -----------------------------------------------------------------

    def _newcomers(self) -> dict[str, str]:
        """A block without rows, a worker without records, a closed account, a later standard."""
        used = self.blocks[0]
        with self.database.read() as connection:
            latest = versions_of_block(connection, self.owner.farm_id, used.id)[-1]
        standards.write_standard(
            self.database,
            self.supervisor,
            used.id,
            payload=latest.payload,
            in_force_from=self.now.date() + timedelta(days=30),
            now=self.now,
        )
        block_id = farms.add_block(
            self.database,
            self.owner,
            name="Levee",
            cultivar="Ember Tip",
            habit=self.blocks[0].habit,
            rootstock="M.9",
            row_spacing_mm=3350.0,
            tree_spacing_mm=900.0,
            planting_year=2020,
        )
        worker_id = farms.add_worker(
            self.database,
            self.owner,
            code="B99",
            name="Leocadia Marañón de la Fuente Sotomayor",
            language="es",
            crew_id=None,
            started_on=self.now.date(),
        )
        user_id = accounts.admit_user(
            self.database,
            self.owner,
            name="Leocadia",
            password=WORKER_PASSWORD,
            role=Role.WORKER,
            language="es",
            now=self.now,
            worker_id=worker_id,
        )
        accounts.disable_user(self.database, self.owner, user_id, self.now)
        return {
            "block-empty": f"/blocks/{block_id}",
            "standard-later": f"/blocks/{used.id}/standards/{latest.version + 1}",
            "worker-new": f"/workers/{worker_id}",
            "user-closed": f"/farm/people/{user_id}",
        }


def answers_right(_number: int, stage: Stage) -> Answers:
    """Answer with right."""
    removed = {"removed": 2} if stage is Stage.LIMBS else {}
    return {"kind": "class", "tap": "right"} | removed


def answers_with(*tops: Fault) -> Callable[[int, Stage], Answers]:
    """Answer the tops with these faults in turn, the rest with right."""

    def answer(number: int, stage: Stage) -> Answers:
        if stage is Stage.TOP:
            return fault(tops[number % len(tops)])
        return answers_right(number, stage)

    return answer


def fault(*faults: Fault) -> Answers:
    """Answer one stage with faults."""
    return {"kind": "class", "tap": "fault", "faults": [str(one) for one in faults]}
