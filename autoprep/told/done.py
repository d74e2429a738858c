"""What was done to a photo and why, and what would make the next one better."""

import math

from autoprep.domain import (
    Corner,
    CorrectionPlan,
    Declined,
    Geometry,
    PhotoFacts,
    is_round,
    torn_sides,
)
from autoprep.wishes.destinations import GLARE_HOLDS_PERCENT

_LEAST_BEND_TOLD = 0.2  # percent of the longer side: half a millimetre on A4
_SEEN = "by what shows of it on the work and around; “as shot” in a note leaves all as it came"

_RATIO_WORDS = {
    "known size": "from its known size",
    "corners and focal length": "from its corners and the camera's focal length",
    "corners": "from its corners alone",
    "corners and a usual focal length": "from its corners and a usual lens, for the file does not tell "
    "which, so that it may be off by some percent",
    "side lengths": "from the lengths of its sides, which is rough",
}


def reasons(plan: CorrectionPlan, facts: PhotoFacts, measures: dict[str, float]) -> tuple[str, ...]:
    """What was done and why, in plain words."""
    return (
        _geometry(plan, measures),
        *_light(plan, measures),
        *_colour(plan),
        *_damage(measures),
        *facts.warnings,
    )


_BLURRED_PX, _OF_PX = 1.5, 4032  # in photos of 12 megapixels, whose longer side is the second


def advice(plan: CorrectionPlan, measures: dict[str, float]) -> tuple[str, ...]:
    """What to do differently next time; empty when the photo was good. The most telling comes first."""
    said = []
    if measures.get("glare_percent", 0) > GLARE_HOLDS_PERCENT:
        said.append("Turn the work or the lamp until the shine is gone; daylight from one side is kindest.")
    if measures.get("shadow_percent", 0) > 3 or measures.get("shade_left_percent", 0) > _SHADE_SHOWS:
        said.append("A shadow fell on the work: stand opposite the window and hold the phone from the far side.")
    if measures.get("light_unevenness_percent", 0) > 25:
        said.append("Turn the work a quarter or step back from the window for more even light.")
    # Sensors of more pixels spread the same edge over more of them.
    if measures["blur_px"] > _BLURRED_PX * max(1.0, max(plan.geometry.photo_px) / _OF_PX):
        said.append("The photo is blurred: rest the elbows on something, or use the self-timer.")
    if measures["oblique_degrees"] > 15:
        said.append("Hold the phone flatter over the work; now it looked at it from the side.")
    if plan.geometry.reach() < 0.5:
        said.append("Come nearer: the work filled less than half of the photo, and prints need every pixel.")
    if measures["clipped_percent"] > 1:
        said.append("Tap on the paper and pull the brightness down a little: the lightest parts ran out of scale.")
    if isinstance(plan.neutral, Declined) and plan.paper == "none":
        said.append(
            "Lay a colour chart or a grey card beside a painting: then the light, and so its colours, are known."
        )
    return tuple(said)


def _geometry(plan: CorrectionPlan, measures: dict[str, float]) -> str:
    geometry = plan.geometry
    if geometry.ratio_from == "whole photo":
        return "The photo shows the work and nothing else; nothing was cut."
    torn = "" if plan.silhouette is None else f" {_edges(plan.silhouette)} kept: what is outside is ground."
    return (
        f"Straightened; the camera stood about {measures['oblique_degrees']:.0f}° from square-on. "
        f"Width to height is {geometry.ratio:.3f}, {_RATIO_WORDS[geometry.ratio_from]}.{_bent(geometry)}{torn}"
    )


def _edges(silhouette: tuple[Corner, ...]) -> str:
    if is_round(silhouette):
        return "Its round edge is"
    return "Its torn edges are" if any(torn_sides(silhouette)) else "Its rounded corners are"


def _bent(geometry: Geometry) -> str:
    """What is said of sides that were followed where they bend; nothing where it is less than anybody sees."""
    bends = max((abs(place) * 100 for side in geometry.sides or () for place in side), default=0.0)
    if bends < _LEAST_BEND_TOLD:
        return ""
    return (
        f" The sheet does not lie flat: its edge bends by up to {bends:.1f} % of the longer side, and was straightened."
    )


