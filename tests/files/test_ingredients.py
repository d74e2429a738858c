"""A photo that brings content credentials of its own: what goes along of them, and what never does."""

import io
import json
import sys
from dataclasses import replace
from typing import Any

import pytest

from autoprep.cli.main import main
from autoprep.domain import OutputRecord
from autoprep.errors import ConfigError
from autoprep.files.credentials import make_identity
from autoprep.files.ingredients import brought
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings
from tests import photos
from tests.files.test_credentials import NOW
from tests.test_job import done, order_for
from tests.test_one_place import with_table

c2pa = pytest.importorskip("c2pa")
pytest.importorskip("cryptography")
pytestmark = pytest.mark.usefixtures("looked_at_once")

PLACE, SERIAL, FILE = "39,21.102N", "SERIAL-4711", "IMG_2041.JPG"
CAMERA = {
    "@context": {"exif": "http://ns.adobe.com/exif/1.0/", "exifEX": "http://cipa.jp/exif/1.0/"},
    "exif:GPSLatitude": PLACE,
    "exifEX:BodySerialNumber": SERIAL,
}
TAKEN = {"action": "c2pa.created", "digitalSourceType": "http://cv.iptc.org/newscodes/digitalsourcetype/digitalCapture"}
TABLES = """
[plain]
long_side_px = 300
[site]
long_side_px = 300
credentials = true
[story]
long_side_px = 300
credentials = true
photo_credentials = "history"
format = "png"
[all]
long_side_px = 300
credentials = true
photo_credentials = "whole"
[jury]
long_side_px = 300
rights = "none"
"""


def from_camera(*, secret_action: bool = False) -> bytes:
    """A photo that a camera has signed, with its place, its serial number and a preview in the manifest."""
    parameters = {"parameters": {"org.saltmere.gps": PLACE}} if secret_action else {}
    manifest = {
        "claim_generator_info": [{"name": "Saltmere Optics SO-1"}],
        "title": FILE,
        "assertions": [
            {"label": "c2pa.actions.v2", "data": {"actions": [TAKEN | parameters]}},
            {"label": "stds.exif", "kind": "Json", "data": CAMERA},
            {"label": "c2pa.metadata", "kind": "Json", "data": CAMERA},
        ],
    }
    identity = make_identity("Saltmere Optics", NOW)
    info = c2pa.C2paSignerInfo(alg=b"es256", sign_cert=identity.certificate, private_key=identity.key, ta_url=None)
    out = io.BytesIO()
    with c2pa.Signer.from_info(info) as signer, c2pa.Builder(json.dumps(manifest)) as builder:
        builder.sign(signer, "image/jpeg", io.BytesIO(photos.jpeg()), out)
    return out.getvalue()


def outputs_of(studio: Settings, photo: bytes) -> dict[str, tuple[OutputRecord, bytes]]:
    file = studio.config_file
    file.with_name("destinations.toml").write_text(TABLES, encoding="utf-8")
    assert main(["credentials", "--config", str(file)]) == 0
    settings = load(file)
    places = {
        name: settings.folders.ready / name / f"a.{'png' if name == 'story' else 'jpg'}"
        for name in settings.destinations
    }
    record = done(replace(order_for(settings, photo), places=places)).record
    assert record.outcome == "ready", record.reasons
    assert not record.failed
    return {one.destination: (one, places[one.destination].read_bytes()) for one in record.outputs}


def stores(data: bytes, mime: str) -> tuple[dict[str, Any], dict[str, Any], str]:
    """The newest manifest, the assertions of each one by label, and what the reader thinks of the whole."""
    reader = c2pa.Reader(mime, io.BytesIO(data))
    plain, all_ = json.loads(reader.json()), json.loads(reader.detailed_json())
    assertions = {label: manifest["assertion_store"] for label, manifest in all_["manifests"].items()}
    return plain["manifests"][plain["active_manifest"]], assertions, str(reader.get_validation_state())


