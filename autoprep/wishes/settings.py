"""The only reader of the TOML files and the environment: from files to frozen, validated settings."""

import difflib
import hashlib
import os
import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import Field, ValidationError

from autoprep.errors import ConfigError, Unreadable
from autoprep.files.encoders import ENCODERS
from autoprep.files.icc import colour_model
from autoprep.wishes.destinations import Preset, Table

SETTINGS_FILE, DESTINATIONS_FILE = "autoprep.toml", "destinations.toml"
SCHEMA_FILE = "destinations.schema.json"


T = TypeVar("T", bound=Table)


class Folders(Table):
    """Where things lie, relative to the studio."""

    inbox: Path = Path("inbox")
    ready: Path = Path("ready")
    needs_a_look: Path = Path("needs-a-look")
    records: Path = Path("records")


class Artist(Table):
    """Whose pictures these are."""

    name: str = ""
    website: str = ""
    email: str = ""


DataMining = Literal[
    "unspecified",
    "allowed",
    "prohibited",
    "prohibited for training",
    "prohibited for generative training",
    "prohibited except search indexing",
]


class Rights(Table):
    """The rights statement that goes into every file."""

    notice: str = "© {year} {artist}"
    usage_terms: str = "All rights reserved"
    credit: str = "{artist}"
    statement_url: str = ""
    licensing_url: str = ""
    licensing_email: str = ""
    keywords: tuple[str, ...] = ()
    data_mining: DataMining = "unspecified"


MarkCorner = Literal["auto", "top-left", "top-right", "bottom-left", "bottom-right"]


class Mark(Table):
    """The small visible mark."""

    text: str = "© {artist}"
    font: str = ""
    picture: str = ""
    height_percent: Annotated[float, Field(ge=0.5, le=10)] = 2.0
    opacity_percent: Annotated[float, Field(ge=5, le=100)] = 50.0
    corner: MarkCorner = "auto"


# Chosen on 88 photos of the lab's tuning seeds (11000-14500), three in four of them with a contrast curve: against
# leaving the curve alone, the colour difference falls by 8 % on pencil and ink, 10 % on paintings, 12 % on toned paper.
CAMERA_CONTRAST = 0.09


class Correction(Table):
    """Choices of the correction."""

    paper: Literal["clean", "keep"] = "clean"
    paper_lightness: Annotated[float, Field(ge=85, le=99)] = 96.5
    sharpening: Annotated[float, Field(ge=0, le=2)] = 1.0
    flat: bool = True
    camera_contrast: Annotated[float, Field(ge=0, le=0.5)] = CAMERA_CONTRAST
    takes: Literal["best", "all"] = "best"
    sure_enough: Annotated[float, Field(ge=0, le=1)] = 0.90


class Inbox(Table):
    """What lies in the inbox: works and nothing else, or everything that a phone takes."""

    holds: Literal["works", "everything"] = "everything"


class Service(Table):
    """How the service works."""

    workers: Annotated[int, Field(ge=0, le=64)] = 0
    settle_s: Annotated[float, Field(ge=0, le=600)] = 2.0
    rescan_s: Annotated[float, Field(ge=0.2, le=3600)] = 30.0
    job_limit_s: Annotated[float, Field(ge=1, le=3600)] = 120.0
    attempts: Annotated[int, Field(ge=1, le=20)] = 3
    worker_memory_mb: Annotated[int, Field(ge=500)] = 4000
    max_megapixels: Annotated[float, Field(gt=0, le=1000)] = 250.0
    min_free_mb: Annotated[float, Field(ge=0)] = 500.0
    heic: bool = True
    comparisons_days: Annotated[int, Field(ge=0, le=36500)] = 0


class Main(Table):
    """The tables of autoprep.toml."""

    folders: Folders = Folders()
    artist: Artist = Artist()
    rights: Rights = Rights()
    mark: Mark = Mark()
    inbox: Inbox = Inbox()
    correction: Correction = Correction()
    service: Service = Service()


class Settings(Table):
    """Everything that the service runs by; paths are absolute."""

    studio: Path
    config_file: Path
    folders: Folders
    artist: Artist
    rights: Rights
    mark: Mark
    inbox: Inbox = Inbox()
    correction: Correction
    service: Service
    destinations: dict[str, Preset]
    sha256: str


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


