"""The one rule: what should lie in ready/ follows from what is known; the difference to what does is a list of steps.

Pure: plain values in, plain values out. Every step can be taken again, and ends in one transaction.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath
from typing import Any

from autoprep.domain import Outline, Reason, WorkFacts
from autoprep.ledger import Rendition, View
from autoprep.service.beside import sent_besides, still_sent
from autoprep.service.steps import GiveUp, Measure, Render, Restore, Step, TakeApart, Tell, Withdraw
from autoprep.told.explanations import (
    AWAY,
    HOLD,
    MADE_LATER,
    NO_PLAN,
    NO_TABLE,
    NOT_SENT,
    OTHER_TAKE,
    REPLACED,
    SAID_NO_WORK,
)
from autoprep.wishes.blind import names_artist

# What the plan depends on, of all that is said; and what a file may depend on besides its plan.
MEASURED_BY = (
    "kind", "paper", "keep_paper", "lighter", "size_mm", "grey_card", "reference", "turn", "outline", "corners_px",
    "not_a_work", "as_shot",
)  # fmt: skip
TOLD = (
    "title", "year", "medium", "size_mm", "unit", "inventory", "description", "alt_text", "keywords", "photo", "hold",
    "names the artist", "order",
)  # fmt: skip
# What is said of a photo of several works and not of these.
_OF_THE_PHOTO = ("outline", "corners_px", "not_a_work", "reference")
_LABELS = {
    "photo": "name of the photo", "size_mm": "size", "alt_text": "alternative text", "keywords": "set of keywords",
    "hold": "word on holding it", "keep_paper": "paper", "grey_card": "grey card", "corners_px": "corners",
    "not_a_work": "not a work", "as_shot": "as shot", "names the artist": "text that names the artist",
}  # fmt: skip
SAME_WORDS = "the same words stand elsewhere"
"""Why a record is written anew that says nothing else then: a list of all works was put into the inbox, say."""
# A later take replaces an earlier one only where it is clearly better (natural log of detail, see takes).
CLEARLY_BETTER = 0.02


@dataclass(frozen=True)
class Known:
    """One photo of a work with all that is known of it now.

    said: what is said of the work; present: the photo's bytes lie in the inbox; made: what is on record of each
    destination; redo: destinations that were asked for again; answer: the outline that the artist has chosen since;
    artist: what tells whose works these are, the name first; lost: it is a question that lies nowhere any more;
    refused: of its choices none is right; misplaced: destinations in which the number that the artist gave the work is
    free, and its file has another;
    each: the works of which the artist has said that each is one by itself; apart: it is a photo, or one of several
    works in a photo that is still taken to show it; mended: destinations that could not be made, and of which the
    settings are others since; no_work: it is a question, and the artist has answered that it shows no work; afresh: it
    is to be measured again; coming: it is away, and what lies in its place and is not read yet may be it; replaced: it
    is a question, lies nowhere any more, and another photo lies in its place.
    """

    view: View
    said: WorkFacts
    present: bool = True
    made: Mapping[str, Rendition] = field(default_factory=dict)
    redo: frozenset[str] = frozenset()
    answer: Outline | None = None
    artist: tuple[str, ...] = ("",)
    lost: bool = False
    refused: bool = False
    misplaced: frozenset[str] = frozenset()
    each: tuple[Outline, ...] = ()
    apart: bool = True
    mended: frozenset[str] = frozenset()
    no_work: bool = False
    afresh: bool = False
    coming: bool = False
    replaced: bool = False


def is_better(newer: float, earlier: float) -> bool:
    """Whether a later take is used in an earlier one's stead, by their merits: only where it is clearly better."""
    return newer > earlier + CLEARLY_BETTER


def used(views: Iterable[View]) -> str:
    """The job of the take that is used: the best one, the earlier where they are alike; empty where there is none.

    Never one that was edited in its place: what it showed is what the artist has changed.
    """
    best: View | None = None
    for view in sorted(views, key=lambda view: view.number):
        if not view.plan or view.outcome not in ("ready", "alternate") or view.gone:
            continue
        if best is None or is_better(view.merit or 0.0, best.merit or 0.0):
            best = view
    return "" if best is None else best.job


