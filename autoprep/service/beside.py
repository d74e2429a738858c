"""Several takes of one work: what is said beside one of them, and what of that holds for the others."""

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from autoprep.domain import WorkFacts
from autoprep.told.explanations import NO_DESTINATION

# What is said of the work and not of the photo: said beside one take, it holds for the others too.
OF_THE_WORK = (
    "title", "year", "medium", "inventory", "price", "description", "alt_text", "keywords", "destinations", "also",
    "not_for", "order", "hold",
)  # fmt: skip


# Said beside a copy of a photo it is not heard, but told.
OWN_WORDS = {
    "title": "title", "year": "year", "medium": "medium", "size_mm": "size", "inventory": "inventory number",
    "price": "price", "description": "description", "alt_text": "alternative text", "keywords": "keywords",
}  # fmt: skip


def of_the_work(own: WorkFacts, others: Sequence[WorkFacts]) -> WorkFacts:
    """What is said beside one take, and where that leaves something open what is said beside the first other one.

    A take that is said not to be held is not held by the word of another.
    """
    said: dict[str, Any] = {}
    for name in OF_THE_WORK:
        if not getattr(own, name) and not (name == "hold" and own.released):
            found = next((getattr(one, name) for one in others if getattr(one, name)), None)
            said |= {} if found is None else {name: found}
    return own.model_copy(update={**said, "shared": (*own.shared, *said)}) if said else own


def yielding(away: WorkFacts, here: Sequence[WorkFacts]) -> WorkFacts:
    """What is said of a take whose photo is away, under what is said beside takes whose photos are there.

    Nobody can see or change any more what was said beside the first; said to be held or released, these hold first.
    """
    said: dict[str, Any] = {}
    for name in OF_THE_WORK:
        found = next((getattr(one, name) for one in here if getattr(one, name)), None)
        if name == "hold" and found is None and any(one.released for one in here):
            found = False
        if found is not None and found != getattr(away, name):
            said[name] = found
    return away.model_copy(update={**said, "shared": (*away.shared, *said)}) if said else away


_SAID_BESIDE = " (said beside "
_LONGEST_TOLD = 60  # letters of a word that is repeated to the artist


def with_complaints(own: WorkFacts, others: Iterable[tuple[str, WorkFacts]]) -> WorkFacts:
    """The same with what can't be used of what is said beside other takes: it is answered at each.

    others: what the photo of each is called, and what is said beside it.

    Who looks at the take that is used would not know else why a word has no effect.
    """
    theirs = (
        f"{line}{_SAID_BESIDE}{shown})"
        for shown, said in others for line in said.unclear
        if line not in own.unclear and _SAID_BESIDE not in line
    )  # fmt: skip
    unclear = tuple(dict.fromkeys((*own.unclear, *theirs)))
    return own if unclear == own.unclear else own.model_copy(update={"unclear": unclear})


def with_copies(own: WorkFacts, copies: Mapping[str, WorkFacts]) -> WorkFacts:
    """The same with what the places of a photo's copies say: "copy to" is as near on a phone as "move to".

    One that lies on hold holds the work, unless it is said in so many words that it is not held; one that is sent
    somewhere sends it there besides; where one is not for, the work does not go. Of all else that is said of a copy
    alone it is told that it is not heard.
    """
    if not copies:
        return own
    hold = own.hold or (any(copy.hold for copy in copies.values()) and not own.released)
    sent = dict.fromkeys((*own.also, *(name for copy in copies.values() for name in copy.also)))
    also = tuple(name for name in sent if name in own.also or name not in own.destinations)
    never = tuple(dict.fromkeys((*own.not_for, *(name for copy in copies.values() for name in copy.not_for))))
    told = [(shown, _with_unheard(own, copy)) for shown, copy in copies.items()]
    return with_complaints(own.model_copy(update={"hold": hold, "also": also, "not_for": never}), told)


def _with_unheard(own: WorkFacts, copy: WorkFacts) -> WorkFacts:
    names = [name for name in OWN_WORDS if getattr(copy, name) and getattr(copy, name) != getattr(own, name)]
    if not names:
        return copy
    told = ", ".join(OWN_WORDS[name] + (f" “{text}”" if (text := _text(copy, name)) else "") for name in names)
    line = f"this is a copy of the same photo, and its words are not heard; say it beside the photo itself: {told}"
    return copy.model_copy(update={"unclear": (*copy.unclear, line)})


def _text(said: WorkFacts, name: str) -> str:
    value = getattr(said, name)
    return value if isinstance(value, str) and len(value) <= _LONGEST_TOLD else ""


def own_words(said: WorkFacts) -> WorkFacts:
    """The same without what was said beside other takes."""
    plain = WorkFacts()
    unclear = tuple(line for line in said.unclear if _SAID_BESIDE not in line)
    update = {"unclear": unclear, **{name: getattr(plain, name) for name in said.shared}}
    return said.model_copy(update={"shared": (), **update})


def sent_besides(said: WorkFacts, usual: Iterable[str]) -> tuple[str, ...]:
    """Where a take goes that is given out besides the best one: not to where only words beside that one send it."""
    usual = tuple(usual)
    own = own_words(said).goes_to(usual)
    return tuple(name for name in said.goes_to(usual) if name in usual or name in own)


def still_sent(said: WorkFacts, gone: str) -> bool:
    """Whether a work goes where there is no destination any more: nothing is said of where it goes, or that name is."""
    told = (line.removeprefix(NO_DESTINATION).partition(";")[0] for line in said.unclear if NO_DESTINATION in line)
    return not said.destinations or any(letters(name) == letters(gone) for name in told)


def letters(name: str) -> str:
    """A destination's name as it is compared: "Open Call" is open-call."""
    return re.sub(r"[\W_]+", "", name.casefold())


def said_elsewhere(said: WorkFacts) -> WorkFacts:
    """Of what is said of a take, the words beside other takes alone."""
    return WorkFacts(**{name: getattr(said, name) for name in said.shared})
