"""Where a finished picture may go: never over a file that is not, or no longer, the one that the service made."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from autoprep.domain import JobRecord, OutputRecord
from autoprep.job import JobResult

IsTaken = Callable[[Path], bool]


def beside_foreign_files(
    result: JobResult, earlier: JobRecord | None, studio: Path, is_taken: IsTaken
) -> tuple[JobResult, dict[str, Path]]:
    """The result with new names for outputs in whose place a foreign file lies, and those names by destination.

    A file is the service's own while its bytes are those of the record of this photo, the earlier or the new one: what
    the artist has edited, or laid there, is theirs. earlier: the record of the same photo, if it was made before.
    """
    moved: dict[Path, Path] = {}
    outputs = []
    for output in result.record.outputs:
        final = studio / output.path
        if not final.exists() or _ours(final, output, earlier):
            outputs.append(output)
            continue
        moved[final] = _next_free(final, is_taken)
        outputs.append(_under_another_name(output, moved[final], studio))
    if not moved:
        return result, {}
    record = result.record.model_copy(update={"outputs": tuple(outputs)})
    parts = [(part, moved.get(final, final)) for part, final in result.parts]
    places = {output.destination: studio / output.path for output in outputs if studio / output.path in moved.values()}
    return replace(result, record=record, parts=parts), places


def _ours(final: Path, output: OutputRecord, earlier: JobRecord | None) -> bool:
    known = {output.sha256} | {o.sha256 for o in (earlier.outputs if earlier else ()) if o.path == output.path}
    try:
        return hashlib.sha256(final.read_bytes()).hexdigest() in known
    except OSError:
        return False


def _next_free(final: Path, is_taken: IsTaken) -> Path:
    numbered = (final.with_stem(f"{final.stem}-{number}") for number in range(2, 100_000))
    return next(place for place in numbered if not place.exists() and not is_taken(place))


def _under_another_name(output: OutputRecord, place: Path, studio: Path) -> OutputRecord:
    note = f"{Path(output.path).name} was there already and was not made, or was changed, by someone else; it stays"
    path = place.relative_to(studio).as_posix()
    return output.model_copy(update={"path": path, "notes": (*output.notes, note)})
