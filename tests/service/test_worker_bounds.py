"""What a worker does at its start so that neither it nor a photo outlives or starves the service."""

import ctypes
import os
import signal
import sys

import pytest

from autoprep.service.worker import Limits, _confine

resource = pytest.importorskip("resource")
_LINUX = sys.platform.startswith("linux")


@pytest.fixture
def bounds(monkeypatch: pytest.MonkeyPatch) -> dict[str, object]:
    """What would be asked of the system, by name."""
    asked: dict[str, object] = {}

    class System:
        def prctl(self, option: int, value: int) -> None:
            asked[f"prctl {option}"] = value

    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "DISABLE_SECURITY_LIMITS"):
        monkeypatch.setenv(name, "7")
    monkeypatch.setattr(ctypes, "CDLL", lambda _name: System())
    monkeypatch.setattr(signal, "signal", lambda number, action: asked.update({f"signal {number}": action}))
    monkeypatch.setattr(resource, "setrlimit", lambda kind, size: asked.update({f"limit {kind}": size}))
    return asked


def test_a_worker_dies_with_the_service_and_keeps_to_its_memory(bounds: dict[str, object]) -> None:
    _confine(Limits(memory_mb=300, parent=os.getppid()))
    assert bounds[f"signal {signal.SIGINT}"] == signal.SIG_IGN
    assert bounds[f"limit {resource.RLIMIT_CORE}"] == (0, 0)
    assert os.environ["OMP_NUM_THREADS"] == "1"
    assert "DISABLE_SECURITY_LIMITS" not in os.environ
    if _LINUX:
        assert bounds["prctl 1"] == signal.SIGKILL  # PR_SET_PDEATHSIG
        assert bounds[f"limit {resource.RLIMIT_AS}"] == (300 * 2**20,) * 2


def test_a_worker_of_a_service_that_has_ended_ends(bounds: dict[str, object]) -> None:
    with pytest.raises(SystemExit):
        _confine(Limits(memory_mb=300, parent=os.getppid() + 1))
    assert f"limit {resource.RLIMIT_AS}" not in bounds


@pytest.mark.skipif(not _LINUX, reason="no limit elsewhere")
@pytest.mark.parametrize("memory_mb", [2 * 10**13, 10**22])
def test_a_limit_beyond_what_the_system_counts_is_none(bounds: dict[str, object], memory_mb: int) -> None:
    _confine(Limits(memory_mb=memory_mb, parent=os.getppid()))
    assert bounds[f"limit {resource.RLIMIT_AS}"] == (sys.maxsize,) * 2