SECRETS = [word.encode() for word in (PLACE, SERIAL)]
PLANTED = b"PLANTED"  # all over the metadata of the photo


def test_they_go_along_only_as_far_as_the_artist_says(studio: Settings) -> None:
    photo = from_camera()
    assert all(secret in photo for secret in (*SECRETS, PLANTED))
    made = outputs_of(studio, photo)
    for name in ("plain", "site", "jury"):
        output, data = made[name]
        assert any("credentials (C2PA) stay behind" in note for note in output.notes), name
        assert not any(secret in data for secret in (*SECRETS, FILE.encode(), b"Saltmere Optics"))
    manifest, assertions, state = stores(made["site"][1], "image/jpeg")
    assert (len(assertions), state) == (1, "Valid")

    output, data = made["story"]
    manifest, assertions, state = stores(data, "image/png")
    assert state == "Valid"
    (ingredient,) = manifest["ingredients"]
    assert (ingredient["relationship"], ingredient["title"]) == ("parentOf", "photo")
    checked = ingredient["validation_results"]["activeManifest"]
    assert "claimSignature.validated" in {one["code"] for one in checked["success"]}
    assert {one["code"] for one in checked["failure"]} == {"signingCredential.untrusted"}  # nobody vouches for it
    assert set(assertions[ingredient["active_manifest"]]) == {"c2pa.actions.v2", "c2pa.hash.data"}
    assert "thumbnail" not in ingredient
    assert not any(secret in data for secret in (*SECRETS, PLANTED))
    assert any("without 3 of their parts" in note for note in output.notes)
    told = [one["action"] for one in assertions[manifest["label"]]["c2pa.actions.v2"]["actions"]]
    assert told[0] == "c2pa.opened"
    assert told.count("c2pa.redacted") == 3

    output, data = made["all"]
    manifest, assertions, state = stores(data, "image/jpeg")
    assert state == "Valid"
    assert all(secret in data for secret in SECRETS)
    assert any("whole" in note for note in output.notes)


def test_what_can_not_be_left_out_stays_behind(studio: Settings) -> None:
    """A place among the actions, which the standard forbids to redact."""
    output, data = outputs_of(studio, from_camera(secret_action=True))["story"]
    assert any("can't be taken out" in note for note in output.notes)
    _, assertions, state = stores(data, "image/png")
    assert (len(assertions), state) == (1, "Valid")
    assert not any(secret in data for secret in SECRETS)


def test_credentials_that_do_not_hold_are_told_and_our_own_still_do(studio: Settings) -> None:
    photo = bytearray(from_camera())
    at = photo.rindex(b"\xff\xd9")  # the end of the picture, outside the manifest
    made = outputs_of(studio, bytes(photo[:at]) + b"\xff\xfe\x00\x08Reeds.\xff\xd9")
    output, data = made["story"]
    assert any("do not hold" in note for note in output.notes)
    manifest, _, state = stores(data, "image/png")
    assert state == "Valid"
    failed = manifest["ingredients"][0]["validation_results"]["activeManifest"]["failure"]
    assert "assertion.dataHash.mismatch" in {one["code"] for one in failed}


def test_bytes_that_only_look_like_credentials_stop_nothing(studio: Settings) -> None:
    from autoprep.files.credentials import MARKER

    plain = photos.jpeg()
    comment = b"\xff\xfe" + (len(MARKER) + 2).to_bytes(2, "big") + MARKER
    made = outputs_of(studio, plain[:2] + comment + plain[2:])
    assert any("can't be read" in note for note in made["story"][0].notes)
    assert stores(made["story"][1], "image/png")[2] == "Valid"


def test_nothing_is_asked_of_the_extra_where_they_stay_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "c2pa", None)
    assert brought(b"", "image/jpeg", "none")[0] is None


def test_a_photos_credentials_want_credentials(studio: Settings) -> None:
    with pytest.raises(ConfigError, match="go with credentials = true"):
        with_table(studio, '[site]\nlong_side_px = 300\nphoto_credentials = "history"\n')
