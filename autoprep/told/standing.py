"""How a studio stands: what waits, runs, asks and failed, and whether there is room."""

import shutil
from dataclasses import dataclass
from itertools import chain

from autoprep.ledger import Job
from autoprep.wishes.settings import Settings


@dataclass(frozen=True)
class Status:
    """Counts of photos by state and outcome; last_finished as the record has it; free_mb where the records lie."""

    waiting: int
    running: int
    questions: int
    set_aside: int
    not_given_out: int
    finished: int
    last_finished: str
    free_mb: int
    needed_mb: int

    @property
    def needs_attention(self) -> bool:
        """Whether somebody should look: questions, photos set aside, destinations that failed, or no room."""
        return bool(self.questions or self.set_aside or self.not_given_out or self.free_mb < self.needed_mb)

    def lines(self) -> list[str]:
        """The same in words."""
        said = [
            f"Finished: {self.finished} photos" + (f", the last on {self.last_finished}" if self.last_finished else "")
        ]
        said.append(f"Waiting: {self.waiting}, being worked on: {self.running}")
        if self.questions:
            said.append(f"Questions for you: {self.questions} (in the folder needs-a-look)")
        if self.set_aside:
            said.append(f"Set aside: {self.set_aside} (`autoprep retry` starts them over)")
        if self.not_given_out:
            said.append(f"Photos with a destination that could not be made: {self.not_given_out}")
        room = f"Free space: {self.free_mb} MB"
        short = "" if self.free_mb >= self.needed_mb else f"; work waits until there are {self.needed_mb}"
        return [*said, room + short]


def status_of(settings: Settings, jobs: list[Job]) -> Status:
    """The standing of a studio from its ledger's jobs."""
    place = settings.folders.records
    folder = next(folder for folder in chain([place], place.parents) if folder.is_dir())
    records = [job.record for job in jobs if job.record is not None]
    return Status(
        waiting=sum(job.state == "queued" for job in jobs),
        running=sum(job.state == "running" for job in jobs),
        questions=sum(job.outcome == "needs a look" for job in jobs),
        set_aside=sum(job.outcome == "set aside" for job in jobs),
        not_given_out=sum(bool(record.failed) for record in records),
        finished=sum(job.outcome in ("ready", "alternate") for job in jobs),
        last_finished=max((record.finished_at or "" for record in records), default=""),
        free_mb=int(shutil.disk_usage(folder).free / 1e6),
        needed_mb=int(settings.service.min_free_mb),
    )
