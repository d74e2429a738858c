"""What the command line says about runs, photos, settings and destinations, in plain words."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

from autoprep.domain import JobRecord, WorkFacts
from autoprep.imaging.units import MM_PER_INCH
from autoprep.ledger import HELD_BACK
from autoprep.logs import argument, plain
from autoprep.rendering.mark_shape import NOTHING, shape_of
from autoprep.told.explanations import about_words, not_given_out
from autoprep.told.standing import by_reason, for_whom
from autoprep.wishes.destinations import Preset
from autoprep.wishes.fonts import fonts_for
from autoprep.wishes.places import font_path
from autoprep.wishes.tables import Artist, Settings

_ACTS = {"told": "with other words or another name"}


def print_summary(
    settings: Settings,
    records: list[JobRecord],
    acts: Mapping[str, int] | None = None,
    later: Mapping[str, str] | None = None,
    away: str = "",
) -> None:
    """What a run has made, and what it asks.

    acts: how many photos something else was done for, by what it was; later: those that are tried again after a pause;
    away: why nothing could come in.
    """
    counts = {
        outcome: sum(r.outcome == outcome for r in records) for outcome in dict.fromkeys(r.outcome for r in records)
    }
    done = [f"{count} {outcome}" for outcome, count in counts.items()]
    done += [f"{count} {_ACTS.get(act, act)}" for act, count in (acts or {}).items()]
    done += [f"{len(later)} to be tried again"] if later else []
    print("Done: " + (", ".join(done) or ("nothing" if away else "nothing was waiting")) + ".")
    if away:
        print(f"Nothing came in: {plain(away)}")
    for record in records:
        if record.outcome in ("needs a look", "alternate", "reference", "set aside", "duplicate", "several works"):
            print(f"  {plain(record.photo)}: {record.outcome}. {plain(record.reasons[0])}")
        for reason, names in by_reason(not_given_out(record)).items():
            print(f"  {plain(record.photo)}: {', '.join(names)} {_lacking(record, names)}: {plain(reason)}")
        unclear = about_words(record)
        if unclear:
            first, *more = unclear
            rest = f" (and {len(more)} more; `autoprep show` says them)" if more else ""
            print(f"  {plain(record.photo)}: about your words: {plain(first)}{rest}")
    for line in tried_later(later or {}):
        print(f"  {line}")
    if counts.get("ready"):
        print(f"Finished pictures, one folder per destination:  {settings.folders.ready}")
    if counts.get("needs a look"):
        print(f"Questions, with pictures to choose from:         {settings.folders.needs_a_look}")
    print(f"Proof page, open it in a browser:                {settings.folders.records / 'proof' / 'index.html'}")


def tried_later(later: Mapping[str, str]) -> list[str]:
    """A line for each reason for which photos are tried again after a pause, and how not to wait for one of them."""
    return [
        f"{for_whom(photos)}: {plain(why)}; {'it is' if len(photos) == 1 else 'they are'} tried again by `watch`, or a "
        f"later `once`; `autoprep retry {argument(photos[0]) if len(photos) == 1 else 'PHOTO'}` ends the pause"
        for why, photos in by_reason(later).items()
    ]


def _lacking(record: JobRecord, names: list[str]) -> str:
    """What became of these destinations: of some, the file of before is given out yet."""
    return "not made anew" if {*names} <= {out.destination for out in record.outputs} else "not given out"


_ADDRESS = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
_SITE = re.compile(r"(https?://)?[^\s/.]+(\.[^\s/.]+)+(/\S*)?")


def _addresses(artist: Artist) -> list[str]:
    """What is said of addresses that can be none; no mistake that stops a studio: they passed in earlier versions."""
    said = [
        f"artist.{key} goes into every file, and {given!r} can't be {what}"
        for key, given, form, what in (
            ("email", artist.email, _ADDRESS, "a mail address"),
            ("website", artist.website, _SITE, "the address of a site"),
        )
        if given and not form.fullmatch(given)
    ]
    if _SITE.fullmatch(artist.website) and "://" not in artist.website:
        said.append("artist.website has no https:// before it, so programs that read it in a file make no link of it")
    return said


def warnings_of(settings: Settings) -> list[str]:
    """What is valid and yet worth a second look."""
    notes = []
    if not settings.artist.name:
        notes.append("artist.name is empty, so files carry no rights and no visible mark")
    notes += _addresses(settings.artist)
    text = settings.mark.text.format(artist=settings.artist.name, year="2026")
    absent = fonts_for(text, font_path(settings))[1]
    if absent:
        notes.append(f"no font on this machine holds {absent}, so there is no mark; name one that does in mark.font")
    notes += mark_notes(settings)
    notes += [
        f"{name}: its folder {place} is a link, so its pictures lie in {place.resolve()}"
        for name, place in ((name, settings.folders.ready / name) for name in settings.destinations)
        if place.is_symlink()
    ]
    # No mistake that stops a studio: it was valid in earlier versions, and did nothing.
    notes += [
        f'{name}: fit = "fill" does nothing here, for there is no shape to fill; that is a width and a height'
        for name, preset in settings.destinations.items()
        if preset.fit == "fill" and (preset.long_side_px or preset.short_side_px or preset.full_size)
    ]
    today = datetime.now(UTC).date() + timedelta(days=1)  # wherever on earth it was written
    notes += [
        f"{name}: checked = {preset.checked} is still to come"
        for name, preset in settings.destinations.items()
        if preset.checked is not None and preset.checked > today
    ]
    return notes


_SLAB = 0.95  # share of a shape's box that is ink: more is a plain rectangle
_ENLARGED = 1.5  # a picture that is drawn so many times as large as it is looks blurred


def mark_notes(settings: Settings) -> list[str]:
    """What keeps the mark's picture from making a mark that can be seen for what it is."""
    marked = [preset for preset in settings.destinations.values() if preset.mark]
    if not settings.mark.picture or not marked:
        return []
    name, shape = Path(settings.mark.picture).name, shape_of(settings.studio / settings.mark.picture)
    if shape.problem:
        return [f"{shape.problem}; what would carry it waits until it is mended, and all else is made"]
    if shape == NOTHING:
        return [f"mark.picture, {name}, shows nothing: it is clear, or of one tone, all over; so there is no mark"]
    notes, (wide, high) = [], shape.size_px
    if shape.share > _SLAB:
        notes.append(f"mark.picture, {name}, is a plain block: no part of it is clear, so the mark is a rectangle")
    asked = round(settings.mark.height_percent / 100 * max(_shorter_px(preset) for preset in marked))
    if high and asked > _ENLARGED * high:
        small = f"the ink of mark.picture, {name}, is {wide} x {high} pixels, and is drawn {asked} high in the largest"
        notes.append(f"{small} destination, so it is blurred there; give it one of more pixels")
    return notes


