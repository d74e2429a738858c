"""The only reader of the TOML files and the environment: from files to frozen, validated settings."""

import hashlib
import os
import re
from importlib import resources
from importlib.util import find_spec
from pathlib import Path
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from autoprep.errors import ConfigError, Unreadable
from autoprep.files.credentials import available
from autoprep.files.encoders import ENCODERS
from autoprep.files.icc import colour_model
from autoprep.wishes.destinations import Preset, Table
from autoprep.wishes.mistakes import Mistakes, line_of

SETTINGS_FILE, DESTINATIONS_FILE = "autoprep.toml", "destinations.toml"
SCHEMA_FILE = "destinations.schema.json"


class Folders(Table):
    """Where things lie, relative to the studio."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)

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
    keywords: Annotated[tuple[str, ...], Field(strict=False)] = ()
    data_mining: DataMining = "unspecified"


MarkCorner = Literal["auto", "top-left", "top-right", "bottom-left", "bottom-right"]


class Mark(Table):
    """The small visible mark."""

    text: str = "© {artist}"
    font: str = ""
    picture: str = ""
    height_percent: Annotated[float, Field(ge=0.5, le=10)] = 2.0
    opacity_percent: Annotated[float, Field(ge=5, le=100)] = 50.0
    contrast: Literal["quiet", "readable"] = "quiet"
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


class Credentials(Table):
    """Who signs content credentials: PEM files of the artist's own; empty: those that `autoprep credentials` makes."""

    certificate: str = ""
    key: str = ""


class Inbox(Table):
    """What lies in the inbox: works and nothing else, or everything that a phone takes; and what becomes of frames."""

    holds: Literal["works", "everything"] = "everything"
    frames: Literal["keep", "leave out"] = "keep"


class ClusterTls(Table):
    """The PEM files with which the cluster's connections are closed to others."""

    ca: str = ""
    certificate: str = ""
    key: str = ""


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
    metrics_file: str = ""
    cluster: str = ""
    cluster_tls: ClusterTls = ClusterTls()


class Main(Table):
    """The tables of autoprep.toml."""

    folders: Folders = Folders()
    artist: Artist = Artist()
    rights: Rights = Rights()
    mark: Mark = Mark()
    credentials: Credentials = Credentials()
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
    credentials: Credentials = Credentials()
    inbox: Inbox = Inbox()
    correction: Correction
    service: Service
    destinations: dict[str, Preset]
    sha256: str


_CLUSTER = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.%]+\]|[\w.-]+):\d{1,5}")
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


def load(config_file: Path, *, keyless: bool = False) -> Settings:
    """Read and validate both files. Raises ConfigError that names all mistakes with their lines and nearest names.

    keyless: that the key of content credentials is missing is no mistake.
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
    studio = config_file.parent.parent if config_file.parent.name == "config" else config_file.parent
    settings = Settings(
        studio=studio,
        config_file=config_file,
        folders=_absolute(main.folders, studio, config_file),
        artist=main.artist,
        rights=main.rights,
        mark=main.mark,
        credentials=main.credentials,
        inbox=main.inbox,
        correction=main.correction,
        service=main.service,
        destinations=presets,
        sha256=hashlib.sha256((main_text + "\0" + text).encode()).hexdigest(),
    )
    _check_texts(settings, config_file, main_text, mistakes)
    _check_metrics(settings, config_file, main_text, mistakes)
    _check_cluster(settings, config_file, main_text, mistakes)
    _check_profiles(settings, destinations_file, text, mistakes)
    if not keyless:
        _check_credentials(settings, destinations_file, text, mistakes)
    mistakes.tell()
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


def _absolute(folders: Folders, studio: Path, config_file: Path) -> Folders:
    paths = {name: Path(os.path.normpath((studio / value).absolute())) for name, value in folders}
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


def _check_texts(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """Templates may hold {artist} and {year} only; a font must be there."""
    for table, key in (("rights", "notice"), ("rights", "credit"), ("rights", "usage_terms"), ("mark", "text")):
        if not _fits_template(getattr(getattr(settings, table), key)):
            said = f"`{table}.{key}` may hold {{artist}} and {{year}} and no other braces"
            mistakes.add(said, path, line_of(text, (table, key)))
    if settings.mark.picture and not (settings.studio / settings.mark.picture).is_file():
        where = settings.studio / settings.mark.picture
        mistakes.add(f"there is no picture file {where}", path, line_of(text, ("mark", "picture")))
    if settings.mark.font and not font_path(settings).is_file():
        mistakes.add(f"there is no font file {font_path(settings)}", path, line_of(text, ("mark", "font")))


def _fits_template(text: str) -> bool:
    """Whether the braces in it are {artist} and {year} alone, with nothing that reaches into them or shapes them."""
    try:
        fields = [field[1:] for field in Formatter().parse(text) if field[1] is not None]
    except ValueError:
        return False
    return all(name in ("artist", "year") and not (shape or conversion) for name, shape, conversion in fields)


def _check_profiles(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """A destination's own ICC file must be there and be of a kind that pictures can go to; a blind one's file names
    must not hold the artist's name."""
    words = [word.casefold() for word in settings.artist.name.split() if len(word) > 2]
    for name, preset in settings.destinations.items():
        if preset.rights == "none" and any(word in preset.name.casefold() for word in words):
            said = f'`{name}.name` holds your name, and rights = "none" wants no trace of it'
            mistakes.add(said, path, line_of(text, (name, "name")))
        if preset.profile:
            said = _profile_problem(settings, name, preset)
            if said:
                mistakes.add(said, path, line_of(text, (name, "profile")))


