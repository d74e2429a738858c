"""Finished pictures that were away, with a share, say, when they were to be taken out of their places."""

import shutil

import pytest

from autoprep.cli.main import main
from autoprep.wishes.tables import Settings
from tests.service.pretend import Studio, photo

DESTINATIONS = '[site]\nlong_side_px = 500\nlisting = true\n[print]\nlong_side_px = 900\nwhen = "asked"\n'


@pytest.fixture
def wren(studio: Settings, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


@pytest.mark.parametrize(("word", "linked"), [("hold: yes", False), ("hold: yes", True), ("for: print", True)])
def test_a_picture_that_was_away_when_it_was_to_be_withdrawn_is_taken_out_when_it_is_back(
    wren: Studio, capsys: pytest.CaptureFixture[str], word: str, linked: bool
) -> None:
    site, share = wren.settings.folders.ready / "site", wren.inbox.parent / "share"
    shutil.rmtree(site, ignore_errors=True)
    if linked:
        share.mkdir()
        site.symlink_to(share, target_is_directory=True)
    wren.put("a.jpg", photo(1))
    wren.run()
    before = wren.files() | {f"site/{file.name}": file.read_bytes() for file in site.iterdir()}
    (share if linked else site).rename(wren.inbox.parent / "off")
    wren.put("a.txt", word)
    wren.run()
    assert main(["status", "--config", str(wren.config)]) == 0
    shutil.rmtree(site, ignore_errors=True)
    (wren.inbox.parent / "off").rename(share if linked else site)
    capsys.readouterr()
    assert main(["status", "--config", str(wren.config)]) == 1
    told = capsys.readouterr().out
    assert "again, though their works are held, or not sent there: 1 (site/a.jpg); `watch` or `once` takes" in told
    assert "Changed by you" not in told
    wren.run()
    assert not list(site.iterdir())
    assert main(["status", "--config", str(wren.config)]) == 0
    wren.put("a.txt", "")
    wren.run()
    assert sorted(file.name for file in site.iterdir()) == sorted(name.partition("/")[2] for name in before)
