"""A fortnight in Wren Halloway's studio, against the real service. `python -m tests.lab fortnight --out DIR`.

About sixty photos of some twenty works come in over fourteen days (the photos' own times; the machine's clock stays),
with all that an artist does: notes before and after, questions answered rightly and wrongly, works held and let go, a
call for entries. What is seen after each step is compared with what must be there; at the end, the whole studio is.
"""

from __future__ import annotations

import shutil
from pathlib import Path

from .fortnight_cast import EXPECTED, FRAMES, MEANT_QUESTIONS
from .fortnight_end import last_look
from .fortnight_first import FirstWeek
from .fortnight_photos import photograph_all
from .fortnight_second import SecondWeek
from .fortnight_studio import Studio, table


class Fortnight(FirstWeek, SecondWeek):
    """All fourteen days."""


def fortnight(out: Path) -> bool:
    """Live through the fortnight in a new studio below `out`; writes the table; whether all was as expected."""
    folder = out / "studio"
    shutil.rmtree(folder, ignore_errors=True)
    out.mkdir(parents=True, exist_ok=True)
    studio = Studio(folder, photograph_all(FRAMES, out / "photos"))
    studio.make()
    studio.start()
    days = Fortnight(studio, out / "photos")
    try:
        for day in range(1, 15):
            getattr(days, f"day_{day}")()
        last_look(studio, EXPECTED, MEANT_QUESTIONS)
    finally:
        studio.stop()
    text = table(studio.steps)
    (out / "steps.md").write_text(text, "utf-8")
    print(text)
    return all(step.ok for step in studio.steps)
