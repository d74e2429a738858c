"""Content credentials, read back by the standard's own reader; skipped where the extra is not installed."""

import io
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from autoprep.cli.main import main
from autoprep.domain import JobRecord
from autoprep.errors import CannotMeet, ConfigError
from autoprep.files.credentials import MARKER, Identity, make_identity, signed
from autoprep.files.encoders import How, encode
from autoprep.files.formats import ENCODERS
from autoprep.files.reading import read_photo
from autoprep.wishes.places import credentials_paths
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.metadata.readers import faults, needs_exiftool, said_by_carriers
from tests.metadata.test_rights import CASES, carried, statement
from tests.test_job import done, order_for
from tests.test_one_place import with_table

c2pa = pytest.importorskip("c2pa")
pytest.importorskip("cryptography")

NOW = datetime(2026, 11, 26, 12, 0, tzinfo=UTC)
MANIFEST = {
    "claim_generator_info": [{"name": "autoprep"}],
    "ingredients": [{"title": "photo", "relationship": "parentOf", "label": "photo"}],
    "assertions": [
        {
            "label": "c2pa.actions.v2",
            "data": {"actions": [{"action": "c2pa.opened", "parameters": {"ingredientIds": ["photo"]}}]},
        }
    ],
}
TABLES = """
[site]
long_side_px = 300
credentials = true
max_kb = 60
[plain]
long_side_px = 300
"""


def read(data: bytes, mime: str) -> tuple[dict[str, Any], str]:
    """The newest manifest of a file, and what the reader thinks of it."""
    reader = c2pa.Reader(mime, io.BytesIO(data))
    found = json.loads(reader.json())
    return found["manifests"][found["active_manifest"]], str(reader.get_validation_state())


@pytest.mark.parametrize("name", ENCODERS)
def test_every_format_carries_them_and_keeps_its_pixels(name: str) -> None:
    row = ENCODERS[name]
    pixels = np.random.default_rng(0).integers(0, 255, (60, 90, 3)).astype(np.uint8)
    plain = row.encode(pixels, carried(statement(), name), How(90))
    identity = make_identity("Wren Halloway", NOW)
    data = signed(plain, row.mime, MANIFEST, identity)
    manifest, state = read(data, row.mime)
    assert state == "Valid"
    assert manifest["signature_info"]["issuer"] == "Wren Halloway (made locally, unverified)"
    with Image.open(io.BytesIO(plain)) as one, Image.open(io.BytesIO(data)) as two:
        assert np.array_equal(np.asarray(one), np.asarray(two))
        assert two.info["icc_profile"] == one.info["icc_profile"]
    changed = bytearray(data)
    changed[changed.index("Hallöway".encode())] ^= 0x10  # a letter in the rights, outside the manifest
    assert read(bytes(changed), row.mime)[1] == "Invalid"


@needs_exiftool
@pytest.mark.parametrize(("name", "bits"), CASES)
def test_a_signed_file_has_no_fault(tmp_path: Path, name: str, bits: int) -> None:
    """By exiftool's own check; and the rights in it are those that were written."""
    pixels = np.random.default_rng(0).integers(0, 255, (60, 90, 3)).astype(np.uint8)
    plain = encode(pixels if bits == 8 else pixels.astype(np.uint16) * 257, name, carried(statement(), name), How(90))
    place = tmp_path / f"out{ENCODERS[name].suffix}"
    place.write_bytes(plain)
    before = said_by_carriers(place)
    place.write_bytes(signed(plain, ENCODERS[name].mime, MANIFEST, make_identity("Wren Halloway", NOW)))
    assert faults(place) == []
    assert said_by_carriers(place) == before


def test_a_key_of_another_kind_signs_and_a_broken_one_is_told() -> None:
    from cryptography.hazmat.primitives import serialization as pem
    from cryptography.hazmat.primitives.asymmetric import x25519

    plain = ENCODERS["jpeg"].encode(np.zeros((8, 8, 3), np.uint8), carried(statement(), "jpeg"), How(90))
    identity = make_identity("Wren Halloway", NOW)
    secret = x25519.X25519PrivateKey.generate()
    unfit = secret.private_bytes(pem.Encoding.PEM, pem.PrivateFormat.PKCS8, pem.NoEncryption())
    for broken in (b"no key", unfit):
        with pytest.raises(CannotMeet, match="credentials"):
            signed(plain, "image/jpeg", MANIFEST, Identity(identity.certificate, broken))


@pytest.fixture
def made(studio: Settings) -> tuple[Settings, JobRecord]:
    file = studio.config_file
    text = file.read_text(encoding="utf-8") + '[rights]\ndata_mining = "prohibited for training"\n'
    file.write_text(text, encoding="utf-8")
    file.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    with pytest.raises(ConfigError, match="autoprep credentials"):
        load(file)
    assert main(["credentials", "--config", str(file)]) == 0
    assert main(["credentials", "--config", str(file)]) == 2  # never another one over it
    settings = load(file)
    assert credentials_paths(settings)[1].stat().st_mode & 0o077 == 0
    order = order_for(settings, photos.jpeg())
    places = {name: settings.folders.ready / name / "a.jpg" for name in ("site", "plain")}
    return settings, done(replace(order, places=places)).record


def test_a_destination_that_asks_says_what_was_done(made: tuple[Settings, JobRecord]) -> None:
    settings, record = made
    assert record.outcome == "ready", record.reasons
    data = (settings.folders.ready / "site" / "a.jpg").read_bytes()
    assert len(data) <= 60_000
    manifest, state = read(data, "image/jpeg")
    assert state == "Valid"
    assertions = {one["label"]: one["data"] for one in manifest["assertions"]}
    done_ = [(one["action"], one.get("description", "")) for one in assertions["c2pa.actions.v2"]["actions"]]
    assert done_[0] == ("c2pa.opened", "")
    words = " ".join(text for _, text in done_)
    for said in ("straightened", "own outline", "light", "mark"):
        assert said in words
    assert {action for action, _ in done_} >= {"c2pa.cropped", "c2pa.color_adjustments", "c2pa.edited", "c2pa.resized"}
    assert "desk" not in words
    uses = {name: one["use"] for name, one in assertions["cawg.training-mining"]["entries"].items()}
    assert uses["cawg.ai_training"] == uses["cawg.ai_generative_training"] == "notAllowed"
    assert uses["cawg.data_mining"] == "allowed"
    assert assertions["cawg.metadata"]["dc:creator"] == ["Wren Halloway"]
    assert [one["title"] for one in manifest["ingredients"]] == ["photo"]
    assert "thumbnail" not in manifest
    assert not any(secret in data for secret in (b"PLANTED", b"Saltmere Optics", b"IMG_"))
    outputs = {output.destination: output.notes for output in record.outputs}
    assert any("nobody vouches for" in note for note in outputs["site"])
    assert not any("credentials" in note for note in outputs["plain"])
    assert MARKER not in (settings.folders.ready / "plain" / "a.jpg").read_bytes()
    assert read_photo(data).facts.credentials
    assert not read_photo(photos.jpeg()).facts.credentials


def test_credentials_and_blind_files_exclude_each_other(studio: Settings) -> None:
    with pytest.raises(ConfigError, match="credentials = true contradict"):
        with_table(studio, '[jury]\nlong_side_px = 300\nrights = "none"\ncredentials = true\n')
