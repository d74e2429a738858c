"""Orders and answers as bytes, for workers of another machine: with each order all files that it needs go along, and
with each answer all files that it made. Neither side sees the other's folders.

An order is laid out below a folder of the worker's own, each path as it is here, so that what a record says of places
is the same once that folder is taken off again. What comes back is plain data, and checked as a local worker's words
are, each file by size and SHA-256 besides.
"""

import contextlib
import hashlib
import json
import pickle
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from autoprep import __version__
from autoprep.job.orders import JobOrder
from autoprep.service.messages import Failed, Finished, Garbled, Message, Staged, packed, unpacked
from autoprep.wishes.places import credentials_paths
from autoprep.wishes.tables import Settings

_HEAD_BYTES = 4
_MOST_FILES = 200  # an order has a few dozen destinations at the most, and a dozen pictures beside them


class Refused(Exception):
    """A worker can't take any order, for a reason that is not the photo's."""


@dataclass(frozen=True)
class Answer:
    """What a worker says of its order. files: final path -> bytes of each file that it made."""

    stages: list[Staged]
    end: Finished | Failed
    files: dict[Path, bytes]


# --- the order ----------------------------------------------------------------------------------------------------


def files_of(order: JobOrder) -> dict[Path, bytes]:
    """The files that a job opens besides the photo; those that can't be read are missed there as they are here."""
    found: dict[Path, bytes] = {}
    for path in dict.fromkeys(_opened_by(order)):
        with contextlib.suppress(OSError):
            found[path] = path.read_bytes()
    return found


def _opened_by(order: JobOrder) -> Iterable[Path]:
    settings = order.settings
    presets = [settings.destinations[name] for name in order.places]
    yield from (path for path, _ in order.references)
    yield from (settings.studio / preset.profile for preset in presets if preset.profile)
    yield from (settings.studio / name for name in (settings.mark.picture, settings.mark.font) if name)
    if any(preset.credentials for preset in presets):
        yield from credentials_paths(settings)


def packed_order(order: JobOrder) -> bytes:
    """The order with its files. Only a worker of the same version can read it."""
    return pickle.dumps((order, files_of(order)), protocol=5)


def laid_out(data: bytes, root: Path) -> JobOrder:
    """The order with all its paths below a folder, and its files written there.

    data comes from the service by way of the scheduler, which could let this worker run anything anyhow.
    """
    order, files = pickle.loads(data)  # noqa: S301
    for path, content in files.items():
        place = below(root, path)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    moved: JobOrder = replace(
        order,
        settings=_settings_below(root, order.settings),
        places={name: below(root, path) for name, path in order.places.items()},
        look_folder=below(root, order.look_folder),
        proof_folder=below(root, order.proof_folder),
        references=tuple((below(root, path), said) for path, said in order.references),
        there=(),
    )
    moved.settings.studio.mkdir(parents=True, exist_ok=True)
    return moved


def below(root: Path, path: Path) -> Path:
    """The same path with another beginning."""
    return root.joinpath(*path.parts[1:]) if path.is_absolute() else root / path


def _settings_below(root: Path, settings: Settings) -> Settings:
    """The settings with all paths below a folder; those that are relative to the studio stay as they are."""

    def named(name: str) -> str:
        return str(below(root, Path(name))) if name and Path(name).is_absolute() else name

    folders = {name: below(root, path) for name, path in settings.folders}
    presets = {
        name: preset.model_copy(update={"profile": named(preset.profile)}) if preset.profile else preset
        for name, preset in settings.destinations.items()
    }
    mark, own = settings.mark, settings.credentials
    return settings.model_copy(
        update={
            "studio": below(root, settings.studio),
            "config_file": below(root, settings.config_file),
            "folders": settings.folders.model_copy(update=folders),
            "mark": mark.model_copy(update={"font": named(mark.font), "picture": named(mark.picture)}),
            "credentials": own.model_copy(update={"certificate": named(own.certificate), "key": named(own.key)}),
            "destinations": presets,
        }
    )


# --- the answer ---------------------------------------------------------------------------------------------------


