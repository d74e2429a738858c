"""The service's side of a cluster, with a line that only pretends: what goes wrong is no photo's fault."""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import pytest

import autoprep
from autoprep.errors import ConfigError, DeliveryError
from autoprep.job.orders import JobOrder
from autoprep.logs import open_log
from autoprep.service.cluster import Cluster
from autoprep.service.link import News, Overview, overview_of
from autoprep.service.messages import Failed, Finished, Staged
from autoprep.service.parcels import packed_answer, packed_refusal
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests.service.test_parcels import done, order

__all__ = ["order"]


class PretendedLink:
    """What it is asked for is noted; what the cluster answers is put in by the test."""

    def __init__(self, address: str, tls: object, wake: Connection) -> None:
        self.wake = wake
        self.seen, self.wanted, self.came = Overview(2), dict[str, int](), list[News]()

    def start(self) -> None:
        self.stopped = False

    def want(self, job: str, ticket: int, _order: JobOrder) -> None:
        self.wanted[job] = ticket

    def forget(self, job: str) -> None:
        self.wanted.pop(job, None)

    def news(self) -> Iterator[News]:
        while self.came:
            yield self.came.pop(0)

    def stop(self) -> None:
        self.stopped = True


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    monkeypatch.setattr("autoprep.service.cluster.monotonic", clock)
    return clock


@pytest.fixture
def cluster(studio: Settings, monkeypatch: pytest.MonkeyPatch, clock: Clock) -> Cluster:
    monkeypatch.setattr("autoprep.service.cluster.Link", PretendedLink)
    return Cluster(studio, open_log(studio.folders.records, None))


def link_of(cluster: Cluster) -> Any:
    return cluster._link


def test_so_many_orders_are_out_as_there_are_workers_and_a_few(cluster: Cluster, order: JobOrder) -> None:
    assert cluster.free == 4
    for number in range(4):
        assert cluster.takes(f"{number}")
        cluster.submit(f"{number}", order)
    assert cluster.free == 0
    assert not cluster.takes("4")
    assert cluster.running == ["0", "1", "2", "3"]
    link_of(cluster).seen = Overview(1)  # a machine goes away: what is out there stays out
    assert cluster.free == 0
    cluster.stop()
    assert link_of(cluster).stopped
    assert cluster.running == []


def test_an_answer_becomes_parts_beside_their_places(cluster: Cluster, order: JobOrder, tmp_path: Path) -> None:
    cluster.submit(order.job, order)
    ticket = link_of(cluster).wanted[order.job]
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")
    link_of(cluster).came = [News(order.job, ticket + 1, b"of an earlier time"), News("00002-b", ticket, data)]
    assert list(cluster.collect()) == []
    link_of(cluster).came = [News(order.job, ticket, data)]
    staged, finished = cluster.collect()
    assert isinstance(staged, Staged)
    assert isinstance(finished, Finished)
    part, final = finished.result.parts[0]
    assert part.read_bytes() == b"picture"
    assert (part.parent, part.suffix, final) == (final.parent, ".part", order.places["square"])
    assert not final.exists()  # giving names is for the desk
    assert cluster.running == []
    assert link_of(cluster).wanted == {}


def test_a_garbled_answer_has_failed_for_good(cluster: Cluster, order: JobOrder) -> None:
    cluster.submit(order.job, order)
    link_of(cluster).came = [News(order.job, 1, b"?")]
    (failed,) = cluster.collect()
    assert isinstance(failed, Failed)
    assert not failed.retry
    assert cluster.running == []