def used_of(work: Iterable[Known], destinations: Sequence[str]) -> str:
    """The same as it is known now: where the best one is away, and would have to be made anew, one that is there."""
    work = list(work)
    best = used(known.view for known in work)
    found = next((known for known in work if known.view.job == best), None)
    if found is None or found.present or not found.made:  # of which there never was a file is waited for
        return best
    asked = replace(found, redo=frozenset())
    behind = any(_stale(asked, name) for name in wanted(asked, best, destinations))
    return (used(known.view for known in work if known.present) or best) if behind else best


def is_shown(known: Known, best: str) -> bool:
    """Whether this take of the work is given out: the used one, and any that the artist asked for."""
    return known.view.job == best or ((known.view.chosen or bool(known.redo)) and not known.view.gone)


def wanted(known: Known, best: str, destinations: Sequence[str]) -> tuple[str, ...]:
    """The destinations that should have a file of this photo, in the order of the settings.

    A take that the artist asked for besides the best one does not follow that to where only some works are sent: a
    call would have the work twice.
    """
    if not is_shown(known, best):
        return ()
    sent = _sent(known, destinations)
    if known.view.job == best:
        return sent
    asked = {*known.redo, *(name for name, made in known.made.items() if made.asked)}
    follows = {*asked, *sent_besides(known.said, known.view.usual)}
    return tuple(name for name in sent if name in follows)


def _sent(known: Known, destinations: Sequence[str]) -> tuple[str, ...]:
    """The destinations that would have a file of this photo if it were the take that is used."""
    view = known.view
    if not view.plan or view.outcome not in ("ready", "alternate") or known.said.hold:
        return ()
    asked = {name for name, made in known.made.items() if made.asked}
    sent = {*known.said.goes_to(view.usual), *asked, *known.redo}.difference(known.said.not_for)
    return tuple(name for name in destinations if name in sent)


def why_not(known: Known, best: str) -> Reason:
    """Why a destination has no file of this photo."""
    if not known.view.plan:
        return NO_PLAN
    if known.said.hold:
        return HOLD
    return NOT_SENT if is_shown(known, best) else OTHER_TAKE


def untrue(known: Known, best: str, destinations: Sequence[str]) -> dict[str, Reason]:
    """Destinations without a file for a reason that holds no longer, each with the one that holds now."""
    if not known.view.plan or known.view.outcome not in ("ready", "alternate"):
        return {}
    goal, now = wanted(known, best, destinations), why_not(known, best)
    over = {NO_PLAN.kind, AWAY.kind, *([] if known.said.hold else [HOLD.kind])}
    over |= {OTHER_TAKE.kind} if now != OTHER_TAKE else set()
    found = {}
    for name, made in known.made.items():
        if made.state == "in place" or made.why not in over:
            continue
        if name in goal:  # what can be made is made, and says then how it stands
            if made.why != AWAY.kind and not known.present and _stale(known, name):
                found[name] = AWAY
        elif name in destinations:
            found[name] = now
        elif not _is_as_before(known, made):  # that comes back
            found[name] = NO_TABLE
    return found


def steps(work: Sequence[Known], destinations: Sequence[str]) -> list[Step]:
    """What is to be done for all photos of one work; destinations: those of the settings, in their order.

    Files leave before others come back, so that names are free for these.
    """
    best = used_of(work, destinations)
    found: list[Step] = []
    for known in sorted(work, key=lambda known: known.view.number):
        found += _steps(known, best, destinations, staying(known, work, destinations))
    return sorted(found, key=lambda step: not isinstance(step, Withdraw))


