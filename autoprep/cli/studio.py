"""Commands that make a studio."""

import argparse
import contextlib
import os
import re
import shutil
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path

from autoprep.cli.found import make_folders, refuse_own
from autoprep.cli.work import process_all
from autoprep.errors import ConfigError, UsageError
from autoprep.files.credentials import available, make_identity
from autoprep.files.storage import write_now
from autoprep.logs import argument
from autoprep.told.summary import print_summary
from autoprep.wishes.places import credentials_paths
from autoprep.wishes.settings import DESTINATIONS_FILE, SETTINGS_FILE, default_files, find_config, load
from autoprep.wishes.tables import Settings


def init(options: argparse.Namespace) -> int:
    """Make a studio folder."""
    settings = make_studio(options.folder)
    print(f"The studio is ready: {settings.studio}")
    print(f"  put photos in      {settings.folders.inbox}")
    print(f"  find pictures in   {settings.folders.ready}")
    print(f"  your name, rights  {settings.studio / 'config' / SETTINGS_FILE}")
    print(f"  sizes and places   {settings.studio / 'config' / DESTINATIONS_FILE}")
    print(f"Then run:  autoprep watch --config {argument(str(settings.studio))}")
    return 0


def make_studio(folder: Path) -> Settings:
    """Lay out a studio; files that are there stay as they are. Raises UsageError within what another one works on."""
    folder = folder.absolute()
    _refuse_within_others(folder)
    try:
        (folder / "config").mkdir(parents=True, exist_ok=True)
        for name, text in default_files().items():
            place = folder / "config" / name
            if not place.exists():
                place.write_text(text, encoding="utf-8")
        settings = load(folder / "config" / SETTINGS_FILE)
        make_folders(settings, anew=True)
    except OSError as problem:
        raise ConfigError(f"the studio can't be made in {folder}: {problem.strerror}") from problem
    return settings


def _refuse_within_others(folder: Path) -> None:
    """A studio in another's inbox would have its pictures taken for new photos there."""
    for parent in folder.parents:
        there = parent / "config" / SETTINGS_FILE
        if there.is_file():
            with contextlib.suppress(ConfigError):  # what can't be read works on nothing
                refuse_own(load(there, unmarked=True), folder, "studio")


def credentials(options: argparse.Namespace) -> int:
    """Make the key and the certificate that content credentials are signed with."""
    settings = load(find_config(options.config), keyless=True)
    if settings.credentials.key or settings.credentials.certificate:
        raise UsageError("[credentials] names a certificate and a key of your own; none is made beside them")
    if not available():
        raise UsageError("content credentials need an extra: pip install 'autoprep[credentials]'")
    certificate, key = credentials_paths(settings)
    there = next((place for place in (certificate, key) if place.exists()), None)
    if there is not None:
        raise UsageError(f"{there} is there already; pictures that it has signed belong to it, so keep it")
    made = make_identity(settings.artist.name or "Autoprep", datetime.now(UTC))
    with open(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # for nobody else to read
        file.write(made.key)
    write_now(certificate, made.certificate, "credentials")
    print(f"Made: {certificate}\n      {key}  (keep it to yourself, and keep a copy)")
    print("Pictures of destinations with credentials = true are signed with it from now on. Nobody vouches for it:")
    print("readers see that nothing was changed since, and call the signer unverified. A certificate that an authority")
    print("gave you, named in [credentials], is believed.")
    return 0


def demo(options: argparse.Namespace) -> int:
    """Make a studio, put the demo photos in, and process them."""
    photos = options.photos or _demo_photos()
    files = (
        sorted(path for path in photos.iterdir() if path.is_file() and not path.name.startswith("."))
        if photos.is_dir()
        else []
    )
    if not files:
        raise UsageError(f"there are no demo photos in {photos}")
    settings = make_studio(options.dir)
    config = settings.studio / "config" / SETTINGS_FILE
    _name_demo_artist(config)
    settings = load(config)
    for path in files:
        if not (settings.folders.inbox / path.name).exists():
            shutil.copyfile(path, settings.folders.inbox / path.name)
    print(f"Demo studio: {settings.studio}")
    print(f"{len(files)} photos of Wren Halloway's field journals lie in its inbox; processing them now.")
    records = process_all(settings)
    print_summary(settings, records)
    return 1 if any(record.outcome == "set aside" for record in records) else 0


def _demo_photos() -> Path:
    package = Path(str(resources.files("autoprep")))
    places = (package / "demo_inbox", package.parent / "demo_inbox")  # in a wheel; in a clone
    return next((place for place in places if place.is_dir()), places[0])


def _name_demo_artist(config: Path) -> None:
    text = config.read_text(encoding="utf-8")
    config.write_text(re.sub(r'^name = ""', 'name = "Wren Halloway"', text, count=1, flags=re.M), encoding="utf-8")
