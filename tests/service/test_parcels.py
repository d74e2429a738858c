"""Orders and answers as bytes: all that a job needs goes along, and only what was ordered, whole, comes back."""

import hashlib
import io
import json
import multiprocessing
import os
import re
import shutil
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image, ImageCms

import autoprep
from autoprep.domain import JobRecord, OutputRecord
from autoprep.files.storage import write_part
from autoprep.job.orders import AgainOrder, JobOrder, JobResult
from autoprep.job.story import process
from autoprep.service import remote
from autoprep.service.messages import Failed, Finished, Garbled, Staged
from autoprep.service.parcels import (
    Refused,
    files_of,
    laid_out,
    packed_answer,
    packed_order,
    packed_refusal,
    unpacked_answer,
)
from autoprep.wishes.places import font_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos


@pytest.fixture
def order(studio: Settings) -> JobOrder:
    return JobOrder(
        "00001-a", "a.jpg", "0" * 64, b"photo", studio, {"square": studio.folders.ready / "square" / "a.jpg"},
        studio.folders.needs_a_look / "a", studio.folders.records / "proof" / "00001-a",
    )  # fmt: skip


def done(order: JobOrder, root: Path, picture: bytes = b"picture") -> list[Staged | Finished | Failed]:
    """What a worker below a folder says that has done the order, and the files that it leaves."""
    moved = laid_out(packed_order(order), root)
    square, proof = moved.places["square"], moved.proof_folder / "after.jpg"
    output = OutputRecord(
        destination="square", path=str(square.relative_to(moved.settings.studio)), width_px=9, height_px=6,
        bytes=len(picture), sha256=hashlib.sha256(picture).hexdigest(),
    )  # fmt: skip
    said = (f"it lies in {moved.places['square']}",)
    record = JobRecord(
        job=order.job, photo="a.jpg", sha256=order.sha256, outcome="ready", outputs=(output,), reasons=said
    )
    parts = [(write_part(place, data, order.job), place) for place, data in ((square, picture), (proof, b"after"))]
    return [Staged(order.job, "read", 0.1, {"at": str(root / "x")}), Finished(order.job, JobResult(record, parts))]


def test_an_answer_is_as_a_local_worker_would_give_it(order: JobOrder, tmp_path: Path) -> None:
    root = tmp_path / "a “worker”"  # whatever such a folder is called
    data = packed_answer(done(order, root), root)
    assert b"worker" not in data
    answer = unpacked_answer(data, order)
    square, proof = order.places["square"], order.proof_folder / "after.jpg"
    assert answer.files == {square: b"picture", proof: b"after"}
    assert isinstance(answer.end, Finished)
    assert [final for _, final in answer.end.result.parts] == [square, proof]
    assert answer.end.result.record.reasons == (f"it lies in {square}",)
    assert answer.stages == [Staged(order.job, "read", 0.1, {"at": "/x"})]
    assert not square.exists()  # nothing is written here by reading an answer


def _changed(change: Callable[[dict[str, Any]], object], more: bytes = b"") -> Callable[[bytes], bytes]:
    def changed(data: bytes) -> bytes:
        end = 4 + int.from_bytes(data[:4], "big")
        head = json.loads(data[4:end])
        change(head)
        text = json.dumps(head).encode()
        return len(text).to_bytes(4, "big") + text + data[end:] + more

    return changed


def _said(change: Callable[[dict[str, Any]], object]) -> Callable[[bytes], bytes]:
    def told(head: dict[str, Any]) -> None:
        last = json.loads(head["said"][-1])
        change(last)
        head["said"][-1] = json.dumps(last)

    return _changed(told)


@pytest.mark.parametrize(
    ("spoilt", "words"),
    [
        (lambda data: data[:-1], "not whole"),
        (lambda data: data[:-1] + b"?", "damaged"),
        (lambda data: data + b"?", "more than it says"),
        (lambda data: data[:40], "can't be read"),
        (lambda _: b"", "can't be read"),
        (lambda _: None, "no bytes"),
        (bytearray, "no bytes"),
        (_changed(lambda head: head.pop("files")), "can't be read"),
        (_changed(lambda head: head.update(files={"a": 1})), "can't be read"),
        (_changed(lambda head: head["files"][0].__setitem__(1, -1)), "not whole"),
        (_changed(lambda head: head["files"][0].__setitem__(1, True)), "not whole"),
        (_changed(lambda head: head["files"].append(head["files"][0]), b"picture"), "damaged"),
        (_changed(lambda head: head.update(files=[["/x", 0, ""]] * 201)), "too many"),
        (_changed(lambda head: head["files"][0].__setitem__(0, "/etc/hosts")), "not those that it speaks of"),
        (_changed(lambda head: head.update(said=head["said"][:1])), "no end"),
        (_changed(lambda head: head.update(said=[])), "no end"),
        (_changed(lambda head: head.update(said=head["said"] + head["said"])), "no end"),
        (_said(lambda said: said.update(finished="00002-b")), "has 00001-a"),
        (_said(lambda said: said["parts"].append(said["parts"][0])), "not those that it speaks of"),
        (_said(lambda said: said.update(parts=said["parts"][:1])), "not those that it speaks of"),
        (_said(lambda said: said.update(parts=[["/etc/.autoprep-x.part", "/etc/hosts"]])), "nobody ordered"),
        (_said(lambda said: said.update(record=said["record"].replace('"bytes":7', '"bytes":8'))), "does not go with"),
        (_said(lambda said: said.update(record=said["record"].replace('"sha256":"0', '"sha256":"1'))), "another photo"),
    ],
)  # fmt: skip
def test_what_no_worker_gives_back_is_not_taken(
    order: JobOrder, tmp_path: Path, spoilt: Callable[[bytes], object], words: str
) -> None:
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")
    with pytest.raises(Garbled, match=words):
        unpacked_answer(spoilt(data), order)


