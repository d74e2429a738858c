"""Letters in lists with pictures that no font of this machine holds: which, and of which works; kept for who asks."""

import json
from collections.abc import Iterable
from pathlib import Path

LISTS_FILE = "lists.json"
LACKS = "letters that no font holds"
"""The name, in the place of a file's, under which the lines of a destination are kept."""


def lines_of(name: str, works: Iterable[tuple[str, str]], absent: str) -> list[str]:
    """A line for each work of a destination's list with such letters; works: what each is called, and its words."""
    found = []
    for called, words in works:
        lacking = dict.fromkeys(letter for letter in words if letter in absent)
        if lacking:
            letters = ", ".join(lacking)
            found.append(
                f"{name}: no font on this machine holds {letters} of “{called}”: empty boxes in image-list.pdf"
            )
    return found


def lacking(records: Path) -> tuple[str, ...]:
    """The lines of all destinations, as they were when their lists were written; records: the folder of these."""
    try:
        known = json.loads((records / LISTS_FILE).read_text(encoding="utf-8"))
        kept = [known[key] for key in sorted(known) if key.endswith(f"/{LACKS}")]
        return tuple(str(line) for lines in kept for line in json.loads(lines))
    except (OSError, ValueError, AttributeError, TypeError):
        return ()
