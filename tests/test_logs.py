"""The log: everything in the file, one line a photo on a terminal."""

import io
import json
from pathlib import Path

from autoprep.logs import name_of, open_log, plain


def test_a_photo_is_one_line_on_a_terminal_and_all_its_steps_in_the_file(tmp_path: Path) -> None:
    terminal = io.StringIO()
    log = open_log(tmp_path, terminal)
    log.info("started", job="a1", photo="IMG_1.jpg")
    for stage in ("read", "outline", "measure", "proof"):
        log.info("stage", job="a1", stage=stage, seconds=0.1)
    log.info("finished", job="a1", photo="IMG_1.jpg", outcome="ready")
    log.warning("waiting for space", free_mb=1)
    lines = terminal.getvalue().splitlines()
    assert len(lines) == 2
    assert "finished" in lines[0]
    assert "IMG_1.jpg" in lines[0]
    assert "waiting for space" in lines[1]
    kept = [json.loads(line)["event"] for line in (tmp_path / "log.jsonl").read_text(encoding="utf-8").splitlines()]
    assert kept == ["started", *["stage"] * 4, "finished", "waiting for space"]


def test_no_letter_of_a_value_moves_the_others_or_hides() -> None:
    forged = "a\x1b[2J\n\u2028\u202ebg\u2066j\u200bp"
    assert plain(forged) == "a\\x1b[2J\\x0a\\u2028\\u202ebg\\u2066j\\u200bp"
    assert name_of(forged) == "a\\x1b[2J\\x0a\\u2028\\u202ebg\\u2066j\u200bp"
    assert plain(" Wend  Sands ") == " Wend  Sands "
    assert plain("می\u200cخواهم") == name_of("می\u200cخواهم") == "می\u200cخواهم"


def test_a_fault_has_its_traceback_in_the_file_and_one_line_on_a_terminal(tmp_path: Path) -> None:
    terminal = io.StringIO()
    log = open_log(tmp_path, terminal)
    try:
        raise ValueError("planted\x1b[2J")
    except ValueError:
        log.error("fault", photo="IMG_1.jpg", reason="planted", exc_info=True)
    log.error("fault", photo="IMG_2.jpg", reason="planted", traceback="as a worker\ntells it\x1b")
    log.error("fault", photo="IMG_3.jpg", reason="planted", exc_info=True)  # where nothing was raised
    first, second, third = map(json.loads, (tmp_path / "log.jsonl").read_text(encoding="utf-8").splitlines())
    lines = first["traceback"].splitlines()
    assert lines[0] == "Traceback (most recent call last):"
    assert 'raise ValueError("planted\\x1b[2J")' in lines[-2]
    assert lines[-1] == "ValueError: planted\\x1b[2J"
    assert second["traceback"] == "as a worker\ntells it\\x1b"
    assert "traceback" not in third
    assert all("exc_info" not in line for line in (first, second, third))
    said = terminal.getvalue().splitlines()
    assert [("reason=planted" in line, "Traceback" in line, "tells it" in line) for line in said] == [
        (True, False, False)
    ] * 3