def staying(known: Known, work: Iterable[Known], destinations: Sequence[str]) -> frozenset[str]:
    """Where the files of a take that is no longer the best stay in place: until those of the better take are there.

    They stay too where these can't be made yet: its photo is away, a folder closed, or the mark's picture damaged.
    """
    work = list(work)
    best = used_of(work, destinations)
    better = next((take for take in work if take.view.job == best), None)
    if better is None or is_shown(known, best):
        return frozenset()
    coming = [name for name in wanted(better, best, destinations) if _stale(better, name) or _comes_later(better, name)]
    return frozenset(name for name in coming if name in _sent(known, destinations))


def _comes_later(known: Known, name: str) -> bool:
    """Whether there is no file because of the mark's picture, or a closed folder: it is made when that is mended."""
    made = known.made.get(name)
    return made is not None and made.state == "failed" and made.why in MADE_LATER


def _steps(known: Known, best: str, destinations: Sequence[str], stay: frozenset[str]) -> list[Step]:
    view = known.view
    if view.state == "running":
        return []
    if not known.apart or known.no_work or known.replaced:
        return _given_up(known)
    if view.state == "queued":
        return [Measure(view.job, "it is new")]
    goal = wanted(known, best, destinations)
    found = _without(known, best, (*goal, *stay), destinations)
    if known.each:
        return [*found, TakeApart(view.job, "you chose each by itself", known.each)]
    anew = _measured_anew(known)
    if anew is not None and known.present:
        return [*found, anew]
    unheld = sorted(_of_gone_tables(known, destinations)) if goal else []
    back = (*(name for name in goal if _comes_back(known, name)), *unheld)
    stale = {name: reason for name in goal if (reason := _stale(known, name))}
    if back:
        found.append(Restore(view.job, "it is wanted again", back))
    if stale and known.present:
        found.append(Render(view.job, next(iter(stale.values())), tuple(stale)))
    elif (known.redo or known.afresh) and not known.coming:
        found.append(Tell(view.job, _no_redo(known)))
    elif not found and not stay and (_untold(known, best) or untrue(known, best, destinations)):
        # Any other step tells too.
        found.append(Tell(view.job, _told_for(known, best, destinations)))
    return found


def _given_up(known: Known) -> list[Step]:
    """What is to be done for what is no work, or none any more."""
    view = known.view
    if known.no_work:
        return [GiveUp(view.job, "you said that it shows no work", SAID_NO_WORK)]
    if known.replaced and known.apart:
        return [GiveUp(view.job, "another photo has its place", REPLACED, "replaced")]
    gone = view.state == "done" and view.outcome == "no work seen"
    return [] if gone else [GiveUp(view.job, "its photo is no longer taken to show several works")]


def _no_redo(known: Known) -> str:
    """Why what was asked for again can't be made: it is settled by saying so."""
    if not known.view.plan:
        return "it has no finished pictures"
    if known.said.hold:
        return HOLD
    if known.redo and known.redo.issubset(known.said.not_for):
        return "you said that it is not for this destination"
    away = known.afresh or not known.present
    return "the photo is no longer in the inbox" if away else "there is no such destination"


def _without(known: Known, best: str, goal: Sequence[str], destinations: Sequence[str]) -> list[Step]:
    """Files that should not be there. Those of a table that went away stay, unless the work goes elsewhere alone."""
    lies = [name for name, made in known.made.items() if made.state == "in place"]
    taken_back = known.said.hold or not known.view.plan
    others = sorted(n for n in lies if n not in destinations and (taken_back or not _sent_to_gone(known, n)))
    gone = tuple(name for name in (*destinations, *others) if name in lies and name not in goal)
    return [Withdraw(known.view.job, why_not(known, best), gone)] if gone else []


def _measured_anew(known: Known) -> Measure | None:
    view, said = known.view, known.said
    if known.answer is not None:
        return Measure(view.job, "you chose the outline", known.answer)
    if view.outcome in (None, "set aside", "duplicate"):
        return None
    if view.outcome == "replaced":
        return Measure(view.job, "it is back")
    if known.refused or known.lost:
        why = "none of the choices is right" if known.refused else "the folder of its question is gone"
        return Measure(view.job, why, refused=known.refused)
    why = "you asked for that" if known.afresh else _heard_since(view, said)
    return Measure(view.job, why) if why else None


