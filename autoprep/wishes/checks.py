"""What no table can check by itself: that files are there, that what goes together is said together.

Each adds its mistakes, with the line of the file that they stand in.
"""

import re
from importlib.util import find_spec
from pathlib import Path
from string import Formatter

from autoprep.domain import WorkFacts
from autoprep.errors import Unreadable
from autoprep.files.credentials import available
from autoprep.files.formats import ENCODERS
from autoprep.files.profiles import colour_model
from autoprep.wishes.blind import names_artist
from autoprep.wishes.destinations import Preset
from autoprep.wishes.mistakes import Mistakes, line_of
from autoprep.wishes.places import cluster_tls_paths, credentials_paths, font_path, metrics_path
from autoprep.wishes.tables import Settings

_OWN = ("proof", "withdrawn", "words")  # folders of the records
_METRICS = b"# HELP autoprep_"  # how such a file begins
_FIELD = re.compile(r"\{[^{}]*\}")
_CLUSTER = re.compile(r"(tcp|tls)://(\[[0-9a-fA-F:.%]+\]|[\w.-]+):\d{1,5}")


def texts(settings: Settings, path: Path, text: str, mistakes: Mistakes, *, unmarked: bool = False) -> None:
    """Templates may hold {artist} and {year} only; a mark's picture and font must be there, and be such; so must
    addresses. unmarked: the picture may be one that can't be read.
    """
    for table, key in (("rights", "notice"), ("rights", "credit"), ("rights", "usage_terms"), ("mark", "text")):
        if not _fits_template(getattr(getattr(settings, table), key)):
            said = f"`{table}.{key}` may hold {{artist}} and {{year}} and no other braces"
            mistakes.add(said, path, line_of(text, (table, key)))
    for key, place, opens in (
        ("picture", settings.studio / settings.mark.picture, _is_picture),
        ("font", font_path(settings), _opens_as_font),
    ):
        if not getattr(settings.mark, key):
            continue
        line = line_of(text, ("mark", key))
        if not place.is_file():
            mistakes.add(f"there is no {key} file {place}", path, line)
        elif not (key == "picture" and unmarked) and not opens(place):
            half = "; it is damaged, or not whole" if key == "picture" else ""
            mistakes.add(f"`mark.{key}` is no {key} that can be read: {place}{half}", path, line)


def _is_picture(place: Path) -> bool:
    """Whether it can be read to its end: half of a picture opens too."""
    from autoprep.rendering.mark_shape import shape_of  # these two take a while to load, and are seldom needed

    return not shape_of(place).problem


def _opens_as_font(place: Path) -> bool:
    from autoprep.rendering.mark import missing_glyphs

    try:
        missing_glyphs("a", place)
    except OSError:
        return False
    return True


def inbox(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """Photos come in where nothing is written to."""
    folders = settings.folders
    written = [folders.needs_a_look, *(folders.ready / name for name in settings.destinations)]
    written += [folders.records / name for name in _OWN]
    own = folders.inbox.resolve()
    for place in written:
        if place.resolve() in (own, *own.parents):
            said = f"folders.inbox lies inside {place}, where files are written; they would come in as photos"
            mistakes.add(said, path, line_of(text, ("folders", "inbox")))


def _fits_template(text: str) -> bool:
    """Whether the braces in it are {artist} and {year} alone, with nothing that reaches into them or shapes them."""
    try:
        fields = [field[1:] for field in Formatter().parse(text) if field[1] is not None]
    except ValueError:
        return False
    return all(name in ("artist", "year") and not (shape or conversion) for name, shape, conversion in fields)


def profiles(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
    """A destination's own ICC file must be there and be of a kind that pictures can go to; a blind one's file names
    must not hold the artist's name."""
    for name, preset in settings.destinations.items():
        if preset.rights == "none" and names_artist(
            WorkFacts(title=_FIELD.sub(" ", preset.name)), *settings.artist.traces
        ):
            said = f'`{name}.name` holds your name or an address of yours, and rights = "none" wants no trace of it'
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


def metrics(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
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
    elif _is_anothers(place):
        mistakes.add(f"`service.metrics_file` is another file, which would be written over: {place}", path, line)


def _is_anothers(place: Path) -> bool:
    """Whether something lies there that is no such text file."""
    try:
        with place.open("rb") as file:
            return file.read(len(_METRICS)) not in (b"", _METRICS)
    except OSError:
        return False


def cluster(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
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


def credentials(settings: Settings, path: Path, text: str, mistakes: Mistakes) -> None:
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
