"""The bars of the correction: what the score of the report seeds has to reach, and where each scale comes from."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from .measures import LEAST_BARE
from .score import Row, high, mean, median, sure, wrong_percent

_LINES = ("pencil", "ink", "journal")


@dataclass(frozen=True)
class Bar:
    """A measure with its limit; at_least tells the direction. source: where the scale comes from."""

    name: str
    take: Callable[[list[Row]], float]
    limit: float
    source: str
    at_least: bool = False

    def value(self, rows: list[Row]) -> float:
        """The measure of these rows."""
        return self.take(rows)

    def met(self, rows: list[Row]) -> bool:
        """Whether the rows reach it."""
        value = self.take(rows)
        return value >= self.limit if self.at_least else value <= self.limit


def _of(kinds: tuple[str, ...], rows: list[Row]) -> list[Row]:
    return [row for row in rows if row.kind in kinds]


def _hard(rows: list[Row]) -> list[Row]:
    return [row for row in rows if row.desk in ("clutter", "cloth", "sheets", "white")]


def _washes(rows: list[Row], bare: bool) -> list[Row]:
    """Watercolours that leave some paper bare, or none."""
    return [row for row in rows if row.kind == "watercolour" and (row.bare >= LEAST_BARE) == bare]


def _asked_percent(rows: list[Row]) -> float:
    return 100 * (1 - len(sure(rows)) / len(rows))


def _worse_than_shot(rows: list[Row]) -> float:
    """By how much CIEDE2000 is worse than as shot, in the mean."""
    return mean(row.colour.delta_e - row.colour.delta_e_as_shot for row in rows)


BARS = (
    Bar("outline, mean overlap", lambda r: mean(x.outline.jaccard for x in r), 0.985,
        "page-outline contest of ICDAR 2015: winner 0.9716", at_least=True),
    Bar("outline on hard grounds, mean overlap", lambda r: mean(x.outline.jaccard for x in _hard(r)), 0.97,
        "the same, background 5: 0.8613; best published 0.9858", at_least=True),
    Bar("wrong outlines passed, %", wrong_percent, 1.0, "own"),
    Bar("sent to needs a look, %", _asked_percent, 10.0, "own"),
    Bar("width to height, 95th percentile, %", lambda r: high(x.ratio_percent for x in r), 1.0, "FADGI 2016, 4 stars"),
    Bar("bow of straight lines, 95th percentile, %", lambda r: high(x.bow_percent for x in r), 0.5,
        "Metamorfoze 1.0 allows 2"),
    Bar("desk left inside, median, px at 2000", lambda r: median(x.outline.left_px for x in sure(r)), 2.0, "own"),
    Bar("edge lost, median, px at 2000", lambda r: median(x.outline.lost_px for x in sure(r)), 0.0, "own"),
    Bar("desk left inside, 95th percentile, px at 2000", lambda r: high(x.outline.left_px for x in sure(r)), 6.0,
        "own"),
    Bar("edge lost, 95th percentile, px at 2000", lambda r: high(x.outline.lost_px for x in sure(r)), 6.0, "own"),
    Bar("bare paper, mean C*", lambda r: mean(x.colour.paper_chroma for x in r), 0.6, "Metamorfoze 1.0 allows 2"),
    Bar("bare paper, |mean L* - 96.5|", lambda r: abs(mean(x.colour.paper_lightness for x in r) - 96.5), 1.0,
        "FADGI 2016"),
    Bar("bare paper, standard deviation of L*", lambda r: mean(x.colour.paper_sd for x in r), 1.0,
        "FADGI 2016, 3 stars"),
    Bar("bare paper, unevenness, %", lambda r: mean(x.colour.uneven_percent for x in r), 3.0, "FADGI 2016, 3 stars"),
    Bar("pencil, ink, journal: mean CIEDE2000", lambda r: mean(x.colour.delta_e for x in _of(_LINES, r)), 1.0,
        "FADGI 2016, 4 stars for paintings: 2"),
    Bar("pencil, ink, journal: 95th percentile", lambda r: mean(x.colour.delta_e_95 for x in _of(_LINES, r)), 4.0,
        "own"),
    Bar("watercolour with bare paper: mean CIEDE2000", lambda r: mean(x.colour.delta_e for x in _washes(r, True)), 1.5,
        "own"),
    Bar("watercolour without: worse than as shot, CIEDE2000", lambda r: _worse_than_shot(_washes(r, False)), 0.0,
        "own"),
    Bar("watercolour: wash contrast kept, %", lambda r: mean(x.colour.wash_percent for x in _of(("watercolour",), r)),
        85.0, "own", at_least=True),
    Bar("painting: worse than as shot, CIEDE2000", lambda r: _worse_than_shot(_of(("painting",), r)), 0.0, "own"),
    Bar("toned: worse than as shot, CIEDE2000", lambda r: _worse_than_shot(_of(("toned",), r)), 0.0, "own"),
    Bar("new pixels of 250 and above, %", lambda r: mean(x.colour.new_top_percent for x in r), 0.1, "own"),
)  # fmt: skip
"""Every bar of the report, in the order in which it is printed."""


def print_bars(rows: list[Row]) -> None:
    """Each bar with its value, and whether it is met."""
    for bar in BARS:
        value = bar.value(rows)
        sign = ">=" if bar.at_least else "<="
        verdict = "-" if math.isnan(value) else "met" if bar.met(rows) else "NOT MET"
        print(f"{verdict:<7}  {bar.name:<54} {value:>8.3f}  {sign} {bar.limit:g}")