def _light(plan: CorrectionPlan, measures: dict[str, float]) -> list[str]:
    if isinstance(plan.light, Declined):
        return [f"Light: {plan.light.reason}."]
    if plan.paper == "none":
        how = f"as {plan.told_by.light} tells it" if plan.told_by.light else _SEEN
        return [f"The light over the work was evened {how}."]
    words = [
        f"The light varied by {measures['light_unevenness_percent']:.0f} % over the sheet; "
        "it was evened from the bare paper."
    ]
    share, crossing = measures.get("shadow_percent", 0), measures.get("shadow_on_drawing_percent", 0)
    if share > 1:
        words.append(f"A soft shadow on {share:.0f} % of the sheet was evened.")
    if crossing > 1:
        words.append(f"It crosses the drawing on {crossing:.0f} % of the sheet; the light there is a guess.")
    left = measures.get("shade_left_percent", 0)
    if left > _SHADE_SHOWS:
        words.append(f"{left:.0f} % of the sheet is still darker than its paper: {_left(plan, measures)}")
    return words


def _left(plan: CorrectionPlan, measures: dict[str, float]) -> str:
    """What is said of the shade that stays: by which word it may be evened, if that was not said."""
    if "kind_said" not in measures:
        return (
            "a shadow, or a grey wash; it was left. "
            "A line “kind: ink” or “kind: pencil” in a note says that there are no washes on it."
        )
    if plan.kind in ("ink", "pencil"):
        return "you said that there are no washes on it, so it is a shadow; it could not be evened any further."
    return "a shadow, or a grey wash; it was left."


_SHADE_SHOWS = 2.0  # percent of the sheet


def _colour(plan: CorrectionPlan) -> list[str]:
    said = []
    if plan.chart is not None:
        shot = plan.told_by.chart
        where = f"was photographed in the same light ({shot})" if shot else "lies beside the work"
        said.append(
            f"A colour chart {where}: colours, and the exposure where it is known, follow it "
            f"(its patches come out {plan.chart.delta_e:.1f} CIEDE2000 from their published values"
            f"{_unseen(plan.chart.left_out_delta_e)})."
        )
    if isinstance(plan.neutral, Declined):
        said.append(f"Colour: {plan.neutral.reason}.")
    elif plan.neutral.source == "paper":
        tinted = max(plan.neutral.gain) / min(plan.neutral.gain) > 1.03
        said.append(
            "The bare paper was tinted; it is neutral now, and all colours moved with it."
            if tinted
            else "The bare paper was neutral within 3 %; what was left is taken out."
        )
    elif plan.neutral.source == "grey reference" and plan.chart is None:
        rest = "the exposure is as shot" if plan.paper in ("none", "toned") else "the paper keeps its own tint"
        said.append(f"The colour of the light was taken from {plan.told_by.colour}; {rest}.")
    if plan.paper_guessed and _is_whitened(plan):  # else nothing was done by that guess
        said.append(
            "The paper was taken for white; that is a guess, for a grey sheet would look the same. "
            "A line “paper: toned” in a note keeps it as it is."
        )
    if plan.paper_guessed and plan.paper == "toned":
        said.append(
            "The paper was taken for toned; that is a guess, for a white sheet in dim or warm light may look the same. "
            "A line “paper: white” in a note makes it white."
        )
    if plan.contrast > 0:
        said.append(f"{plan.contrast * 100:.0f} % of contrast in the middle tones, which cameras add, was taken back.")
    if plan.paper in ("none", "toned") and plan.tone.gain != 1:
        stops = math.log2(plan.tone.gain)
        said.append(f"You asked for {abs(stops):.1f} stops {'lighter' if stops > 0 else 'darker'}.")
    elif plan.tone.gain > 1.02:
        to = "clean white" if _is_whitened(plan) else "the lightness of paper; its tint stays"
        said.append(f"The paper came out grey; it was lifted {math.log2(plan.tone.gain):.1f} stops to {to}.")
    return said


def _is_whitened(plan: CorrectionPlan) -> bool:
    """Whether the paper was taken for neutral."""
    return not isinstance(plan.neutral, Declined) and plan.neutral.source == "paper"


def _unseen(left_out: float | None) -> str:
    return "" if left_out is None else f", patches that the fit has not seen {left_out:.1f}"


def _damage(measures: dict[str, float]) -> list[str]:
    if measures.get("glare_percent", 0) > GLARE_HOLDS_PERCENT:
        return [f"Glare hides {measures['glare_percent']:.1f} % of the work; nothing was invented there."]
    return []