def _profile_problem(settings: Settings, name: str, preset: Preset) -> str:
    """What is wrong with a destination's own profile; empty where nothing is."""
    place = settings.studio / preset.profile
    try:
        model = colour_model(place.read_bytes())
    except OSError:
        return f"there is no colour profile {place}; put the file there, or write where it lies below {settings.studio}"
    except Unreadable as problem:
        return f"the colour profile {place.name} can't be used: {problem}"
    if model == "CMYK" and preset.mark and not ENCODERS[preset.format].marked_inks:
        return f"`{name}`: a CMYK file carries no visible mark; set mark = false"
    return ""


def ledger_path(settings: Settings) -> Path:
    """Where the ledger lies."""
    return settings.folders.records / "ledger.sqlite3"


def metrics_path(settings: Settings) -> Path | None:
    """Where the text file for a collector of metrics is kept; None where none is asked for."""
    name = settings.service.metrics_file
    return Path(os.path.normpath(settings.studio / name)) if name else None


def _check_metrics(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """The file for a collector lies in a folder that is there, and not where photos come in or pictures lie."""
    place = metrics_path(settings)
    if place is None:
        return
    line = line_of(text, ("service", "metrics_file"))
    where, folders = place.parent.resolve(), settings.folders
    for name in ("inbox", "ready", "needs_a_look"):
        own = getattr(folders, name).resolve()
        if where == own or own in where.parents:
            mistakes.add(f"`service.metrics_file` lies in the folder {name}; write another place", path, line)
    if place.is_dir() or not (where.is_dir() or where == folders.records.resolve()):
        mistakes.add(f"`service.metrics_file` is no file in a folder that is there: {place}", path, line)


def cluster_tls_paths(settings: Settings) -> tuple[Path, Path, Path] | None:
    """The cluster's authority, this service's certificate and its key; None for an open connection."""
    tls = settings.service.cluster_tls
    if not (tls.ca or tls.certificate or tls.key):
        return None
    return settings.studio / tls.ca, settings.studio / tls.certificate, settings.studio / tls.key


def _check_cluster(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """A cluster needs its extra, an address that can be meant, and for tls:// three files that are there."""
    address, paths = settings.service.cluster, cluster_tls_paths(settings)
    line = line_of(text, ("service", "cluster"))
    if not address:
        if paths is not None:
            mistakes.add(
                "`service.cluster_tls` goes with `service.cluster`", path, line_of(text, ("service", "cluster_tls"))
            )
        return
    if not _CLUSTER.fullmatch(address):
        said = f'`service.cluster` is the scheduler\'s address, such as "tcp://192.168.1.20:8786", not {address!r}'
        mistakes.add(said, path, line)
    elif address.startswith("tls:") != (paths is not None):
        mistakes.add("`service.cluster` with tls:// and the three files of `cluster_tls` go together", path, line)
    if find_spec("distributed") is None:
        mistakes.add("a cluster needs an extra: pip install 'autoprep[cluster]'", path, line)
    for place in paths or ():
        if not place.is_file():
            mistakes.add(f"`service.cluster_tls`: there is no file {place}", path, line)


def credentials_paths(settings: Settings) -> tuple[Path, Path]:
    """Where the certificate and the key of content credentials lie: the artist's own, or those made here."""
    own, config = settings.credentials, settings.config_file.parent
    if own.certificate or own.key:
        return settings.studio / own.certificate, settings.studio / own.key
    return config / "credentials-certificate.pem", config / "credentials-key.pem"


def _check_credentials(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """Where a destination asks for content credentials, the extra, the certificate and the key must be there."""
    asking = [name for name, preset in settings.destinations.items() if preset.credentials]
    if not asking:
        return
    line = line_of(text, (asking[0], "credentials"))
    if not available():
        mistakes.add("content credentials need an extra: pip install 'autoprep[credentials]'", path, line)
    for place in credentials_paths(settings):
        if not place.is_file():
            way = "" if settings.credentials.key else "; `autoprep credentials` makes one"
            mistakes.add(f"content credentials need a certificate and a key; there is no {place}{way}", path, line)
            return


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