def test_no_room_here_is_no_failed_try(
    cluster: Cluster, order: JobOrder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from autoprep.files.storage import write_part

    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")

    def full(final: Path, content: bytes, token: str, **how: bool) -> Path:
        if final.name == "after.jpg":
            raise DeliveryError("after.jpg can't be written", full=True)
        return write_part(final, content, token, **how)

    monkeypatch.setattr("autoprep.service.cluster.write_part", full)
    cluster.submit(order.job, order)
    link_of(cluster).came = [News(order.job, 1, data)]
    failed = list(cluster.collect())[-1]
    assert isinstance(failed, Failed)
    assert failed.full
    assert list(order.places["square"].parent.iterdir()) == []  # what was written takes no room


def test_what_stands_in_a_folders_place_costs_what_belongs_in_it_alone(
    cluster: Cluster, order: JobOrder, tmp_path: Path
) -> None:
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")
    square = order.places["square"].parent
    square.parent.mkdir(parents=True, exist_ok=True)
    if square.is_dir():
        square.rmdir()
    square.write_text("mine")
    cluster.submit(order.job, order)
    link_of(cluster).came = [News(order.job, 1, data)]
    finished = list(cluster.collect())[-1]
    assert isinstance(finished, Finished)
    record = finished.result.record
    assert (record.outputs, record.held_kinds) == ((), {"square": "closed folder"})
    assert "something stands in the place of the folder ready/square" in record.failed["square"]
    assert [final.name for _, final in finished.result.parts] == ["after.jpg"]


def test_what_a_cluster_made_goes_into_no_folder_that_is_away_by_then(
    cluster: Cluster, order: JobOrder, tmp_path: Path
) -> None:
    folder = order.places["square"].parent
    order = replace(order, there=(folder,))
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")
    shutil.rmtree(folder, ignore_errors=True)
    cluster.submit(order.job, order)
    link_of(cluster).came = [News(order.job, 1, data)]
    failed = list(cluster.collect())[-1]
    assert isinstance(failed, Failed)
    assert failed.retry
    assert not folder.exists()


def test_where_nothing_of_ready_can_be_written_to_all_of_the_photo_waits(
    cluster: Cluster, order: JobOrder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = packed_answer(done(order, tmp_path / "w"), tmp_path / "w")

    def closed(final: Path, _content: bytes, _token: str, **_how: bool) -> Path:
        raise DeliveryError(f"{final.name} can't be written", closed=True)

    monkeypatch.setattr("autoprep.service.cluster.write_part", closed)
    monkeypatch.setattr("autoprep.job.folders.answers", lambda _folder: False)
    cluster.submit(order.job, order)
    link_of(cluster).came = [News(order.job, 1, data)]
    failed = list(cluster.collect())[-1]
    assert isinstance(failed, Failed)
    assert (failed.reason, failed.retry) == ("a.jpg can't be written", True)


def test_a_refusal_is_told_and_the_order_offered_again(cluster: Cluster, order: JobOrder, clock: Clock) -> None:
    cluster.submit(order.job, order)
    for _ in range(20):
        link_of(cluster).came = [
            News(order.job, link_of(cluster).wanted[order.job], packed_refusal("it has Autoprep 0.7"))
        ]
        assert list(cluster.collect()) == []
        assert "it has Autoprep 0.7" in cluster.trouble
        assert link_of(cluster).wanted == {}
        assert cluster.free == 0
        clock.now += 4.9
        assert list(cluster.collect()) == []
        assert link_of(cluster).wanted == {}
        clock.now += 0.2
        assert list(cluster.collect()) == []
        assert link_of(cluster).wanted != {}
    assert cluster.running == [order.job]


def test_what_is_lost_again_and_again_is_a_failed_try(cluster: Cluster, order: JobOrder, clock: Clock) -> None:
    cluster.submit(order.job, order)
    said = []
    for _ in range(3):
        link_of(cluster).came = [News(order.job, link_of(cluster).wanted[order.job], lost="its workers died")]
        said.append(list(cluster.collect()))
        clock.now += 6
        said[-1] += list(cluster.collect())
    assert said[:2] == [[], []]
    assert said[2] == [Failed(order.job, "its workers died", retry=True)]
    assert cluster.running == []


def test_nothing_is_late_while_the_scheduler_is_away(cluster: Cluster, order: JobOrder, clock: Clock) -> None:
    limit = 3 * order.settings.service.job_limit_s + 60
    cluster.submit(order.job, order)
    link_of(cluster).seen = Overview(trouble="the cluster does not answer")
    clock.now += 100 * limit
    assert list(cluster.collect()) == []
    assert link_of(cluster).wanted == {order.job: 1}
    assert cluster.trouble == "the cluster does not answer"
    link_of(cluster).seen = Overview(2)
    clock.now += limit - 1
    assert list(cluster.collect()) == []
    assert link_of(cluster).wanted == {order.job: 1}
    clock.now += 2
    assert list(cluster.collect()) == []
    assert link_of(cluster).wanted == {}
    clock.now += 6
    assert list(cluster.collect()) == []
    assert link_of(cluster).wanted == {order.job: 2}


def test_who_is_left_out_is_told_once(cluster: Cluster, studio: Settings) -> None:
    link_of(cluster).seen = Overview(2, remark="1 have not loaded Autoprep")
    for _ in range(3):
        list(cluster.collect())
    log = (studio.folders.records / "log.jsonl").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["reason"] for line in log] == ["1 have not loaded Autoprep"]


# --- the scheduler's list -----------------------------------------------------------------------------------------


def _worker(*offers: str) -> dict[str, Any]:
    return {"resources": dict.fromkeys(offers, 1.0), "nthreads": 1}


def test_only_workers_of_this_version_count() -> None:
    mine, other = f"autoprep {autoprep.__version__}", "autoprep 0.0.1"
    seen = overview_of(
        {"a": _worker(mine), "b": _worker(mine, "GPU"), "c": _worker(other), "d": _worker()}, "tcp://x:1"
    )
    assert (seen.workers, seen.trouble) == (2, "")
    assert "0.0.1" in seen.remark
    assert "1 have not loaded Autoprep" in seen.remark
    assert overview_of({"a": _worker(mine)}, "tcp://x:1") == Overview(1)
    assert "0.0.1" in overview_of({"c": _worker(other)}, "tcp://x:1").trouble
    assert "have not loaded" in overview_of({"d": _worker("GPU")}, "tcp://x:1").trouble
    assert "has no workers" in overview_of({}, "tcp://x:1").trouble


# --- settings -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('cluster = "192.168.1.20"', "the scheduler's address"),
        ('cluster = "http://saltmere:8786"', "the scheduler's address"),
        ('cluster = "tls://saltmere:8786"', "go together"),
        ('cluster = "tcp://saltmere:8786"\ncluster_tls = { ca = "a", certificate = "b", key = "c" }', "go together"),
        ('cluster = "tls://saltmere:8786"\ncluster_tls = { ca = "a", certificate = "b", key = "c" }', "no file"),
        ('cluster_tls = { ca = "a" }', "goes with `service.cluster`"),
    ],
)
def test_mistakes_in_the_settings_are_named(studio: Settings, lines: str, words: str) -> None:
    config = studio.config_file
    config.write_text(config.read_text(encoding="utf-8").replace("[service]", f"[service]\n{lines}"), encoding="utf-8")
    with pytest.raises(ConfigError, match=words):
        load(config)


def test_without_the_extra_it_is_named(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    config = studio.config_file
    text = config.read_text(encoding="utf-8").replace("[service]", '[service]\ncluster = "tcp://saltmere:8786"')
    config.write_text(text, encoding="utf-8")
    assert load(config).service.cluster == "tcp://saltmere:8786"
    monkeypatch.setattr("autoprep.wishes.checks.find_spec", lambda name: None if name == "distributed" else name)
    with pytest.raises(ConfigError, match=r"pip install 'autoprep\[cluster\]'"):
        load(config)
