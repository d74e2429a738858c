"""The only reader of the TOML files and the environment: from files to frozen, validated settings."""

import contextlib
import hashlib
import os
import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel

from autoprep.errors import ConfigError
from autoprep.wishes import checks
from autoprep.wishes.destinations import Preset
from autoprep.wishes.mistakes import Mistakes, line_of
from autoprep.wishes.tables import (
    Folders,
    Main,
    Service,
    Settings,
)

SETTINGS_FILE, DESTINATIONS_FILE = "autoprep.toml", "destinations.toml"
SCHEMA_FILE = "destinations.schema.json"
_Table = TypeVar("_Table", bound=BaseModel)
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}")


def find_config(given: Path | None) -> Path:
    """The autoprep.toml to use: the given file or studio folder, else the studio that we stand in."""
    if given is not None:
        inside = given / SETTINGS_FILE
        path = given if not given.is_dir() else inside if inside.is_file() else given / "config" / SETTINGS_FILE
        if not path.is_file():
            raise ConfigError(f"there is no settings file {path}")
        return path.resolve()
    here = Path.cwd()
    for folder in (here, *here.parents):
        candidate = folder / "config" / SETTINGS_FILE
        if candidate.is_file() and (folder / "records").is_dir():
            return candidate
    raise ConfigError("this is no studio folder: make one with `autoprep init DIR`, stand in it, or give --config FILE")


def load(config_file: Path, *, keyless: bool = False, unmarked: bool = False) -> Settings:
    """Read and validate both files. Raises ConfigError that names all mistakes with their lines and nearest names.

    keyless: that the key of content credentials is missing is no mistake; unmarked: nor that the mark's picture is
    damaged, for only what would carry it waits then.
    """
    mistakes, main_text = Mistakes(), _text(config_file)
    main = mistakes.validated(Main, mistakes.parsed(config_file, main_text), config_file, main_text) or Main()
    destinations_file = config_file.with_name(DESTINATIONS_FILE)
    text = _text(destinations_file)
    presets: dict[str, Preset] = {}
    for name, table in mistakes.parsed(destinations_file, text).items():
        preset = _preset(name, table, destinations_file, text, mistakes)
        presets |= {name: preset} if preset is not None else {}
    mistakes.tell()
    if not presets:
        raise ConfigError("no destination is described; at least one table is needed", destinations_file)
    alike = [one for one in presets if sum(one.casefold() == other.casefold() for other in presets) > 1]
    if alike:
        raise ConfigError(
            f"the destinations {' and '.join(alike)} differ only in capitals; their folders could be one",
            destinations_file,
        )
    studio = _studio_of(config_file)
    settings = Settings(
        studio=studio,
        config_file=config_file,
        folders=_absolute(main.folders, studio, config_file),
        artist=main.artist,
        rights=main.rights,
        mark=_at_home(main.mark, "picture", "font"),
        credentials=_at_home(main.credentials, "certificate", "key"),
        inbox=main.inbox,
        correction=main.correction,
        service=_at_home(main.service, "metrics_file").model_copy(
            update={"cluster_tls": _at_home(main.service.cluster_tls, "ca", "certificate", "key")}
        ),
        destinations={name: _at_home(preset, "profile") for name, preset in presets.items()},
        sha256=hashlib.sha256((main_text + "\0" + text).encode()).hexdigest(),
    )
    checks.texts(settings, config_file, main_text, mistakes, unmarked=unmarked)
    checks.inbox(settings, config_file, main_text, mistakes)
    checks.metrics(settings, config_file, main_text, mistakes)
    checks.cluster(settings, config_file, main_text, mistakes)
    checks.profiles(settings, destinations_file, text, mistakes)
    if not keyless:
        checks.credentials(settings, destinations_file, text, mistakes)
    mistakes.tell()
    return settings


def for_looking(config_file: Path) -> Settings | None:
    """The settings with mistakes in them, for who looks how things stand and makes nothing: where the studio's folders
    are, and the destinations that are described without one; None where just the folders are not known.
    """
    try:
        said = _FOLDERS.search(_text(config_file))  # whatever is wrong before it and behind
        given = tomllib.loads(said[0]).get("folders", {}) if said else {}
        studio = _studio_of(config_file)
        folders = _absolute(Folders.model_validate(given), studio, config_file)
    except (ConfigError, ValueError, RecursionError):
        return None
    presets: dict[str, Preset] = {}
    with contextlib.suppress(ConfigError, ValueError, RecursionError):
        path = config_file.with_name(DESTINATIONS_FILE)
        text = _text(path)
        found = ((name, _preset(name, table, path, text, Mistakes())) for name, table in tomllib.loads(text).items())
        presets = {name: preset for name, preset in found if preset is not None}
    main = Main()
    return Settings(
        studio=studio, config_file=config_file, folders=folders, artist=main.artist, rights=main.rights, mark=main.mark,
        correction=main.correction, service=main.service, destinations=presets, sha256="",
    )  # fmt: skip


