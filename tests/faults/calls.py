"""`python -m tests.faults.calls`: the system refuses a call of the running service, by strace, for every kind of call.

The service is started and at rest; then one photo comes, and the N-th write, sync, rename or opening of a file of the
studio fails, once or from then on, in each thread and process. The service must not end, the photo must not be lost,
and no half picture may lie in ready/. Afterwards, without faults, everything must come out. `--start`: the calls of a
start that finds a photo, too; it may end, in plain words. `--kill`: no call fails, the process that makes it is killed.
Linux with strace, and the right to trace.
"""

import argparse
import itertools
import re
import shutil
import signal
import subprocess
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.faults.small import Trial, events, studio_in, until

CALLS = {
    "write": ("write,pwrite64", ("ENOSPC", "EIO")),
    "fsync": ("fsync,fdatasync", ("EIO", "ENOSPC")),
    "rename": ("rename,renameat,renameat2", ("EACCES", "EIO", "ENOSPC")),
    "openat": ("openat", ("EACCES", "EIO", "ENOSPC")),
}
KILL = "KILL"
"""In place of an error: the process that makes the call is killed at it."""
_UNDER_FAULT_S = 20.0  # a job takes three to eight seconds under strace
_AFTER_S = 2.5  # pages and lists, or what else follows
_TOLD = ("failed", "waiting", "waiting for space", "fault")


@dataclass(frozen=True)
class Fault:
    """The N-th call of a kind fails in each thread; always: and all after it."""

    call: str
    error: str
    number: int
    always: bool

    def words(self) -> list[str]:
        """What strace is told."""
        when = f"{self.number}+" if self.always else str(self.number)
        what = "signal=KILL" if self.error == KILL else f"error={self.error}"
        return ["-e", f"inject={CALLS[self.call][0]}:{what}:when={when}"]

    def __str__(self) -> str:
        return f"{self.call} {self.number}{' and all after it' if self.always else ''}: {self.error}"


def _rested(folder: Path) -> Trial:
    """A new studio, always in the same place, whose service is at rest."""
    shutil.rmtree(folder, ignore_errors=True)
    trial = Trial(studio_in(folder))
    trial.start()
    page = trial.settings.folders.records / "proof" / "index.html"
    limit = time.monotonic() + 30
    while not page.exists() and time.monotonic() < limit:
        time.sleep(0.1)
    time.sleep(1.5)
    return trial


def _traced(trial: Trial, words: list[str], out: Path) -> "subprocess.Popen[bytes]":
    assert trial.process is not None
    command = ["strace", "-f", "-y", "-p", str(trial.process.pid), "-o", str(out), *words]
    tracer = subprocess.Popen(command, stderr=subprocess.DEVNULL)
    time.sleep(0.5)
    return tracer


def _until_told(trial: Trial, limit_s: float) -> bool:
    """Until the photo came out, or the service has told of something, and a little longer; whether it came out."""
    limit = time.monotonic() + limit_s
    while time.monotonic() < limit and trial.alive:
        if _until_done(trial, 0.1) or any(events(trial.settings, name) for name in _TOLD):
            time.sleep(_AFTER_S)
            break
    return _until_done(trial, 0.1)


def _until_done(trial: Trial, limit_s: float) -> bool:
    limit = time.monotonic() + limit_s
    while time.monotonic() < limit and trial.alive:
        if trial.done() >= len(trial.put):
            return True
        time.sleep(0.2)
    return False


def learn(folder: Path, *, at_start: bool = False) -> tuple[list[str], dict[str, int]]:
    """The files that a job touches, or a start and a job, and the most calls of each kind that a thread makes."""
    out, words = folder.with_name("trace.txt"), ["-e", f"trace={','.join(names for names, _ in CALLS.values())}"]
    if at_start:
        trial = _started(folder, words, out)
        assert until(lambda: trial.done() == 1, 90)
    else:
        trial = _rested(folder)
        tracer = _traced(trial, words, out)
        trial.more(1)
        assert _until_done(trial, 60)
    time.sleep(4)  # pages and lists
    if not at_start:
        _let_go(tracer)
    trial.kill(signal.SIGTERM)
    paths, counts = set[str](), Counter[tuple[str, str]]()
    for line in out.read_text(errors="replace").splitlines():
        inside = re.findall(rf'[<"]({re.escape(str(folder))}/[^>"]*)', line)
        found = re.match(r"(\d+) +(\w+)\(", line)
        if inside and found:
            paths.update(inside)
            kind = next(kind for kind, (names, _) in CALLS.items() if found[2] in names.split(","))
            counts[kind, found[1]] += 1
    return sorted(paths), {kind: max(n for (k, _), n in counts.items() if k == kind) for kind in CALLS}


