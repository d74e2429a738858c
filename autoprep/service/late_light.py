"""Reference shots that come in after the works whose light they tell: these are looked at once more."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from autoprep.domain import JobRecord
from autoprep.job.orders import AgainOrder, JobOrder
from autoprep.job.reference_shots import same_light
from autoprep.ledger import Change, Job, Ledger, View
from autoprep.wishes.notes import reference_shots


class LateLight:
    """Which works a reference shot tells the light of that were measured without it. It asks the ledger alone."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._begun: dict[str, str] = {}  # job -> what it was to be looked at again for when its order was made
        self._news: set[str] = set()

    def ordered(self, view: View) -> None:
        """A photo is about to be measured, with the reference shots that lie beside it by now."""
        self._begun[view.job] = view.light

    def heard(self, order: JobOrder, job: Job) -> dict[str, str]:
        """The columns of a job that was measured with all that it should have been looked at again for."""
        if isinstance(order, AgainOrder):
            return {}
        offered = {path.name for path, _ in order.references}
        return {"light": ""} if job.light in (self._begun.pop(job.job, ""), *offered) else {}

    def told(self, change: Change, shot: View, inbox: Path) -> Change:
        """The change that a reference shot's record makes, with the works that it serves, of today and yesterday."""
        if change.record.outcome != "reference" or not change.record.tells:
            return change
        near = self._in_folder(self._ledger.lately(shot.job), inbox / shot.shown, inbox)
        serves = tuple(view.job for view in near if self._wants(view, change.record, Path(shot.shown).name))
        self._news.update(serves)
        return replace(change, serves=serves)

    def news(self) -> set[str]:
        """The photos that are to be looked at again since this was asked last."""
        found, self._news = self._news, set()
        return found

    @staticmethod
    def _in_folder(views: Iterable[View], shot: Path, inbox: Path) -> list[View]:
        """Those that this shot is offered to."""
        offered: dict[Path, bool] = {}
        found = []
        for view in views:
            folder = Path(view.shown).parent
            if folder not in offered:
                offered[folder] = any(path == shot for path, _ in reference_shots(inbox, view.shown))
            if offered[folder]:
                found.append(view)
        return found

    def _wants(self, view: View, shot: JobRecord, name: str) -> bool:
        """Whether this shot would tell anything new of a photo; one that is being measured is asked when it is back."""
        if view.state == "running":
            return True
        job = self._ledger.get(view.job)
        record = None if job is None else job.record
        if record is None or record.plan is None or record.work.as_shot:
            return False
        told = record.plan.told_by
        used = (told.chart, told.colour, told.light, record.plan.reference)  # the last is all that older records have
        return name not in used and same_light(shot.taken_at, record.taken_at)
