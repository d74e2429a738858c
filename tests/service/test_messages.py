"""What a worker says is plain data: nothing of it is run, and it can hand over only what was ordered."""

import json
import os
import pickle
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from autoprep.domain import JobRecord, OutputRecord
from autoprep.job.orders import AgainOrder, JobOrder, JobResult
from autoprep.service import worker
from autoprep.service.messages import Failed, Finished, Garbled, Staged, packed, unpacked
from autoprep.service.pool import Pool
from autoprep.wishes.tables import Settings


@pytest.fixture
def order(studio: Settings) -> JobOrder:
    ready = studio.folders.ready / "square" / "a.jpg"
    return JobOrder(
        "00001-a", "a.jpg", "0" * 64, b"", studio, {"square": ready}, studio.folders.needs_a_look / "a",
        studio.folders.records / "proof" / "00001-a",
    )  # fmt: skip


def result(order: JobOrder, **more: Any) -> JobResult:
    square = order.places["square"]
    shown = str(square.relative_to(order.settings.studio))
    output = OutputRecord(destination="square", path=shown, width_px=9, height_px=6, bytes=1, sha256="1")
    record = JobRecord(job=order.job, photo="a.jpg", sha256=order.sha256, outcome="ready", outputs=(output,))
    parts = [
        (final.parent / f".autoprep-x-{final.name}.part", final)
        for final in (square, order.proof_folder / "after.jpg", order.look_folder / "why.txt")
    ]
    return JobResult(record.model_copy(update=more), parts)


def test_what_was_said_is_understood(order: JobOrder) -> None:
    for message in (
        Staged(order.job, "outline", 0.5, {"confidence": 0.9, "kind": "ink"}),
        Finished(order.job, result(order)),
        Failed(order.job, "no “room”", retry=True, trace="a\nb", full=True),
    ):
        assert unpacked(packed(message), order) == message
    heard = unpacked(packed(Staged(order.job, "x", 1.0, {"n": np.float32(0.5), "at": Path("/x")})), order)
    assert heard == Staged(order.job, "x", 1.0, {"n": 0.5, "at": "/x"})


class Trap:
    """What runs when it is unpickled."""

    def __reduce__(self) -> Any:
        return os.mkdir, ("trapped",)


def test_nothing_is_run(order: JobOrder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(Garbled):
        unpacked(pickle.dumps(Trap()), order)
    assert list(tmp_path.glob("trapped")) == []


@pytest.mark.parametrize(
    "data",
    [b"", b"\xff\x00", b"[]", b"{}", b"null", b'{"finished": 3}', b"[" * 100_000,
     b'{"finished": "00001-a", "record": "{}", "parts": []}',
     b'{"staged": "00001-a", "stage": "x", "seconds": "long", "facts": {}}'],
)  # fmt: skip
def test_what_no_worker_says_is_garbled(order: JobOrder, data: bytes) -> None:
    with pytest.raises(Garbled):
        unpacked(data, order)


def test_a_worker_speaks_of_its_own_photo_alone(order: JobOrder) -> None:
    with pytest.raises(Garbled, match="has 00001-a"):
        unpacked(packed(Failed("00002-b", "x", retry=False)), order)
    for other in ({"job": "00002-b"}, {"sha256": "2" * 64}):
        with pytest.raises(Garbled, match="another photo"):
            unpacked(packed(Finished(order.job, result(order, **other))), order)


def test_only_files_that_were_ordered_are_taken(order: JobOrder) -> None:
    config = order.settings.config_file
    inbox = order.settings.folders.inbox
    square = order.places["square"]
    part = square.parent / ".autoprep-x-a.jpg.part"
    for strange in (
        (config.parent / ".autoprep-x-.part", config),  # to overwrite the settings
        (inbox / "IMG_1.jpg", square),  # to move an original away
        (square.with_name("another work.jpg"), square),
        (part, square.with_name("b.jpg")),
        (part.with_suffix(""), square),  # what lies there, and is no part of ours
        (square.with_name("x-a.jpg.part"), square),
        (part, order.proof_folder / ".." / "00002-b" / "after.jpg"),
        (order.proof_folder / ".autoprep-x-.part", order.proof_folder / ".."),
    ):
        message = Finished(order.job, JobResult(result(order).record, [strange]))
        with pytest.raises(Garbled, match="nobody ordered"):
            unpacked(packed(message), order)


def test_a_record_names_only_files_that_were_ordered_or_were_there(order: JobOrder) -> None:
    wrong = result(order).record.outputs[0].model_copy(update={"path": "inbox/IMG_1.jpg"})
    message = packed(Finished(order.job, JobResult(result(order, outputs=(wrong,)).record)))
    with pytest.raises(Garbled, match="names a file"):
        unpacked(message, order)
    again = AgainOrder(**vars(order), earlier=result(order, outputs=(wrong,)).record)
    assert isinstance(unpacked(message, again), Finished)


def _babble(pipe: Any, limits: Any) -> None:
    pipe.recv()
    pipe.send_bytes(json.dumps({"finished": "another"}).encode())
    time.sleep(60)


@pytest.mark.slow
def test_a_worker_that_babbles_is_ended_and_its_job_has_failed(
    order: JobOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.pool.run", _babble)
    pool = Pool(1, memory_mb=4000, job_limit_s=20)
    try:
        pool.submit(order.job, replace(order, data=b""))
        limit, heard = time.monotonic() + 15, list[Any]()
        while not heard and time.monotonic() < limit:
            heard += pool.collect()
            time.sleep(0.02)
        assert isinstance(heard[0], Failed)
        assert not heard[0].retry
        assert pool.running == []
        while pool._workers and time.monotonic() < limit:
            heard += pool.collect()
            time.sleep(0.02)
        assert len(heard) == 1  # its death is no second failure
    finally:
        pool.stop()


def test_the_worker_sends_no_objects() -> None:
    assert "pipe.send(" not in Path(worker.__file__).read_text(encoding="utf-8")
