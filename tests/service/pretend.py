"""A studio without pictures: a worker that only pretends, so that what the service decides can be tried quickly.

A pretended photo is a small whole JPEG with a comment that says which work it shows, how sharp it is, and what the
finder would say. A pretended file holds the plan and all words that would reach it, so that it shows when they change.
"""

import hashlib
import io
import json
import os
import re
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from autoprep.correction.planned import Planned
from autoprep.domain import (
    CorrectionPlan,
    Declined,
    Geometry,
    JobRecord,
    Outline,
    OutputRecord,
    PhotoFacts,
    Reason,
    Sharpening,
    Tone,
    kind_of,
)
from autoprep.errors import DeliveryError, MarkUnreadable
from autoprep.files.storage import write_part
from autoprep.imaging.likeness import likeness
from autoprep.job.delivery import Delivery, mark_style, statement_for
from autoprep.job.folders import by_its_folder
from autoprep.job.orders import AgainOrder, JobOrder, JobResult, OutlinedOrder
from autoprep.job.stages import now
from autoprep.job.story import why_held
from autoprep.job.takes import is_late
from autoprep.ledger import Ledger, connection
from autoprep.ledger.migrations import migrate
from autoprep.logs import open_log
from autoprep.pixels import Photo
from autoprep.rendering.mark_shape import shape_of
from autoprep.service.engine import Engine
from autoprep.service.messages import Failed, Finished
from autoprep.told.explanations import mark_unreadable
from autoprep.told.paper import OWN_FONT
from autoprep.wishes.destinations import Preset
from autoprep.wishes.fonts import fonts_for
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import memory_folder
from tests.service.engines import WorkerHere

_SQUARE = ((0.0, 0.0), (90.0, 0.0), (90.0, 60.0), (0.0, 60.0))
_LEAST_KB = 50  # no picture is pretended to be smaller
_FAULT_KB = 60  # and one of less than this is pretended to be what no code has foreseen
_PHOTO = PhotoFacts("jpeg", 90, 60, taken_at="2026-11-20T10:00:00")


def photo(work: int, sharp: int = 5, answer: str = "found", take: int = 0) -> bytes:
    """A pretended photo; answer: found, ask, several (two works), nothing, broken."""
    data = io.BytesIO()
    comment = f"work={work} sharp={sharp} answer={answer} take={take}".encode()
    Image.new("RGB", (9, 6), (200, work % 255, 90)).save(data, "JPEG", comment=comment)
    return data.getvalue()


def _said_by(data: bytes) -> tuple[int, int, str]:
    found = re.search(rb"work=(\d+) sharp=(\d+) answer=(\w+)", data)
    assert found is not None
    return int(found[1]), int(found[2]), found[3].decode()


def pretend(order: JobOrder) -> JobResult:
    """What autoprep.job.process does, without pictures."""
    work, sharp, answer = _said_by(order.data)
    if answer == "broken":
        raise ValueError("planted")
    if isinstance(order, AgainOrder):
        kept = tuple(out for out in order.earlier.outputs if out.destination not in order.places)
        update = {"outputs": kept, "work": order.facts, "came": order.came}
        return _made(order, order.earlier.model_copy(update=update))
    base = JobRecord(
        job=order.job, photo=order.photo, sha256=order.sha256, outcome="ready", work=order.facts,
        taken_at=_PHOTO.taken_at, finished_at=now(), part=order.part, came=order.came,
    )  # fmt: skip
    if order.facts.reference is not None:
        return JobResult(base.model_copy(update={"outcome": "reference", "reasons": ("a card",)}))
    if order.facts.not_a_work or (answer == "nothing" and not order.facts.says_work):
        return JobResult(base.model_copy(update={"outcome": "no work seen", "reasons": ("nothing",)}))
    outline = Outline(corners_px=_SQUARE, confidence=0.99)
    wished = answer in ("ask", "several") or order.refused or order.facts.outline in ("ask", "ask again")
    if wished and order.facts.outline != "whole photo" and not isinstance(order, OutlinedOrder):
        return _asked(order, base, outline, several=answer == "several")
    plan = CorrectionPlan(
        geometry=Geometry(photo_px=(90, 60), corners_px=_SQUARE, ratio=1.5, ratio_from="corners"),
        kind=order.facts.kind or "ink", paper="none", light=Declined(reason="-"), neutral=Declined(reason="-"),
        tone=Tone(gain=2.0**order.facts.lighter), sharpening=Sharpening(),
    )  # fmt: skip
    seed = int.from_bytes(hashlib.sha256(str((work, order.part) if order.part else work).encode()).digest()[:4], "big")
    seen = likeness(np.random.default_rng(seed).random((64, 64, 3), np.float32))
    measures = {"work_long_side_px": 90.0 * sharp, "blur_px": 1.0}
    chosen = isinstance(order, OutlinedOrder) and order.chosen
    record = base.model_copy(update={
        "outline": order.outline if isinstance(order, OutlinedOrder) else outline, "kind": plan.kind, "plan": plan,
        "measures": measures, "likeness": seen, "reasons": ("You chose the outline.",) if chosen else ("ok",),
    })  # fmt: skip
    return _made(replace(order, places={}) if is_late(record, order.before) else order, record)