def _let_go(tracer: "subprocess.Popen[bytes]") -> None:
    tracer.send_signal(signal.SIGINT)
    tracer.wait(20)


def _started(folder: Path, words: list[str], out: Path) -> Trial:
    """A new studio in which a photo waits, and whose service is traced from its first call on."""
    shutil.rmtree(folder, ignore_errors=True)
    trial = Trial(studio_in(folder))
    trial.more(1)
    trial.before = ("strace", "-D", "-f", "-y", "-o", str(out), *words)
    trial.start()
    trial.before = ()
    return trial


def faults(counts: dict[str, int], each: int, *, kill: bool = False) -> Iterator[Fault]:
    """So many numbers of each kind of call, spread over all, with the errors in turn; each once and for good."""
    for kind, most in counts.items():
        errors = itertools.cycle(CALLS[kind][1])
        for number in sorted({1 + (most - 1) * k // max(1, each - 1) for k in range(each)}):
            if kill:
                yield Fault(kind, KILL, number, always=False)
                continue
            error = next(errors)
            yield Fault(kind, error, number, always=False)
            yield Fault(kind, error, number, always=True)


def suffer(folder: Path, paths: list[str], fault: Fault, *, at_start: bool = False) -> tuple[int, bool, list[str]]:
    """One run: how many calls were refused, whether the photo came out meanwhile, and what was wrong.

    A start may end where the studio can't be used, but in plain words.
    """
    out, words = folder.with_name("trace.txt"), [*fault.words(), *(word for path in paths for word in ("-P", path))]
    if at_start:
        trial = _started(folder, words, out)
    else:
        trial = _rested(folder)
        tracer = _traced(trial, words, out)
        trial.more(1)
    through = _until_told(trial, _UNDER_FAULT_S)
    wrong = [] if trial.alive or at_start or fault.error == KILL else [f"the service ended: {trial.said()}"]
    wrong += [f"it ended in no plain words: {trial.said()}"] if "Traceback" in trial.said() else []
    wrong += trial.torn()
    if not at_start:
        _let_go(tracer)
    told = out.read_text(errors="replace")
    refused = told.count("killed by SIGKILL") if fault.error == KILL else told.count("(INJECTED)")
    if trial.alive and at_start:
        trial.kill()  # under its faults it could not stop well
    if not trial.alive:
        trial.wait_no_longer()
    elif not _until_done(trial, 4):
        wrong += [] if trial.kill(signal.SIGTERM) == 0 else ["the service did not stop well"]
        trial.wait_no_longer()
    return refused, through, wrong + trial.finish(45)


def main() -> None:
    """Learn, make the faults, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=6, help="so many places of each kind of call")
    parser.add_argument("--only", help="one kind of call")
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--start", action="store_true", help="the calls of a start, with a photo that waits")
    parser.add_argument("--kill", action="store_true", help="the process is killed at the call")
    given = parser.parse_args()
    limit = time.monotonic() + given.minutes * 60
    with tempfile.TemporaryDirectory() as root:
        folder = Path(root) / "studio"
        paths, counts = learn(folder, at_start=given.start)
        print(f"{len(paths)} files; calls of one thread: {counts}", flush=True)
        made = faults(counts, given.each, kill=given.kill)
        chosen = [fault for fault in made if given.only in (None, fault.call)]
        runs, failed, out = 0, 0, 0
        for fault in chosen:
            if time.monotonic() > limit:
                break
            refused, through, wrong = suffer(folder, paths, fault, at_start=given.start)
            runs, failed, out = runs + bool(refused), failed + bool(wrong), out + bool(refused and through)
            said = "came out meanwhile" if through else "waited"
            print(f"{fault}: {refused} refused, {said}; {wrong or 'well'}", flush=True)
    print(f"{runs} runs in which a call was refused, in {out} the photo came out meanwhile; {failed} failed")


if __name__ == "__main__":
    main()
