"""What a job says to the artist of a photo, of its question, and of why a destination has no file of it."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import PurePosixPath

from autoprep.domain import JobRecord, Reason, Why, WorkFacts, kind_of

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