def _asked(order: JobOrder, base: JobRecord, outline: Outline, *, several: bool) -> JobResult:
    """Two choices at a time, then two others, then none; several: the first two are works side by side."""
    first = len(order.refused) + 1
    choices = () if order.rests else tuple(
        outline.model_copy(update={"corners_px": ((k, k), (80.0, 1.0), (80.0, 50.0), (1.0, 50.0))})
        for k in range(first - 1, first + 1)
    )  # fmt: skip
    record = base.model_copy(update={
        "outcome": "needs a look", "choices": choices, "reasons": ("not sure",), "outline": outline,
        "refused": order.refused, "offers_none": bool(choices), "several": choices if several and first == 1 else (),
    })  # fmt: skip
    names = ["where.jpg", "why.txt", *(f"choice-{first + k}.jpg" for k in range(len(choices)))]
    names += ["each-by-itself.jpg"] if record.several else []
    names += ["none-of-these.jpg"] if choices else []
    names += ["no-work.jpg"] if choices and not order.facts.says_work else []
    finals = [order.look_folder / name for name in names]
    data = order.photo.encode()
    return JobResult(record, [(write_part(final, data, order.job), final) for final in finals])


def _made(order: JobOrder, record: JobRecord) -> JobResult:
    assert record.plan is not None
    parts, outputs = [], list(record.outputs)
    held = {k: v for k, v in record.held.items() if k not in order.places}
    failed = {k: v for k, v in record.failed.items() if k not in order.places}
    kinds = {k: v for k, v in record.held_kinds.items() if k in held or k in failed}
    for name, place in order.places.items():
        preset = order.settings.destinations[name]
        reason = why_held(order, preset, record.measures)
        if reason:
            held[name], kinds[name] = str(reason), kind_of(reason)
            continue
        if preset.max_kb is not None and preset.max_kb < _LEAST_KB:  # as CannotMeet does
            held[name] = f"{preset.max_kb:g} kB cannot be met"
            continue
        if preset.max_kb is not None and preset.max_kb < _FAULT_KB:
            failed[name] = f"it could not be made: {preset.max_kb:g} is a fault"
            continue
        made = Planned(Photo(b"", _PHOTO), record.plan)  # type: ignore[arg-type]
        delivery = Delivery(order.job, order.settings, made, order.facts, came=order.came)
        problem = _mark_problem(delivery, preset)
        if problem:
            failed[name], kinds[name] = str(problem), problem.kind
            continue
        words = {field: value for field, value, _ in statement_for(delivery, preset).fields()}
        text = json.dumps([order.sha256, record.plan.model_dump(mode="json"), words, preset.model_dump(mode="json")])
        data = text.encode()
        try:
            part = write_part(place, data, order.job, there=place.parent in order.there)
        except DeliveryError as closed:
            why = by_its_folder(order.settings, place, closed)
            if why is None:
                raise
            failed[name], kinds[name] = str(why), why.kind
            continue
        parts.append((part, place))
        outputs.append(OutputRecord(
            destination=name, path=str(place.relative_to(order.settings.studio)), width_px=9, height_px=6,
            bytes=len(data), sha256=hashlib.sha256(data).hexdigest(),
        ))  # fmt: skip
    update = {"outputs": tuple(outputs), "held": held, "held_kinds": kinds, "failed": failed}
    return JobResult(record.model_copy(update=update), parts)