def load(config_file: Path) -> Settings:
    """Read and validate both files. Raises ConfigError that names file, line and the nearest known name."""
    main_text = _text(config_file)
    main = _validated(Main, _toml(config_file, main_text), config_file, main_text)
    destinations_file = config_file.with_name(DESTINATIONS_FILE)
    text = _text(destinations_file)
    presets = {
        name: _preset(name, table, destinations_file, text) for name, table in _toml(destinations_file, text).items()
    }
    if not presets:
        raise ConfigError("no destination is described; at least one table is needed", destinations_file)
    folded = [name.casefold() for name in presets]
    if len(set(folded)) != len(folded):
        raise ConfigError("two destinations differ only in capitals; their folders could be one", destinations_file)
    studio = config_file.parent.parent if config_file.parent.name == "config" else config_file.parent
    settings = Settings(
        studio=studio,
        config_file=config_file,
        folders=_absolute(main.folders, studio, config_file),
        artist=main.artist,
        rights=main.rights,
        mark=main.mark,
        inbox=main.inbox,
        correction=main.correction,
        service=main.service,
        destinations=presets,
        sha256=hashlib.sha256((main_text + "\0" + text).encode()).hexdigest(),
    )
    _check_texts(settings, config_file, main_text)
    _check_profiles(settings, destinations_file, text)
    return settings


def stamp(settings: Settings) -> tuple[int, ...]:
    """What changes when one of the settings files is written: times and sizes; zeros for a file that is away."""
    found: list[int] = []
    for path in (settings.config_file, settings.config_file.with_name(DESTINATIONS_FILE)):
        try:
            status = path.stat()
            found += [status.st_mtime_ns, status.st_size]
        except OSError:
            found += [0, 0]
    return tuple(found)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise ConfigError("this file is missing", path) from None
    except UnicodeDecodeError:
        raise ConfigError("this file is not UTF-8 text", path) from None
    except OSError as problem:
        raise ConfigError(f"this file can't be read ({problem.strerror})", path) from None