def _heard_since(view: View, said: WorkFacts) -> str:
    """What has been heard of a photo since it was measured that it should be measured anew for; empty for nothing."""
    of_it = _OF_THE_PHOTO if view.outcome == "several works" else MEASURED_BY
    changed = [name for name in of_it if getattr(said, name) != getattr(view.said, name)]
    if changed:
        return f"you said: {_LABELS.get(changed[0], changed[0])}"
    if view.light and view.outcome in ("ready", "alternate"):
        return f"{view.light} tells its light"
    # Who is asked what the photo shows, or where its work ends, need not be asked whether it shows one.
    unsure = view.outcome == "no work seen" or (view.outcome == "needs a look" and not view.said.says_work)
    if unsure and said.says_work and not said.not_a_work:
        return "you said that it shows a work"
    return ""


def _of_gone_tables(known: Known, destinations: Sequence[str]) -> list[str]:
    return [name for name, made in known.made.items() if name not in destinations and _is_as_before(known, made)]


def _is_as_before(known: Known, made: Rendition) -> bool:  # what nothing is new of comes back
    name, left = made.destination, made.why == HOLD.kind or made.reason == NOT_SENT
    return left and made.state == "withdrawn" and not _stale(known, name) and _sent_to_gone(known, name)


def _sent_to_gone(known: Known, name: str) -> bool:
    return known.made[name].asked or still_sent(known.said, name)


def _comes_back(known: Known, name: str) -> bool:
    made = known.made.get(name)
    return made is not None and made.state == "withdrawn" and not _stale(known, name)


def _stale(known: Known, name: str) -> str:
    """Why a destination's file must be made (again); empty where it need not."""
    made = known.made.get(name)
    if name in known.redo:
        return "you asked for it"
    if made is None:
        return "there is none yet"
    if made.plan != known.view.plan:
        return "the photo was measured anew"
    if name in known.mended:
        return "it could not be made, and what it failed by is mended or changed"
    if name in known.misplaced:
        return "the number that you gave it is free now"
    changed = [word for word, was in made.told.items() if word in TOLD and told_now(known, word) != was]
    return f"there is another {_LABELS.get(changed[0], changed[0])} now" if changed else ""


def told_now(known: Known, word: str) -> Any:
    """What is said now under one of the names of TOLD, as JSON has it."""
    return told_of(known.said, known.view.shown, known.artist, word)


def told_of(said: WorkFacts, shown: str, artist: Sequence[str], word: str) -> Any:
    """What reaches a file under one of the names of TOLD, as JSON has it."""
    if word == "photo":
        return PurePosixPath(shown).stem
    if word == "names the artist":
        return names_artist(said, *artist)
    value = getattr(said, word)
    return list(value) if isinstance(value, tuple) else value


def _untold(known: Known, best: str) -> bool:
    view, outcome = known.view, known.view.outcome
    if outcome in (None, "duplicate", "set aside"):
        return view.unwritten
    if outcome in ("ready", "alternate"):
        outcome = "ready" if is_shown(known, best) else "alternate"
    return view.unwritten or outcome != view.outcome or words_only(known) != view.said


def _told_for(known: Known, best: str, destinations: Sequence[str]) -> str:
    """What a record is written anew for: it also keeps where words stand, which nobody reads."""
    was = known.view.said
    as_before = known.said.model_copy(update={"noted": was.noted, "shared": was.shared})
    said_as_before = replace(known, said=as_before)
    other = _untold(said_as_before, best) or untrue(said_as_before, best, destinations)
    return "other words, or another name" if other else SAME_WORDS


def words_only(known: Known) -> WorkFacts:
    """What is said now, but for what the plan depends on: that is as it was measured."""
    kept = {name: getattr(known.view.said, name) for name in MEASURED_BY}
    return known.said.model_copy(update=kept)
