"""One service in a studio, whatever becomes of the lock's file; and a package that loads where locks are others."""

import errno
import os
import shutil
import stat
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from autoprep.errors import AlreadyRunning, StudioMoved
from autoprep.ledger import Ledger
from autoprep.logs import open_log
from autoprep.service.desk import Desk
from autoprep.service.engine import Engine
from autoprep.service.lock import StudioLock
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    return Studio(studio, monkeypatch)


def _another(records: Path) -> str:
    """What another process is told that asks for the same studio."""
    code = (
        "import sys; from pathlib import Path; from autoprep.service.lock import StudioLock\n"
        "try:\n    StudioLock(Path(sys.argv[1])).close(); print('let in')\n"
        "except Exception as problem:\n    print(type(problem).__name__)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(records)], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_two_are_never_in_one_studio(tmp_path: Path) -> None:
    held = StudioLock(tmp_path)
    assert _another(tmp_path) == "AlreadyRunning"
    with pytest.raises(AlreadyRunning, match="another Autoprep"):
        StudioLock(tmp_path)
    held.close()
    assert _another(tmp_path) == "let in"


def test_a_lock_file_that_is_deleted_lets_nobody_in(tmp_path: Path) -> None:
    held = StudioLock(tmp_path)
    (tmp_path / ".lock").unlink()
    assert _another(tmp_path) == "AlreadyRunning"
    (tmp_path / ".lock").unlink(missing_ok=True)
    held.look()
    assert (tmp_path / ".lock").exists()
    assert _another(tmp_path) == "AlreadyRunning"
    held.close()
    assert _another(tmp_path) == "let in"


def test_where_a_share_locks_no_folders_the_file_alone_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some network shares lock files and say ENOLCK or EBADF for a folder."""
    fcntl = pytest.importorskip("fcntl")
    true_lock = fcntl.flock

    def flock(descriptor: int, how: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.ENOLCK, "no locks available")
        true_lock(descriptor, how)

    monkeypatch.setattr(fcntl, "flock", flock)
    held = StudioLock(tmp_path)
    assert _another(tmp_path) == "AlreadyRunning"
    held.look()
    held.close()
    assert _another(tmp_path) == "let in"


@pytest.mark.parametrize("replaced", [True, False])
def test_records_that_are_moved_away_end_the_service(studio: Settings, replaced: bool) -> None:
    engine = Engine(studio, open_log(studio.folders.records, None), follow=False)
    engine.step(0.0)
    studio.folders.records.rename(studio.studio / "moved")
    if replaced:
        shutil.copytree(studio.studio / "moved", studio.folders.records)
    engine._next_scan = 0.0
    with pytest.raises(StudioMoved, match="nothing is lost"):
        engine.step(0.0)
    engine.stop()


def test_where_a_studio_lay_nothing_is_made_anew(wren: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    deliver = Desk._deliver_in_turn
    monkeypatch.setattr(  # what is made waits for its turn, as behind an older photo
        Desk, "_deliver_in_turn", lambda desk, all_now=False: deliver(desk, all_now=True) if all_now else None
    )
    wren.put("page.jpg", photo(1))
    settings = wren.settings
    was = settings.studio
    engine = Engine(wren.settings, open_log(wren.settings.folders.records, None), follow=False)
    for _ in range(4):
        wren.at_once(engine)
        engine.step(0.0)
    assert engine._desk._waiting
    engine._page_due = True
    was.rename(was.with_name("elsewhere"))
    wren.at_once(engine)
    with pytest.raises(StudioMoved):
        engine.step(0.0)
    engine.stop()
    assert not was.exists()
    ledger = Ledger(was.with_name("elsewhere") / ledger_path(settings).relative_to(was))
    (job,) = ledger.jobs()
    ledger.close()
    assert job.attempts == 0


def test_every_module_loads_without_what_only_some_systems_have(tmp_path: Path) -> None:
    """As on Windows: no fcntl, no resource, no os.sched_getaffinity, O_DIRECTORY, O_NOFOLLOW."""
    code = textwrap.dedent(
        """
        import importlib, os, pkgutil, sys, warnings
        warnings.simplefilter("ignore")  # the library that locks says that it has to make do

        class Missing:
            def find_spec(self, name, path=None, target=None):
                if name in ("fcntl", "resource", "pwd", "grp", "termios"):
                    raise ImportError(name)

        import multiprocessing.connection, socket, tempfile, filelock  # the standard library has its own ways
        for name in ("fcntl", "resource", "pwd", "grp", "termios"):
            sys.modules.pop(name, None)
        sys.meta_path.insert(0, Missing())
        for name in ("sched_getaffinity", "O_DIRECTORY", "O_NOFOLLOW"):
            delattr(os, name)
        import autoprep
        for found in pkgutil.walk_packages(autoprep.__path__, "autoprep."):
            if not found.name.endswith("__main__"):
                importlib.import_module(found.name)
        from pathlib import Path
        from autoprep.service import lock
        assert lock.fcntl is None
        held = lock.StudioLock(Path(sys.argv[1]))
        held.look()
        held.close()
        from autoprep.files.storage import write_now
        write_now(Path(sys.argv[1]) / "a.txt", b"x", "t")
        print(len([name for name in sys.modules if name.startswith("autoprep.")]))
        """
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 80