def _mark_problem(delivery: Delivery, preset: Preset) -> Reason | None:
    """What is wrong with the picture or font of the mark that it would carry."""
    try:
        style = mark_style(delivery, preset)[0]
    except MarkUnreadable as found:
        return mark_unreadable(str(found))
    problem = "" if style is None or style.picture is None else shape_of(style.picture).problem
    return mark_unreadable(problem) if problem else None


class InlinePool(WorkerHere):
    """A pool of one worker that lives in this process and only pretends. made: the orders it was given, by photo."""

    made: list[tuple[str, str, tuple[str, ...]]] = []  # noqa: RUF012 - one list for all pools of a test
    rendered: list[tuple[str, str, tuple[str, ...]]] = []  # noqa: RUF012 - the same of files that were really made

    def __init__(self, *_: object) -> None:
        super().__init__()

    def submit(self, _job: str, order: JobOrder) -> None:
        self._orders.append(order)
        self.made.append((type(order).__name__, order.photo, tuple(order.places)))

    def collect(self) -> Iterator[Finished | Failed]:
        while self._orders:
            order = self._orders.pop()
            try:
                result = pretend(order)
                done = {final for _, final in result.parts}
                files = tuple(name for name, place in order.places.items() if place in done)
                if files:
                    self.rendered.append((type(order).__name__, order.photo, files))
                yield Finished(order.job, result)
            except DeliveryError as problem:
                yield Failed(order.job, str(problem), retry=True, full=problem.full)
            except Exception as problem:
                yield Failed(order.job, str(problem), retry=False, trace="planted")


@cache
def _empty_ledger() -> tuple[str, ...]:
    """The statements that make a ledger as all migrations leave a new one."""
    made = sqlite3.connect(":memory:", isolation_level=None)
    migrate(made)
    said = tuple(line for line in made.iterdump() if line not in ("BEGIN TRANSACTION;", "COMMIT;"))
    version = made.execute("PRAGMA user_version").fetchone()[0]
    made.close()
    return (*said, f"PRAGMA user_version = {version}")


def migrated_at_once(db: sqlite3.Connection) -> None:
    """What migrate does; a new ledger is made as all migrations together leave it: one by one they take four times as
    long, and a test makes one or more."""
    if db.execute("PRAGMA user_version").fetchone()[0]:
        migrate(db)
        return
    for statement in _empty_ledger():
        db.execute(statement)


# Of Latin scripts, and the signs that lists and captions have.
_LETTERS = "".join(map(chr, (*range(0x20, 0x7F), *range(0xA0, 0x100), *range(0x2010, 0x2027), 0x20AC)))


@cache
def _small_font() -> Any:
    """The font that comes along without most of its letters, as a file that goes with the process.

    Each list with pictures is written with a font that is read anew, and of six thousand letters that takes ten times
    as long as of two hundred.
    """
    from fontTools import subset, ttLib

    kept = tempfile.NamedTemporaryFile(prefix="autoprep-", suffix=".ttf", dir=memory_folder())  # noqa: SIM115 - see above
    font = ttLib.TTFont(OWN_FONT, recalcTimestamp=False)
    options = subset.Options(layout_features=[], hinting=False, notdef_outline=True, name_IDs=["*"])
    smaller = subset.Subsetter(options)
    smaller.populate(text=_LETTERS)
    smaller.subset(font)
    font.save(kept.name)
    return kept


def fonts_quickly_read(text: str, preferred: Path) -> tuple[tuple[Path, ...], str]:
    """What fonts_for says; where the smaller font holds all of the text, that stands for the one that comes along."""
    fonts, absent = fonts_for(text, preferred)
    if not set(text) <= set(_LETTERS):
        return fonts, absent
    small = Path(_small_font().name)
    return tuple(small if font == preferred else font for font in fonts), absent


