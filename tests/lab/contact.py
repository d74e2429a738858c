"""All shipped destinations of some demo photos on one sheet: `python -m tests.lab contact --out FILE`."""

import io
import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageCms

from autoprep.cli.studio import make_studio
from autoprep.domain import JobRecord, WorkFacts
from autoprep.files.storage import publish
from autoprep.job.orders import JobOrder
from autoprep.job.story import process
from autoprep.service.places import Others, reserve
from autoprep.wishes import settings as settings_module
from autoprep.wishes.notes import facts_of
from autoprep.wishes.tables import Settings

from .colour import Mask


def studio_of_wren(folder: Path) -> Settings:
    """A studio with the shipped settings and Wren Halloway's name in them."""
    make_studio(folder)
    config = folder / "config" / settings_module.SETTINGS_FILE
    text = config.read_text(encoding="utf-8").replace('name = ""', 'name = "Wren Halloway"', 1)
    config.write_text(text, encoding="utf-8")
    return settings_module.load(config)


def all_outputs(settings: Settings, photo: Path, facts: WorkFacts | None = None) -> JobRecord:
    """One photo to every destination, in this process; returns its record."""
    said = facts if facts is not None else facts_of(photo.parent, photo.name)[0]
    places = reserve(settings, photo.name, said, list(settings.destinations), Others(lambda place: False))
    look = places.pop("needs-a-look")
    order = JobOrder(
        job="00001-contact", photo=photo.name, sha256="0" * 64, data=photo.read_bytes(), settings=settings,
        places=places, look_folder=look, proof_folder=settings.folders.records / "proof" / photo.stem, facts=said,
    )  # fmt: skip
    result = process(order, lambda stage, seconds, told: None)
    for part, final in result.parts:
        publish(part, final)
    return result.record


def contact(photos: list[Path], out: Path, cell_px: int = 300) -> None:
    """Write a sheet with a row for each photo and a column for each destination."""
    rows = []
    with tempfile.TemporaryDirectory() as kept:
        settings = studio_of_wren(Path(kept) / "studio")
        for photo in photos:
            record = all_outputs(settings, photo)
            print(photo.name, record.outcome, {k: v[:60] for k, v in record.held.items()})
            made = {output.destination: settings.studio / output.path for output in record.outputs}
            rows.append(np.hstack([_cell(made.get(name), name, cell_px) for name in settings.destinations]))
    cv2.imwrite(str(out), np.vstack(rows)[..., ::-1])


def _cell(path: Path | None, name: str, cell_px: int) -> Mask:
    cell = np.full((cell_px + 24, cell_px, 3), 60, np.uint8)
    if path is not None:
        with Image.open(path) as image:
            profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
            small = image.convert("RGB")
            small.thumbnail((2 * cell_px, 2 * cell_px), Image.Resampling.BOX)
            small = ImageCms.profileToProfile(small, profile, ImageCms.createProfile("sRGB")) or small
        small.thumbnail((cell_px - 8, cell_px - 8), Image.Resampling.LANCZOS)
        cell[4 : 4 + small.height, 4 : 4 + small.width] = np.asarray(small)
    cv2.putText(cell, name, (6, cell_px + 16), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (240, 240, 240), 1, cv2.LINE_AA)
    return cell