def packed_answer(said: Iterable[Message], root: Path) -> bytes:
    """What a worker below this folder has said of its job, with the files that it made."""
    messages = list(said)
    parts = messages[-1].result.parts if messages and isinstance(messages[-1], Finished) else []
    contents = [part.read_bytes() for part, _ in parts]
    rows = [
        [_taken_off(str(final), root), len(content), hashlib.sha256(content).hexdigest()]
        for (_, final), content in zip(parts, contents, strict=True)
    ]
    words = [_taken_off(packed(message).decode("ascii"), root) for message in messages]
    return _with_head({"version": __version__, "said": words, "files": rows}, contents)


def packed_refusal(reason: str) -> bytes:
    """That this worker can take no order, and why."""
    return _with_head({"version": __version__, "refused": reason}, [])


def _with_head(head: dict[str, Any], contents: Iterable[bytes]) -> bytes:
    text = json.dumps(head).encode("ascii")
    return b"".join([len(text).to_bytes(_HEAD_BYTES, "big"), text, *contents])


def _taken_off(text: str, root: Path) -> str:
    """The text without the folder's name, also where it stands in JSON, or in JSON within JSON."""
    names = [str(root)]
    for _ in range(2):
        names.append(json.dumps(names[-1])[1:-1])
    for name in reversed(names):
        text = text.replace(name, "")
    return text


def unpacked_answer(data: object, order: JobOrder) -> Answer:
    """What a worker has said of this order. Raises Refused and Garbled."""
    if type(data) is not bytes:
        raise Garbled(f"a worker of the cluster gave back no bytes ({type(data).__name__})")
    try:
        end = _HEAD_BYTES + int.from_bytes(data[:_HEAD_BYTES], "big")
        head = json.loads(data[_HEAD_BYTES:end])
        if head["version"] != __version__:
            raise Refused(f"it has Autoprep {str(head['version'])[:20]}, and this service {__version__}")
        if "refused" in head:
            raise Refused(str(head["refused"])[:500])
        messages = [unpacked(str(words).encode("utf-8"), order) for words in head["said"]]
        files = _contents(head["files"], memoryview(data)[end:])
    except (Refused, Garbled):
        raise
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as problem:
        raise Garbled(f"a worker of the cluster said what can't be read ({type(problem).__name__})") from None
    return _checked(messages, files, order)


def _contents(rows: Any, rest: memoryview) -> dict[Path, bytes]:
    """The files by their final paths; each as long as is said, and of the SHA-256 that is said."""
    found: dict[Path, bytes] = {}
    if len(rows) > _MOST_FILES:
        raise Garbled("a worker of the cluster hands over too many files")
    for name, size, sha256 in rows:
        if type(size) is not int or not 0 <= size <= len(rest):
            raise Garbled(f"a file of the cluster is not whole: {name}")
        content, rest = bytes(rest[:size]), rest[size:]
        if hashlib.sha256(content).hexdigest() != sha256 or Path(name) in found:
            raise Garbled(f"a file of the cluster is damaged: {name}")
        found[Path(name)] = content
    if len(rest):
        raise Garbled("a worker of the cluster gave back more than it says")
    return found


def _checked(messages: list[Message], files: dict[Path, bytes], order: JobOrder) -> Answer:
    stages = [message for message in messages[:-1] if isinstance(message, Staged)]
    end = messages[-1] if messages else None
    if not isinstance(end, Finished | Failed) or len(stages) != len(messages) - 1:
        raise Garbled("a worker of the cluster came to no end, or to several")
    record = end.result.record if isinstance(end, Finished) else None
    finals = [final for _, final in end.result.parts] if isinstance(end, Finished) else []
    if len(set(finals)) != len(finals) or set(finals) != set(files):
        raise Garbled("the files that a worker of the cluster gave back are not those that it speaks of")
    for output in record.outputs if record is not None else ():
        if output.destination not in order.places:
            continue  # made before, and not by this job
        content = files.get(order.places[output.destination], b"")
        if (output.bytes, output.sha256) != (len(content), hashlib.sha256(content).hexdigest()):
            raise Garbled(f"a record of the cluster does not go with its file for {output.destination}")
    return Answer(stages, end, files)
