"""What a job says to the artist: what was done and why, and what would make the next photo better."""

import math
from collections.abc import Sequence
from datetime import datetime
from pathlib import PurePosixPath

from autoprep.domain import (
    Corner,
    CorrectionPlan,
    Declined,
    Geometry,
    JobRecord,
    PhotoFacts,
    Reason,
    Why,
    WorkFacts,
    is_round,
    kind_of,
    torn_sides,
)
from autoprep.wishes.destinations import GLARE_HOLDS_PERCENT

_LEAST_BEND_TOLD = 0.2  # percent of the longer side: half a millimetre on A4

NO_WORK = (
    "No work is seen in this photo, so nothing was made and nothing is asked. If it shows one, move it into a folder "
    "such as “as painting”."
)

SCREENSHOT = (
    "It is a screenshot, as it says itself or by its name and its flat areas, so nothing was made and nothing is "
    "asked. If it shows a work, move it into a folder such as “as painting”."
)
FILLED = (
    "One picture fills this photo from border to border, with little bare paper: is it a work, or a view, people or "
    "things? A folder such as “as painting”, or a note with its medium or price, says so too; and beforehand "
    '[inbox] holds = "works".'
)
NO_PHOTO = "it is no photo (JPEG, HEIC, PNG, TIFF, WebP, AVIF or camera RAW), so it is left alone"

ONE_OF_SEVERAL = "It is one of several works in its photo, of which you chose each by itself."
SAID_NO_WORK = (
    "You said that this photo shows no work, so it is left alone. If it shows one after all, move it into a folder "
    "such as “as painting”."
)
MOVED_AWAY = "it lies there no more: it was moved, or is gone"
REPLACED = (
    "It was edited, or another photo has its place now, before its question was answered; so nothing was made of it. "
    "Put back into the inbox, it is asked about again."
)
NO_LONGER_APART = (
    "Its photo is no longer taken to show several works; this one was given up, and its pictures withdrawn."
)


def several_works(names: Sequence[str]) -> str:
    """What is said of a photo of which each work is finished by itself; names: what these are called."""
    listed = ", ".join(PurePosixPath(name).stem for name in names)
    return f"You chose each by itself: {len(names)} works are made of this photo, {listed}."


def damaged(suspicion: str) -> str:
    """Why a picture that may be damaged is asked about."""
    said = f"{suspicion[0].upper()}{suspicion[1:]}"
    return f"{said}. If the pictures here are as they should be, choose; else copy the file again."


NO_FRAME = "no edge was seen inside the outline that would be the picture's own"
FRAME_UNCLEAR = "the edge of the picture inside its frame is not clear"


def asked(reason: str) -> str:
    """Why a question is asked that the finder alone would not have."""
    return f"Which outline is right? {reason[0].upper()}{reason[1:]}."


LIGHTER_PAPER = (
    "You asked for it lighter or darker, but white paper has its own level and gives the exposure, so nothing was "
    "changed for that; if the work stands on no white paper, say “paper: none” or “paper: toned”."
)
_SEEN = "by what shows of it on the work and around; “as shot” in a note leaves all as it came"
LIGHTER_AS_SHOT = "You asked for it lighter or darker, and as shot; as shot won, so nothing was changed."


def size_turned(height: str, width: str, unit: str) -> str:
    """That the work's outline agrees with its size the other way round."""
    return (
        f"The size that you give, {height} x {width} {unit} (height x width), goes with the outline the other way "
        f"round, {width} x {height} {unit}, and was taken so; captions, lists and files still say it as you do."
    )


def format_turned(height: str, width: str, unit: str) -> str:
    """That a paper format was taken across, and how to have it said so."""
    return (
        "A paper format has no direction, so it was taken as the work lies, across; captions and lists say it upright, "
        f"{height} x {width} {unit} (height x width): add “wide” to it, as in “A5 wide”, to have it across there too."
    )


def too_few_pixels(share: float, native: tuple[float, float]) -> Reason:
    """Why a destination waits for a larger photo; native: (width, height) of the work in photo pixels."""
    return Reason(
        f"the photo holds the work with {native[0]:.0f} x {native[1]:.0f} pixels, {share * 100:.0f} % of the size that "
        "this destination wants; it waits for a photo from closer, or of more pixels",
        "too few pixels",
    )


def glare_hides(percent: float) -> Reason:
    """Why a destination waits for a photo without glare."""
    return Reason(f"glare hides {percent:.1f} % of the work; this destination waits for a better photo", "glare")


def names_the_artist(where: str) -> Reason:
    """Why a blind destination waits; where: which of the words it is."""
    said = f"the {where} holds the artist's name, or an address, and this destination is blind; say it without"
    return Reason(said, "names the artist")


NO_DESTINATION = "no destination is called"
"""How the answer begins to a word that names no destination; a work that is sent there alone is held."""

