"""Whatever an artist does, in whatever order: found by a machine that tries (Hypothesis, stateful tests)."""

import contextlib
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from autoprep.cli.studio import make_studio
from autoprep.ledger import Ledger
from autoprep.service import hands
from autoprep.wishes.places import ledger_path
from autoprep.wishes.settings import load
from tests import memory_folder
from tests.conftest import QUICK
from tests.service.pretend import Studio, photo
from tests.service.test_week import Killed, check_sound

DESTINATIONS = '[square]\nlong_side_px = 300\n\n[site]\nlong_side_px = 500\nname = "{title}"\nlisting = true\n'
NAMES = st.sampled_from(["IMG_1", "Reeds", "hold/Gulls", "Harbour/IMG_3"])
NOTES = st.sampled_from([
    "title: Thrift", "hold: yes", "hold: yes", "price: 5", "kind: painting", "for: site", "not a work: yes",
    "titel: typo", "", "hold: no\ntitle: Sea", "turn: left", "for: nowhere", "outline: whole photo",
])  # fmt: skip
PHOTOS = st.integers(1, 4)
WAYS = st.sampled_from(["found", "found", "found", "ask", "several", "nothing"])


class Studying(RuleBasedStateMachine):
    """A studio in which anything happens; after each event it comes to rest, and all is sound."""

    def __init__(self) -> None:
        super().__init__()
        self.patch = pytest.MonkeyPatch()
        self.folder = Path(tempfile.mkdtemp(prefix="autoprep-", dir=memory_folder()))
        (self.folder / "config").mkdir()
        (self.folder / "config" / "autoprep.toml").write_text(QUICK, encoding="utf-8")
        (self.folder / "config" / "destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
        make_studio(self.folder)
        self.wren = Studio(load(self.folder / "config" / "autoprep.toml"), self.patch)
        self.originals: dict[str, bytes] = {}
        self.edited: dict[Path, bytes] = {}

    def teardown(self) -> None:
        self.patch.undo()
        shutil.rmtree(self.folder)

    # --- what happens -----------------------------------------------------------------------------------------

    @rule(name=NAMES, number=PHOTOS, sharp=st.integers(1, 9), way=WAYS)
    def a_photo_arrives(self, name: str, number: int, sharp: int, way: str) -> None:
        self.originals[f"{name}.jpg"] = photo(number, sharp, way)
        self.wren.put(f"{name}.jpg", self.originals[f"{name}.jpg"])

    @rule(name=NAMES, note=NOTES)
    def a_note_is_written(self, name: str, note: str) -> None:
        if note:
            self.wren.put(f"{name}.txt", note)
        else:
            (self.wren.inbox / f"{name}.txt").unlink(missing_ok=True)

    @rule(old=NAMES, new=NAMES, copied=st.booleans())
    def a_photo_is_moved_or_copied(self, old: str, new: str, copied: bool) -> None:
        source, target = self.wren.inbox / f"{old}.jpg", self.wren.inbox / f"{new}.jpg"
        if not source.exists() or old == new:
            return
        target.parent.mkdir(parents=True, exist_ok=True)
        self.originals[f"{new}.jpg"] = self.originals[f"{old}.jpg"]
        if copied:
            shutil.copyfile(source, target)
        else:
            source.replace(target)
            del self.originals[f"{old}.jpg"]

    @rule(name=NAMES)
    def a_photo_is_deleted(self, name: str) -> None:
        (self.wren.inbox / f"{name}.jpg").unlink(missing_ok=True)
        self.originals.pop(f"{name}.jpg", None)

    @rule(which=st.integers(0, 5), what=st.sampled_from(["edited", "picked up"]))
    def a_finished_picture_is_taken(self, which: int, what: str) -> None:
        there = sorted(self.wren.settings.folders.ready.rglob("*.jpg"))
        if not there:
            return
        place = there[which % len(there)]
        if what == "edited":
            place.write_bytes(f"retouched by hand {which}".encode())
            self.edited[place] = place.read_bytes()
        else:
            place.unlink()
            self.edited.pop(place, None)

    @rule(which=st.integers(0, 5), left=st.integers(0, 2))
    def a_question_is_answered(self, which: int, left: int) -> None:
        """left: which of the choices stays; 0 for none of them."""
        asked = sorted(self.wren.settings.folders.needs_a_look.iterdir())
        choices = sorted(asked[which % len(asked)].glob("choice-*.jpg")) if asked else []
        for number, place in enumerate(choices, 1):
            if number != left:
                place.unlink()
        each = choices[0].with_name("each-by-itself.jpg") if choices else None
        if each is not None and each.exists():
            over = (
                ["each-by-itself.jpg"] if left else ["none-of-these.jpg", "no-work.jpg"]
            )  # no choice: each of the works
            for name in over:
                each.with_name(name).unlink(missing_ok=True)

    @rule(which=st.integers(0, 5))
    def a_question_is_answered_by_no_work(self, which: int) -> None:
        asked = sorted(self.wren.settings.folders.needs_a_look.glob("*/no-work.jpg"))
        for place in sorted(asked[which % len(asked)].parent.glob("*.jpg")) if asked else []:
            if place.name not in ("no-work.jpg", "where.jpg"):
                place.unlink()

    @rule(at=st.integers(1, 60))
    def it_is_switched_off(self, at: int) -> None:
        count = [0]

        def reached(name: str) -> None:
            count[0] += 1
            if count[0] == at:
                raise Killed(name)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(hands, "boundary", reached)
            with contextlib.suppress(Killed):
                self.wren.run()

    # --- what must hold ---------------------------------------------------------------------------------------

    @invariant()
    def all_is_sound(self) -> None:
        self.wren.run()
        check_sound(self.wren, "after an event")
        for name, data in self.originals.items():
            assert (self.wren.inbox / name).read_bytes() == data
        for place, data in self.edited.items():
            assert place.read_bytes() == data
        log = "".join(p.read_text(encoding="utf-8") for p in self.wren.settings.folders.records.glob("log.jsonl*"))
        assert '"fault"' not in log
        self.wren.made()
        before = self.wren.files()
        self.wren.run()
        assert (self.wren.made(), self.wren.files()) == ([], before)
        self._each_work_has_its_pictures()

    def _each_work_has_its_pictures(self) -> None:
        ledger = Ledger(ledger_path(self.wren.settings))
        for view in ledger.views():
            made = {name: row for name, row in ledger.renditions(view.job).items() if row.state == "in place"}
            if view.outcome == "ready" and not view.said.hold:
                assert made, view
            elif view.outcome != "ready":
                assert not made, view
            if view.said.hold:
                assert not made, view
        ledger.close()


Studying.TestCase.settings = settings(
    max_examples=20, stateful_step_count=20, deadline=None, derandomize=True, print_blob=False,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)  # fmt: skip
test_any_order = pytest.mark.slow(Studying.TestCase)
