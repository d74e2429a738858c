"""A real cluster on this machine, by the documented lines: machines die and come, the scheduler goes and comes back."""

import asyncio
import json
import os
import subprocess
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from autoprep.cli.studio import make_studio
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.engine import Engine
from autoprep.service.link import ask, connected
from autoprep.service.readiness import look_over
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.conftest import QUICK
from tests.service.clusters import LocalCluster, cpu_seconds, documented, killed, local_cluster, wait_until
from tests.service.engines import run_once

pytestmark = pytest.mark.slow

_PHOTOS = 6


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[LocalCluster]:
    with local_cluster(tmp_path / "cluster") as started:
        yield started


def small(seed: int) -> bytes:
    """A photo of 0.5 megapixels, each of another work."""
    return photos.jpeg(np.ascontiguousarray(cv2.resize(photos.sheet(seed), (800, 600), interpolation=cv2.INTER_AREA)))


def with_cluster(settings: Settings, address: str, more: str = "") -> Settings:
    text = settings.config_file.read_text(encoding="utf-8")
    text = text.replace("[service]", f'[service]\ncluster = "{address}"\n{more}')
    settings.config_file.write_text(text, encoding="utf-8")
    return load(settings.config_file)


def a_local_run(settings: Settings, folder: Path) -> dict[str, bytes]:
    """What comes out of the same photos by a worker of the service's own, by the file's path below ready/."""
    (folder / "config").mkdir(parents=True)
    (folder / "config" / "autoprep.toml").write_text(QUICK, encoding="utf-8")
    destinations = settings.config_file.with_name("destinations.toml").read_text(encoding="utf-8")
    (folder / "config" / "destinations.toml").write_text(destinations, encoding="utf-8")
    make_studio(folder)
    own = load(folder / "config" / "autoprep.toml")
    for photo in settings.folders.inbox.iterdir():
        (own.folders.inbox / photo.name).write_bytes(photo.read_bytes())
    run_once(own)
    return files(own)


def files(settings: Settings) -> dict[str, bytes]:
    ready = settings.folders.ready
    return {str(path.relative_to(ready)): path.read_bytes() for path in ready.rglob("*") if path.is_file()}


def events(settings: Settings, name: str) -> list[dict[str, object]]:
    log = (settings.folders.records / "log.jsonl").read_text(encoding="utf-8").splitlines()
    return [event for event in map(json.loads, log) if event["event"] == name]


def drive(engine: Engine, until: Callable[[], bool], limit_s: float = 60) -> None:
    limit = time.monotonic() + limit_s
    while not until():
        assert time.monotonic() < limit
        engine.step(0.1)


def in_mid_job(machine: subprocess.Popen[bytes], before: float) -> bool:
    """Whether a machine has worked since: its processes have used half a second more than they had."""
    return cpu_seconds(machine.pid) > before + 0.5


def test_machines_and_the_scheduler_may_die_and_every_photo_comes_out_once(
    studio: Settings, cluster: LocalCluster, tmp_path: Path
) -> None:
    settings = with_cluster(studio, cluster.address)
    for number in range(_PHOTOS):
        (settings.folders.inbox / f"Lighthouse {number}.jpg").write_bytes(small(number))
    expected = a_local_run(settings, tmp_path / "local")
    assert len(expected) == 2 * _PHOTOS

    engine = Engine(settings, open_log(settings.folders.records, None), follow=False)
    try:
        # There is no scheduler yet: the service waits, and says so once.
        drive(engine, lambda: bool(engine._pool.trouble) and "does not answer" in engine._pool.trouble)
        assert engine._pool.running == []
        scheduler = cluster.scheduler()
        other = cluster.workers(1, version="0.0.1")
        first, second = cluster.workers(1), cluster.workers(1)
        wait_until(lambda: ask(cluster.address, None).workers == 2)
        wait_until(lambda: "some have Autoprep 0.0.1 and this service" in ask(cluster.address, None).remark)
        before = cpu_seconds(first.pid)
        drive(engine, lambda: len(engine._pool.running) >= 2 and in_mid_job(first, before))
        assert len(engine._pool.running) <= 4  # two workers, and two on their way
        killed(first)

        # The other goes on; a third machine comes and takes its share.
        third = cluster.workers(1)
        wait_until(lambda: ask(cluster.address, None).workers == 2)
        before = cpu_seconds(third.pid)
        drive(engine, lambda: in_mid_job(third, before))

        # The scheduler dies and comes back in mid-job.
        assert engine._pool.running
        killed(scheduler)
        drive(engine, lambda: bool(engine._pool.trouble))
        assert "goes on by itself" in engine._pool.trouble
        cluster.scheduler()
        drive(engine, lambda: engine.idle, 90)
        assert cpu_seconds(second.pid) > 0
        assert cpu_seconds(other.pid) > 0
    finally:
        began = time.monotonic()
        engine.stop()
    assert time.monotonic() - began < 10
    assert files(settings) == expected
    ledger = Ledger(ledger_path(settings))
    try:
        jobs = list(ledger.jobs())
        assert sorted(job.shown for job in jobs) == sorted(f"Lighthouse {n}.jpg" for n in range(_PHOTOS))
        assert {(job.state, job.outcome, job.attempts) for job in jobs} == {("done", "ready", 0)}
    finally:
        ledger.close()
    assert len(events(settings, "finished")) == _PHOTOS
    assert events(settings, "failed") == []
    assert events(settings, "given out again") == []  # a line that broke is no order that was lost
    assert len(events(settings, "waiting for workers")) >= 2
    assert list(settings.studio.rglob("*.part")) == []