# Why a destination has no file of a work.
HOLD = Reason("the photo is on hold (by its folder, a note or a word)", "on hold")
OTHER_TAKE = Reason("another take of the same work is used", "another take")
NO_SIZE = Reason(
    "the work's size is not known; say it, as in “size: 30 x 40 cm”, and it is printed at that size", "size not known"
)
CLOCK_AHEAD = (
    "the camera's clock was ahead: it says {}, and the photo came in before that; this date is written into no file, "
    "and the year is that in which it came in, unless a note says another"
)
FLAT = "the picture is one flat tone, so nothing is on it; copy the file again"
NO_PLAN = Reason("the photo was looked at again, and is no finished work now", "looked at again")
AWAY = Reason(
    "the photo is no longer in the inbox, and this picture must be made from it; put it back there, and it is made",
    "photo away",
)
NOT_SENT = Reason("the work is not sent here (any more)", "not sent")
NO_TABLE = Reason("there is no such destination any more", "not sent")


BY_MARK: Why = "mark"
"""Why a file could not be made, or made anew, for which the mark's picture or font could not be read."""


def mark_unreadable(problem: str) -> Reason:
    """Why a destination that carries the visible mark has no file, or still that of before."""
    return Reason(f"it could not be made: {problem}; it is made as soon as that is mended", BY_MARK)


BY_FOLDER: Why = "closed folder"
"""Why a file could not be made, or made anew, whose folder of ready/ could not be written to."""
MADE_LATER = (BY_MARK, BY_FOLDER)
"""The reasons by which the file of before stays, and a new one is made by itself as soon as they are over."""


def folder_closed(problem: str, room_mb: float = 0) -> Reason:
    """Why a destination has no file, or still that of before, though others of the photo were made; room_mb: how much
    is wanted where there is no room."""
    over = f"{max(room_mb, 1):.0f} MB are free there" if room_mb else "that folder can be written to"
    return Reason(f"it could not be made: {problem}; it is made as soon as {over}", BY_FOLDER)


BEFORE_STAYS = "; the one that was made before stays until then"
"""How such a reason ends where there is a file of before."""


def left_there(why: str) -> Reason:
    """The same reason of a file that the artist has changed: it is theirs, so it was not moved."""
    said = "you had changed the picture there, so it was left where it lies; take it out yourself"
    return Reason(f"{why}; {said}", kind_of(why))


OTHERS_THERE = "which is not as this studio made it, so it was left; take it out if it is this work"


def others_there(why: str, files: Sequence[str]) -> Reason:
    """The same reason where files that no record knows have the work's name there, or the artist's stayed; by name."""
    said = "; ".join(f"{file} lies there, {OTHERS_THERE}" for file in files)
    return Reason(f"{why}; {said}", kind_of(why))


def is_told_there(reason: str, file: str) -> bool:
    """Whether such a reason names a file."""
    return f"; {file} lies there, {OTHERS_THERE}" in reason


def sent_nowhere(said: WorkFacts) -> str:
    """What is answered where a work is held because it was sent to no destination that there is; else empty."""
    found = (line for line in said.unclear if line.startswith(NO_DESTINATION))
    return next(found, "") if said.hold and not said.destinations else ""


def not_given_out(record: JobRecord) -> dict[str, str]:
    """Destinations without a file, and why, as it follows from what is said of the work now."""
    nowhere = sent_nowhere(record.work)
    held = [name for name, kind in record.held_kinds.items() if kind == HOLD.kind and name in record.held]
    return {**record.not_given_out, **(dict.fromkeys(held, nowhere) if nowhere else {})}


def about_words(record: JobRecord) -> list[str]:
    """What was said and can't be used, but for what is told already of the destinations that have no file by it."""
    told = set(not_given_out(record).values())
    return [line for line in record.work.unclear if line not in told]


def not_used(said: WorkFacts) -> list[str]:
    """What is said of a work and can't be used, but for a destination that there is not: that holds the work."""
    nowhere = sent_nowhere(said)
    return [line for line in said.unclear if line != nowhere]


def ends_too_early(until: float) -> str:
    """What is said of a file that is not whole yet; until: as time.time has it."""
    return f"its end is missing; looked at again until {datetime.fromtimestamp(until):%H:%M}"


ABSENT = "its photo is not in the inbox; it is worked on when it is back"


def cant_be_read(problem: OSError) -> str:
    """What is said of a photo that lies there and can't be read."""
    return f"it can't be read ({problem.strerror or problem}); see that this computer's user may read it"


_IN_A_WORD: dict[Why, str] = {"size not known": "its size is not known", "names the artist": "it names the artist"}


def in_a_word(kind: Why, reason: str) -> str:
    """The shortest form of why a destination waits; the reason itself where it is of no kind that is known."""
    return _IN_A_WORD.get(kind, kind) or reason


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