class Studio:
    """A pretended studio: the service is started for every event and stopped when all is at rest."""

    def __init__(self, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("autoprep.service.engine.Pool", InlinePool)
        InlinePool.made, InlinePool.rendered = [], []
        config = settings.config_file
        text = config.read_text(encoding="utf-8")
        config.write_text(re.sub(r"settle_s = .*", "settle_s = 0.0", text), encoding="utf-8")
        self.config = config
        self._read: tuple[list[bytes], Settings] | None = None
        # A process that is killed loses nothing by what was not synced; waiting for the disk is most of the time. No
        # process that has a pretended studio is killed: what is cut off here is cut off by an exception.
        monkeypatch.setattr(os, "fsync", lambda _file: None)
        monkeypatch.setattr(connection, "journal_mode", lambda _version: ("MEMORY", "OFF"))
        monkeypatch.setattr(connection, "migrate", migrated_at_once)
        monkeypatch.setattr("autoprep.service.studio.fonts_for", fonts_quickly_read)
        # What comes soon comes at once: nobody else puts anything into this inbox meanwhile.
        monkeypatch.setattr(Engine, "_soon", lambda _engine, _pause_s: time.monotonic())

    @property
    def settings(self) -> Settings:
        texts = [path.read_bytes() for path in (self.config, self.config.with_name("destinations.toml"))]
        if self._read is None or self._read[0] != texts:
            self._read = (texts, self._loaded())
        return self._read[1]

    def _loaded(self) -> Settings:
        settings = load(self.config)
        service = settings.service.model_copy(update={"settle_s": 0.0})
        return settings.model_copy(update={"service": service})

    @property
    def inbox(self) -> Path:
        return self.settings.folders.inbox

    def put(self, name: str, data: bytes | str) -> Path:
        place = self.inbox / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.unlink(missing_ok=True)  # a new file, as sync tools make it
        place.write_bytes(data if isinstance(data, bytes) else data.encode())
        return place

    def run(self) -> dict[str, JobRecord]:
        """Let the service do all that follows, then stop it; the records by photo."""
        self.rest()
        return self.records()

    def rest(self, *, pages: bool = True) -> None:
        """The same without reading the records; pages: pages and lists are written at every step, not only at the first
        one and at the end."""
        engine = Engine(self.settings, open_log(self.settings.folders.records, None), follow=False)
        try:
            for _ in range(400):
                self.at_once(engine, pages=pages)
                engine.step(0.0)
                if engine.idle:
                    break
            else:
                raise AssertionError("the studio does not come to rest")
        except BaseException:
            self.cut_off(engine)
            raise
        engine.stop()

    @staticmethod
    def at_once(engine: Engine, *, pages: bool = True) -> None:
        """All looks are due now: after one that was slow, on a busy machine, the next ones would wait for seconds."""
        engine._next_scan = 0.0
        if pages:
            engine._next_page = engine._pages._next_list = 0.0
        engine._desk._knowledge._questions._next = 0.0

    @staticmethod
    def cut_off(engine: Engine) -> None:
        """What the system does for a process that is killed."""
        engine.hints.close()
        engine.ledger.close()
        engine._lock.close()

    def records(self) -> dict[str, JobRecord]:
        ledger = Ledger(ledger_path(self.settings))
        try:
            return {job.shown: job.record for job in ledger.jobs() if job.record is not None}
        finally:
            ledger.close()

    def redo(self, shown: str, *destinations: str) -> None:
        ledger = Ledger(ledger_path(self.settings))
        job = next(job for job in ledger.jobs() if job.shown == shown)
        ledger.ask_redo(job.job, list(destinations))
        ledger.close()

    def wait_over(self) -> None:
        """Nothing has to wait any longer for another try."""
        ledger = sqlite3.connect(ledger_path(self.settings))
        ledger.execute("UPDATE jobs SET not_before = 0")
        ledger.commit()
        ledger.close()

    def files(self) -> dict[str, bytes]:
        """Everything below ready/, by its path."""
        root = self.settings.folders.ready
        return {
            str(path.relative_to(root)).replace(os.sep, "/"): path.read_bytes()
            for path in sorted(root.rglob("*"))
            if path.is_file()
        }

    def made(self) -> list[tuple[str, str, tuple[str, ...]]]:
        """What workers were asked for since the last call: (kind of order, photo, destinations)."""
        made, InlinePool.made[:] = list(InlinePool.made), []
        return made

    def rendered(self) -> list[tuple[str, str, tuple[str, ...]]]:
        """What workers made files of since the last call: (kind of order, photo, destinations)."""
        rendered, InlinePool.rendered[:] = list(InlinePool.rendered), []
        return rendered