_USUAL_RATIO = 1.4  # of long to short side, where a destination tells one alone


def _shorter_px(preset: Preset) -> float:
    """The shorter side of a destination's pictures, about; 0 where each work has its own."""
    mm = preset.size_mm()
    if mm is not None:
        return min(mm) * (preset.ppi or 0) / MM_PER_INCH
    if preset.width_px and preset.height_px:
        return min(preset.width_px, preset.height_px)
    return float(preset.short_side_px or (preset.long_side_px or 0) / _USUAL_RATIO)


def preset_words(preset: Preset) -> str:
    """A destination in one line."""
    if preset.full_size:
        size = "full size"
    elif preset.long_side_px or preset.short_side_px:
        size = f"{'long' if preset.long_side_px else 'short'} side {preset.long_side_px or preset.short_side_px} px"
    elif preset.width_mm or preset.width_in:
        bleed = f" + {preset.bleed_mm:g} mm bleed" if preset.bleed_mm else ""
        unit = "mm" if preset.width_mm else "in"
        sides = (getattr(preset, f"width_{unit}"), getattr(preset, f"height_{unit}"))
        size = f"{sides[0]:g} x {sides[1]:g} {unit}{bleed} at {preset.ppi:g} ppi"
    else:  # in pixels, or of the work itself
        size = f"{preset.width_px} x {preset.height_px} px"
    if preset.size is not None:
        size = f"the work's own size at {preset.ppi:g} ppi"
    free = preset.full_size or preset.size or preset.long_side_px or preset.short_side_px
    fit = ", on its desk" if preset.framing == "scene" else "" if free else f", {preset.fit}"
    mark = "mark" if preset.mark else "no mark"
    colour = Path(preset.profile).name if preset.profile else preset.colour
    when = " (when asked)" if preset.when == "asked" else ""
    return f"{size}{fit}, {preset.format} {preset.bits} bit, {colour}, {mark}, rights {preset.rights}{when}"


def _said_of(work: WorkFacts) -> str:
    """What is said of a work in captions and lists, in one line; empty where nothing is."""
    height, width = work.sides()
    size = f"{height} x {width} {work.unit}" if height else ""
    said = {"title": work.title, "year": work.year, "medium": work.medium, "size": size, "price": work.price}
    return "; ".join(f"{name} {value}" for name, value in said.items() if value)


def print_record(record: JobRecord, studio: Path | None = None) -> None:
    """One photo's story; studio: where its finished files are looked for."""
    print(f"{plain(record.photo)}  ({record.job})")
    outcome = HELD_BACK if record.outcome == "ready" and record.held and not record.outputs else record.outcome
    print(f"  {outcome}" + (f", {record.kind}" if record.kind else ""))
    said = _said_of(record.work)
    if said:
        print(f"  said of it: {plain(said)}")
    for reason in record.reasons:
        print(f"  - {plain(reason)}")
    for reason, names in by_reason(not_given_out(record)).items():
        print(f"  {_lacking(record, names)}: {', '.join(names)}: {plain(reason)}")
    for line in about_words(record):
        print(f"  about your words: {plain(line)}")
    for line in record.advice:
        print(f"  next time: {plain(line)}")
    if record.outline is not None:
        print(f"  outline confidence {record.outline.confidence:.0%}")
    for out in record.outputs:
        gone = "" if studio is None or (studio / out.path).exists() else "  (picked up)"
        size = f"{out.width_px} x {out.height_px} px, {out.bytes / 1e6:.2f} MB"
        print(f"  {out.destination:<12} {size}  {plain(out.path)}{gone}")
        for note in out.notes:
            print(f"  {'':<12} {plain(note)}")
    total = sum(record.seconds.values())
    if record.seconds:
        print(
            f"  took {total:.1f} s: " + ", ".join(f"{stage} {seconds:.2f}" for stage, seconds in record.seconds.items())
        )
