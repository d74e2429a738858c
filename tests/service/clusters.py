"""A real cluster on this machine for tests and the bench: a scheduler and workers by the lines of DEVELOPERS.md."""

import contextlib
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
_DOCUMENTED = re.compile(r"^(?:while .*)?dask (?:scheduler|worker) .*$", re.M)


def documented() -> dict[str, str]:
    """The lines of DEVELOPERS.md that start a scheduler and a machine's workers."""
    lines = _DOCUMENTED.findall((ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    found = {line.split("dask ")[1].split()[0]: line for line in lines}
    assert len(lines) == len(found) == 2, lines
    return found


def killed(process: subprocess.Popen[bytes]) -> None:
    """A machine loses its power: all that a line has started ends at once."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait(10)


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens at."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class LocalCluster:
    """A scheduler and workers as processes of their own; all end with it."""

    def __init__(self, folder: Path, scheme: str = "tcp", options: tuple[str, ...] = ()) -> None:
        self._folder, self.port, self._options = folder, free_port(), options
        self.address = f"{scheme}://127.0.0.1:{self.port}"
        self._processes: list[subprocess.Popen[bytes]] = []

    def scheduler(self) -> subprocess.Popen[bytes]:
        """Start the scheduler, at the same address each time."""
        line = documented()["scheduler"].replace("192.168.1.20", "127.0.0.1").replace("8786", str(self.port))
        return self._start(line, "--no-dashboard")

    def workers(self, count: int = 1, version: str = "") -> subprocess.Popen[bytes]:
        """Start a machine's workers; version: as which Autoprep they pass themselves off."""
        line = documented()["worker"].replace("tcp://192.168.1.20:8786", self.address)
        line = re.sub(r"--nworkers \d+", f"--nworkers {count}", line).replace("sleep 2", "sleep 0.5")
        assert self.address in line
        if version:
            other = self._folder / "other.py"
            other.write_text(f"import autoprep\nautoprep.__version__ = {version!r}\n", encoding="utf-8")
            line = line.replace("--preload", f"--preload {other} --preload", 1)
        return self._start(line, "--no-dashboard", "--local-directory", str(self._folder))

    def _start(self, line: str, *more: str) -> subprocess.Popen[bytes]:
        before, _, rest = line.partition("dask ")
        kind, _, rest = rest.partition(" ")
        options, end, done = rest.partition(";")
        command = shlex.join([sys.executable, "-m", f"distributed.cli.dask_{kind}"])
        line = f"{before}{command} {options} {shlex.join([*more, *self._options])}{end}{done}"
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
        with (self._folder / "cluster.txt").open("ab") as said:
            process = subprocess.Popen(
                ["/bin/sh", "-c", line], env=environment, stdout=said, stderr=said, cwd=self._folder,
                start_new_session=True,
            )  # fmt: skip
        self._processes.append(process)
        return process

    def said(self) -> str:
        """What scheduler and workers have printed."""
        return (self._folder / "cluster.txt").read_text(encoding="utf-8", errors="replace")

    def stop(self) -> None:
        """End all that was started, with what that has started."""
        for process in reversed(self._processes):
            killed(process)


@contextlib.contextmanager
def local_cluster(folder: Path, scheme: str = "tcp", options: tuple[str, ...] = ()) -> Iterator[LocalCluster]:
    """A cluster that ends with the block; options: further ones for each line."""
    folder.mkdir(parents=True, exist_ok=True)
    cluster = LocalCluster(folder, scheme, options)
    try:
        yield cluster
    finally:
        cluster.stop()


def cpu_seconds(group: int) -> float:
    """The CPU time of all processes of a group that live (Linux)."""
    ticks, used = os.sysconf("SC_CLK_TCK"), 0.0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            fields = stat.read_text().rpartition(")")[2].split()
            if int(fields[2]) == group:
                used += (int(fields[11]) + int(fields[12])) / ticks
    return used


def wait_until(done: Callable[[], bool], limit_s: float = 30) -> None:
    """Wait until a condition holds."""
    limit = time.monotonic() + limit_s
    while not done():
        assert time.monotonic() < limit
        time.sleep(0.05)