def _toml(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        line = re.search(r"line (\d+)", str(problem))
        raise ConfigError(f"this is not valid TOML: {problem}", path, int(line[1]) if line else None) from None
    except (RecursionError, ValueError):  # what the parser itself chokes on
        raise ConfigError("this file holds a number or a nesting that is too large to be meant", path) from None


def _preset(name: str, table: Any, path: Path, text: str) -> Preset:
    line = _line_of(text, (name,))
    if not isinstance(table, dict):
        raise ConfigError(f"`{name}` stands outside any destination; put it below a [name] line", path, line)
    if not _NAME.fullmatch(name):
        raise ConfigError(
            f"a destination's name becomes a folder: letters, digits, - and _ only, not {name!r}", path, line
        )
    return _validated(Preset, table, path, text, (name,))


def _validated(model: type[T], data: dict[str, Any], path: Path, text: str, at: tuple[str, ...] = ()) -> T:
    try:
        return model.model_validate(data)
    except ValidationError as problem:
        first = problem.errors()[0]
        where = (*at, *(str(part) for part in first["loc"]))
        raise ConfigError(_message(model, first, where, at), path, _line_of(text, where)) from None


def _message(model: type[Table], error: Any, where: tuple[str, ...], at: tuple[str, ...]) -> str:
    name = ".".join(where)
    if error["type"] == "extra_forbidden":
        known = _known_names(model, where[len(at) : -1])
        near = difflib.get_close_matches(where[-1], known, 1, cutoff=0.0)
        return f"unknown key `{name}`; the nearest known one is `{near[0]}`" if near else f"unknown key `{name}`"
    reason = _PLAIN.get(error["type"]) or str(error["msg"]).removeprefix("Value error, ")
    return f"`{name}`: {reason}" if where else reason


_PLAIN = {
    **dict.fromkeys(("int_type", "int_parsing", "int_from_float"), "must be a whole number"),
    **dict.fromkeys(("float_type", "float_parsing"), "must be a number"),
    **dict.fromkeys(("bool_type", "bool_parsing"), "must be true or false, without quotes"),
    **dict.fromkeys(("string_type", "path_type"), "must be text in quotes"),
    **dict.fromkeys(("date_type", "date_from_datetime_parsing", "date_parsing"), "must be a date such as 2026-11-25"),
    "tuple_type": 'must be a list such as ["sea", "boats"]',
}


def _known_names(model: type[Table], path: tuple[str, ...]) -> list[str]:
    for part in path:
        annotation = model.model_fields[part].annotation
        assert isinstance(annotation, type)
        assert issubclass(annotation, Table)
        model = annotation
    return list(model.model_fields)


def _line_of(text: str, where: tuple[str, ...]) -> int | None:
    """The line on which a key, or failing that its table, stands."""
    table, key = ".".join(where[:-1]), where[-1] if where else ""
    current, table_line = "", None
    for number, line in enumerate(text.splitlines(), 1):
        header = re.match(r"\s*\[\s*([^\]]+?)\s*\]", line)
        if header:
            current = header[1].replace('"', "").replace("'", "")
            if current in (table, ".".join(where)):
                table_line = number
        elif current == table and re.match(rf"""\s*["']?{re.escape(key)}["']?\s*=""", line):
            return number
    return table_line


def _absolute(folders: Folders, studio: Path, config_file: Path) -> Folders:
    paths = {name: Path(os.path.normpath((studio / value).absolute())) for name, value in folders}
    inbox = paths["inbox"].resolve()
    for name, path in paths.items():
        real = path.resolve()  # by whatever links and dots the way leads
        if name != "inbox" and (real == inbox or inbox in real.parents):
            raise ConfigError(
                f"folders.{name} lies inside the inbox; finished pictures would come in again", config_file
            )
    return Folders(**paths)


def _check_texts(settings: Settings, path: Path, text: str) -> None:
    """Templates may hold {artist} and {year} only; a font must be there."""
    for table, key in (
        ("rights", "notice"),
        ("rights", "credit"),
        ("rights", "usage_terms"),
        ("mark", "text"),
    ):
        value = getattr(getattr(settings, table), key)
        try:
            value.format(artist="A", year="2000")
        except (KeyError, IndexError, ValueError):
            raise ConfigError(
                f"`{table}.{key}` may hold {{artist}} and {{year}} and no other braces",
                path,
                _line_of(text, (table, key)),
            ) from None
    if settings.mark.picture and not (settings.studio / settings.mark.picture).is_file():
        where = settings.studio / settings.mark.picture
        raise ConfigError(f"there is no picture file {where}", path, _line_of(text, ("mark", "picture")))
    if settings.mark.font and not font_path(settings).is_file():
        raise ConfigError(f"there is no font file {font_path(settings)}", path, _line_of(text, ("mark", "font")))


def _check_profiles(settings: Settings, path: Path, text: str) -> None:
    """A destination's own ICC file must be there and be of a kind that pictures can go to; a blind one's file names
    must not hold the artist's name."""
    words = [word.casefold() for word in settings.artist.name.split() if len(word) > 2]
    for name, preset in settings.destinations.items():
        if preset.rights == "none" and any(word in preset.name.casefold() for word in words):
            line = _line_of(text, (name, "name"))
            raise ConfigError(f'`{name}.name` holds your name, and rights = "none" wants no trace of it', path, line)
        if not preset.profile:
            continue
        place, line = settings.studio / preset.profile, _line_of(text, (name, "profile"))
        try:
            model = colour_model(place.read_bytes())
        except OSError:
            raise ConfigError(f"there is no colour profile {place}", path, line) from None
        except Unreadable as problem:
            raise ConfigError(f"the colour profile {place.name} can't be used: {problem}", path, line) from None
        if model == "CMYK" and preset.mark and not ENCODERS[preset.format].marked_inks:
            raise ConfigError(f"`{name}`: a CMYK file carries no visible mark; set mark = false", path, line)


def ledger_path(settings: Settings) -> Path:
    """Where the ledger lies."""
    return settings.folders.records / "ledger.sqlite3"


def font_path(settings: Settings) -> Path:
    """The font of the visible mark: the artist's own, else the one that comes along."""
    if settings.mark.font:
        return settings.studio / settings.mark.font
    return Path(str(resources.files("autoprep") / "fonts" / "DejaVuSans.ttf"))


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
