"""`autoprep bag`: what is new since the last bag, nothing that was changed, and nobody's name on a blind one."""

from pathlib import Path

import bagit
import pytest

from autoprep.cli.main import main
from autoprep.ledger import Ledger
from autoprep.wishes.places import ledger_path
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.test_one_place import with_table

pytestmark = pytest.mark.usefixtures("looked_at_once")

TABLES = """
[site]
long_side_px = 300
[jury]
long_side_px = 300
rights = "none"
"""


@pytest.fixture
def kept(studio: Settings) -> Settings:
    config = studio.config_file
    config.write_text(config.read_text().replace("[artist]\n", '[artist]\nemail = "wren@saltmere.example"\n'))
    settings = with_table(studio, TABLES)
    (settings.folders.inbox / "Reeds, 2026, ink.jpg").write_bytes(photos.jpeg())
    run_once(settings)
    return settings


def test_each_bag_holds_what_is_new(kept: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bags = tmp_path / "bags"
    command = ["bag", "site", str(bags), "--config", str(kept.config_file)]
    assert main(command) == 0
    (first,) = bags.iterdir()
    bag = bagit.Bag(str(first))
    bag.validate()
    assert bag.info["Contact-Name"] == "Wren Halloway"
    assert sorted(place.name for place in (first / "data").iterdir()) == ["Reeds-2026-ink.jpg", "works.csv"]
    assert "Reeds,2026,ink" in (first / "data" / "works.csv").read_text(encoding="utf-8-sig")
    assert main(command) == 0
    assert len(list(bags.iterdir())) == 1
    assert "lie in a bag there already" in capsys.readouterr().out
    assert main([*command, "--all"]) == 0
    assert len(list(bags.iterdir())) == 2
    assert main([*command, "--all", "--month", "1998-05"]) == 1
    ledger = Ledger(ledger_path(kept))
    (came,) = (row.came for row in ledger.overview.works())
    assert len(ledger.overview.delivered("site", came[:7])) == 1
    ledger.close()
    picture = kept.folders.ready / "site" / "Reeds-2026-ink.jpg"
    picture.write_bytes(picture.read_bytes() + b"\0")
    assert main([*command, "--all"]) == 1
    assert "Left out: Reeds-2026-ink.jpg" in capsys.readouterr().out
    assert main([*command, "--all", "--anyway"]) == 0
    for place in bags.iterdir():
        bagit.Bag(str(place)).validate()


def test_a_blind_bag_names_nobody_and_wrong_use_is_refused(kept: Settings, tmp_path: Path) -> None:
    config = ["--config", str(kept.config_file)]
    assert main(["bag", "jury", str(tmp_path / "bags"), *config]) == 0
    (bag,) = (tmp_path / "bags").iterdir()
    assert not any(b"Halloway" in place.read_bytes() or b"wren@" in place.read_bytes() for place in bag.rglob("*.*"))
    assert main(["bag", "nowhere", str(tmp_path), *config]) == 2
    assert main(["bag", "site", str(kept.folders.ready / "site"), *config]) == 2
    assert main(["bag", "site", str(tmp_path), "--month", "May", *config]) == 2


def test_a_bag_goes_into_no_folder_of_the_service(kept: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    folders = kept.folders
    for place in (folders.inbox, folders.inbox / "bags", folders.needs_a_look / "a", folders.records):
        before = set(kept.studio.rglob("*"))
        assert main(["bag", "site", str(place), "--config", str(kept.config_file)]) == 2
        assert "does not belong into the folder" in capsys.readouterr().err
        assert set(kept.studio.rglob("*")) == before


def test_a_sheet_goes_into_no_folder_of_the_service(kept: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    folders, config = kept.folders, ["--config", str(kept.config_file)]
    for place in (folders.inbox, folders.ready / "site", folders.needs_a_look, folders.records):
        assert main(["sheet", str(place / "works.pdf"), *config]) == 2
        assert "a sheet does not belong into the folder" in capsys.readouterr().err
        assert not list(kept.studio.rglob("*.pdf"))
    assert main(["sheet", str(kept.studio / "works.pdf"), *config]) == 0


def test_a_bag_without_ready_says_that_it_is_away(
    kept: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept.folders.ready.rename(kept.folders.ready.with_name("off"))
    assert main(["bag", "site", str(tmp_path / "bags"), "--config", str(kept.config_file)]) == 1
    told = capsys.readouterr().out
    assert f"No bag was made: the folder of finished pictures {kept.folders.ready} is not there" in told
    assert "nothing to put" not in told