def test_a_check_says_how_the_cluster_is_and_no_pickle_comes_back(
    studio: Settings, cluster: LocalCluster, tmp_path: Path
) -> None:
    settings = with_cluster(studio, cluster.address)

    def said() -> tuple[str, str]:
        found = [finding for finding in look_over(settings) if finding.about == "cluster"]
        assert len(found) == 1
        return found[0].grade, found[0].words

    grade, words = said()
    assert grade == "missing"
    assert "does not answer" in words
    cluster.scheduler()
    wait_until(lambda: "has no workers" in said()[1])
    cluster.workers(2)
    wait_until(lambda: ask(cluster.address, None).workers == 2)
    assert said() == ("good", f"the cluster at {cluster.address} answers; workers that do jobs: 2")
    trapped = str(tmp_path / "trapped")
    assert isinstance(asyncio.run(_result_of(cluster.address, _trap, trapped)), TypeError)
    assert asyncio.run(_result_of(cluster.address, _plain, trapped)) == trapped.encode()
    assert not Path(trapped).exists()


class Trap:
    """What runs when it is unpickled."""

    def __init__(self, place: str) -> None:
        self.place = place

    def __reduce__(self) -> Any:
        return os.mkdir, (self.place,)


def _trap(place: str) -> Trap:
    return Trap(place)


def _plain(place: str) -> bytes:
    return place.encode()


async def _result_of(address: str, what: Callable[[str], object], place: str) -> object:
    """What comes back by the service's own line."""
    client = await connected(address, None)
    try:
        return await client.submit(what, place, pure=False)
    except TypeError as problem:
        return problem
    finally:
        await client.close(timeout=2)


def test_the_documented_lines_give_each_worker_one_thread_and_load_autoprep() -> None:
    assert "--nthreads 1" in documented()["worker"]
    assert "--preload autoprep.service.remote" in documented()["worker"]


def authority(folder: Path) -> tuple[Path, Path, Path]:
    """An authority of its own, and a certificate by it with its key."""
    folder.mkdir()
    now, name = datetime.now(UTC), x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Saltmere")])
    keys = [ec.generate_private_key(ec.SECP256R1()) for _ in range(2)]
    places = folder / "ca.pem", folder / "certificate.pem", folder / "key.pem"
    for key, place, is_ca in ((keys[0], places[0], True), (keys[1], places[1], False)):
        subject = name if is_ca else x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
        made = x509.CertificateBuilder(name, subject, key.public_key(), x509.random_serial_number())
        made = made.not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
        made = made.add_extension(x509.BasicConstraints(ca=is_ca, path_length=None), critical=True)
        certificate = made.sign(keys[0], hashes.SHA256())
        place.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    plain = serialization.NoEncryption()
    pkcs8 = serialization.PrivateFormat.PKCS8
    places[2].write_bytes(keys[1].private_bytes(serialization.Encoding.PEM, pkcs8, plain))
    return places


def test_a_closed_line_lets_in_only_who_has_a_certificate(tmp_path: Path) -> None:
    ours, theirs = authority(tmp_path / "ours"), authority(tmp_path / "theirs")
    ca, certificate, key = map(str, ours)
    options = ("--protocol", "tls", "--tls-ca-file", ca, "--tls-cert", certificate, "--tls-key", key)
    with local_cluster(tmp_path / "cluster", "tls", options) as cluster:
        cluster.scheduler()
        cluster.workers(1)
        wait_until(lambda: ask(cluster.address, ours).workers == 1)
        assert "does not answer" in ask(cluster.address, theirs).trouble


def test_stopping_with_orders_out_gives_them_back_uncharged(
    studio: Settings, cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("autoprep.service.engine._STOP_S", 1.0)  # 8 s, which leaves 2 s for the rest
    settings = with_cluster(studio, cluster.address)
    for number in range(3):
        (settings.folders.inbox / f"Boat {number}.jpg").write_bytes(small(number))
    cluster.scheduler()
    machine = cluster.workers(1)
    engine = Engine(settings, open_log(settings.folders.records, None))
    drive(engine, lambda: len(engine._pool.running) == 3)
    machine.send_signal(19)  # it is stopped, and says nothing any more
    began = time.monotonic()
    engine.stop()
    assert time.monotonic() - began < 3
    ledger = Ledger(ledger_path(settings))
    try:
        left = [job for job in ledger.jobs() if job.state != "done"]
        assert left
        assert {(job.state, job.attempts) for job in left} == {("queued", 0)}
    finally:
        ledger.close()