def test_a_file_that_is_not_the_recorded_one_is_not_taken(order: JobOrder, tmp_path: Path) -> None:
    said = done(order, tmp_path / "w")
    part = said[-1].result.parts[0][0]  # type: ignore[union-attr]
    part.write_bytes(b"another")
    with pytest.raises(Garbled, match="does not go with its file for square"):
        unpacked_answer(packed_answer(said, tmp_path / "w"), order)


def test_a_worker_that_can_take_no_order_is_no_fault_of_the_photo(
    order: JobOrder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(Refused, match="no room"):
        unpacked_answer(packed_refusal("no room"), order)
    with pytest.raises(Refused, match=r"it can't read the order \(UnpicklingError\)"):
        unpacked_answer(remote.work(autoprep.__version__, b"?"), order)
    with pytest.raises(Refused, match=re.escape(f"it has Autoprep {autoprep.__version__}, and the service 0.7.0")):
        unpacked_answer(remote.work("0.7.0", packed_order(order)), order)
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")
    monkeypatch.setattr("autoprep.service.parcels.__version__", "7.0.0")
    with pytest.raises(Refused, match=re.escape(f"it has Autoprep {autoprep.__version__}, and this service 7.0.0")):
        unpacked_answer(data, order)


# --- what goes along ----------------------------------------------------------------------------------------------


def rich(studio: Settings, tmp_path: Path) -> Settings:
    """A studio whose jobs open all that a job can: a profile, a font and a picture of the mark, a certificate."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (studio.studio / "lab.icc").write_bytes(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    shutil.copyfile(font_path(studio), elsewhere / "Saltmere.ttf")
    drawn = Image.new("RGBA", (60, 20), (0, 0, 0, 0))
    drawn.paste((0, 0, 0, 255), (5, 5, 55, 15))
    drawn.save(studio.studio / "boat.png")
    config = studio.config_file
    text = config.read_text(encoding="utf-8")
    text += f'[mark]\nfont = "{elsewhere / "Saltmere.ttf"}"\npicture = "boat.png"\n'
    config.write_text(text, encoding="utf-8")
    config.with_name("destinations.toml").write_text(
        '[square]\nwidth_px = 300\nheight_px = 300\n\n[lab]\nlong_side_px = 400\nprofile = "lab.icc"\n'
        "\n[signed]\nlong_side_px = 400\ncredentials = true\n",
        encoding="utf-8",
    )
    from autoprep.cli import main

    assert main(["credentials", "--config", str(studio.studio)]) == 0
    return load(config)


def ordered(settings: Settings, tmp_path: Path) -> JobOrder:
    card = tmp_path / "inbox of another disk" / "grey card.jpg"
    card.parent.mkdir()
    grey = io.BytesIO()
    Image.new("RGB", (800, 600), (120, 112, 100)).save(grey, "JPEG", quality=95)
    card.write_bytes(grey.getvalue())
    return JobOrder(
        "00001-a", "a.jpg", "0" * 64, photos.jpeg(seed=3), settings,
        {name: settings.folders.ready / name / "a.jpg" for name in settings.destinations},
        settings.folders.needs_a_look / "a", settings.folders.records / "proof" / "00001-a",
        references=((card, "grey card"),),
    )  # fmt: skip


@pytest.mark.slow
def test_all_files_that_a_job_opens_go_along(studio: Settings, tmp_path: Path) -> None:
    settings = rich(studio, tmp_path)
    order = ordered(settings, tmp_path)
    here = process(order, lambda *_: None)
    made = {final: part.read_bytes() for part, final in here.parts}
    assert not here.record.failed
    assert "grey card.jpg" in here.record.model_dump_json()
    parcel = packed_order(order)
    for path in files_of(order):
        path.unlink()  # so that whatever is opened there is not here
    root = tmp_path / "worker"
    there = process(laid_out(parcel, root), lambda *_: None)
    answer = unpacked_answer(packed_answer([Finished(order.job, there)], root), order)
    assert isinstance(answer.end, Finished)
    record = answer.end.result.record
    assert (record.plan, record.reasons) == (here.record.plan, here.record.reasons)
    assert [out.path for out in record.outputs] == [out.path for out in here.record.outputs]
    assert [out.notes for out in record.outputs] == [out.notes for out in here.record.outputs]
    assert record.pages == here.record.pages
    assert answer.files.keys() == made.keys()
    same = {final for final in made if made[final] == answer.files[final]}
    # A signature holds the moment at which it was made.
    assert made.keys() - same == {order.places["signed"]}


def test_no_path_of_an_order_leads_out_of_the_workers_folder(studio: Settings, tmp_path: Path) -> None:
    settings = rich(studio, tmp_path)
    own = settings.credentials.model_copy(update={"certificate": "/somewhere/c.pem", "key": "/somewhere/k.pem"})
    lab = settings.destinations["lab"].model_copy(update={"profile": "/somewhere/lab.icc"})
    settings = settings.model_copy(update={"credentials": own, "destinations": {**settings.destinations, "lab": lab}})
    order = replace(ordered(settings, tmp_path), look_folder=Path("/elsewhere/look"))
    root = tmp_path / "worker"
    moved = laid_out(packed_order(order), root)
    found: list[Path] = []

    def walk(value: Any) -> None:
        if isinstance(value, Path):
            found.append(value)
        elif isinstance(value, dict):
            for each in value.values():
                walk(each)
        elif isinstance(value, tuple | list):
            for each in value:
                walk(each)
        elif isinstance(value, str):
            assert not value.startswith("/") or value.startswith(str(root)), value

    walk({name: value for name, value in vars(moved).items() if name != "settings"})
    walk(moved.settings.model_dump())
    assert len(found) >= 10
    assert all(path.is_relative_to(root) for path in found), found
    assert font_path(moved.settings).read_bytes() == font_path(settings).read_bytes()


def test_an_order_again_may_hold_files_that_lie_elsewhere(order: JobOrder, tmp_path: Path) -> None:
    elsewhere = OutputRecord(destination="master", path="/disk/a.tif", width_px=1, height_px=1, bytes=1, sha256="1")
    earlier = JobRecord(job=order.job, photo="a.jpg", sha256=order.sha256, outcome="ready", outputs=(elsewhere,))
    again = AgainOrder(**vars(order), earlier=earlier)
    said = done(again, tmp_path / "w")
    result = said[-1].result  # type: ignore[union-attr]
    result.record = result.record.model_copy(update={"outputs": (*result.record.outputs, elsewhere)})
    answer = unpacked_answer(packed_answer(said, tmp_path / "w"), again)
    assert isinstance(answer.end, Finished)
    assert answer.end.result.record.outputs[-1] == elsewhere


# --- a worker, without a cluster ----------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_decoder_that_dies_costs_its_photo_a_try_and_the_worker_goes_on(order: JobOrder) -> None:
    order = replace(order, data=photos.jpeg(seed=2))
    answers: list[bytes] = []
    thread = threading.Thread(target=lambda: answers.append(remote.work(autoprep.__version__, packed_order(order))))
    thread.start()
    try:
        limit = time.monotonic() + 30
        while not (remote._BENCH._pool and any(worker.up for worker in remote._BENCH._pool._workers)):
            assert time.monotonic() < limit
            time.sleep(0.01)
        os.kill(remote._BENCH._pool._workers[0].process.pid or 0, signal.SIGKILL)
        thread.join(30)
        end = unpacked_answer(answers[0], order).end
        assert isinstance(end, Failed)
        assert "SIGKILL" in end.reason
        assert end.retry
        answer = unpacked_answer(remote.work(autoprep.__version__, packed_order(order)), order)
        assert isinstance(answer.end, Finished)
        assert answer.end.result.record.outcome == "ready"
        assert answer.files[order.places["square"]][:2] == b"\xff\xd8"
    finally:
        remote.dask_teardown(None)
        remote._BENCH.ending = False


class _ClusterWorker:
    """What the cluster hands to a preloaded module."""

    def __init__(self) -> None:
        self.local_directory = "/nowhere"
        self.state = SimpleNamespace(total_resources=dict[str, float](), available_resources=dict[str, float]())


def test_a_worker_of_the_cluster_offers_its_version_and_keeps_memory_between_jobs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # With it a job takes twice its CPU time: each picture's memory goes back to the system and is fetched again.
    monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", "65536")
    monkeypatch.setattr(remote._BENCH, "folder", None)
    worker = _ClusterWorker()
    remote.dask_setup(worker)
    offer = {f"autoprep {autoprep.__version__}": 1}
    assert (worker.state.total_resources, worker.state.available_resources) == (offer, offer)
    assert "MALLOC_TRIM_THRESHOLD_" not in os.environ
    assert remote._BENCH.folder == "/nowhere"


def test_a_worker_that_may_start_no_process_offers_nothing_and_says_why(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(multiprocessing, "current_process", lambda: SimpleNamespace(daemon=True))
    worker = _ClusterWorker()
    remote.dask_setup(worker)
    assert worker.state.total_resources == {}
    assert "DASK_DISTRIBUTED__WORKER__DAEMON=False" in capsys.readouterr().out