def knows_all_tables(found: Settings) -> bool:
    """Whether settings with mistakes, as for_looking has them, hold all destinations: none is described with one."""
    with contextlib.suppress(ConfigError, ValueError, RecursionError):
        tables = tomllib.loads(_text(found.config_file.with_name(DESTINATIONS_FILE)))
        return bool(tables) and tables.keys() == found.destinations.keys()
    return False


_FOLDERS = re.compile(r"^[ \t]*\[folders\](?:.*\n?)(?:^(?![ \t]*\[).*\n?)*", re.MULTILINE)


def _studio_of(config_file: Path) -> Path:
    return config_file.parent.parent if config_file.parent.name == "config" else config_file.parent


def stamp(settings: Settings) -> tuple[int, ...]:
    """What changes when one of the settings files is written, or the mark's picture or font: times and sizes; zeros for
    a file that is away. The first four are those of the settings files; zeros too where there is no picture or font.
    """
    found: list[int] = []
    named = (settings.studio / name if name else None for name in (settings.mark.picture, settings.mark.font))
    for path in (settings.config_file, settings.config_file.with_name(DESTINATIONS_FILE), *named):
        status = None
        with contextlib.suppress(OSError):
            status = None if path is None else path.stat()
        found += [0, 0] if status is None else [status.st_mtime_ns, status.st_size]
    return tuple(found)


def says_nothing(config_file: Path) -> bool:
    """Whether a settings file is empty, but for blank lines and comments."""
    return all(not line.strip() or line.lstrip().startswith("#") for line in _text(config_file).splitlines())


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ConfigError("this file is missing", path) from None
    except UnicodeDecodeError:
        raise ConfigError("this file is not UTF-8 text", path) from None
    except OSError as problem:
        raise ConfigError(f"this file can't be read ({problem.strerror})", path) from None


def _preset(name: str, table: Any, path: Path, text: str, mistakes: Mistakes) -> Preset | None:
    line = line_of(text, (name,))
    if not isinstance(table, dict):
        mistakes.add(f"`{name}` stands outside any destination; put it below a [name] line", path, line)
        return None
    if not _NAME.fullmatch(name):
        said = f"a destination's name becomes a folder: letters, digits, - and _ only, not {name!r}"
        mistakes.add(said, path, line)
        return None
    return mistakes.validated(Preset, table, path, text, (name,))


def _at_home(table: _Table, *keys: str) -> _Table:
    """The same with `~` in the names of files read as the home folder."""
    return table.model_copy(update={key: os.path.expanduser(getattr(table, key)) for key in keys})


def _absolute(folders: Folders, studio: Path, config_file: Path) -> Folders:
    paths = {name: Path(os.path.normpath((studio / os.path.expanduser(value)).absolute())) for name, value in folders}
    unsaid = next((name for name, value in folders if value == Path()), "")
    if unsaid:
        raise ConfigError(f"folders.{unsaid} is empty; name a folder, or leave the line out", config_file)
    inbox = paths["inbox"].resolve()
    for name, path in paths.items():
        real = path.resolve()  # by whatever links and dots the way leads
        if name != "inbox" and (real == inbox or inbox in real.parents):
            raise ConfigError(
                f"folders.{name} lies inside the inbox; finished pictures would come in again", config_file
            )
    return Folders(**paths)


def default_files() -> dict[str, str]:
    """The commented files that a new studio starts with: file name -> text."""
    inside = resources.files("autoprep") / "defaults"
    folder = inside if inside.is_dir() else resources.files("autoprep").joinpath("..", "config")
    return {
        name: (folder / name).read_text(encoding="utf-8") for name in (SETTINGS_FILE, DESTINATIONS_FILE, SCHEMA_FILE)
    }


def worker_count(service: Service) -> int:
    """Worker processes to run: as set, or one per core that we may use."""
    return service.workers or max(
        1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    )
