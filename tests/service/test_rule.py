"""The one rule, by plain values: what should be there, and the steps that follow."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from autoprep.domain import OutputRecord, WorkFacts
from autoprep.ledger import Rendition, View
from autoprep.service.rule import Known, steps, untrue, used, wanted, words_only
from autoprep.service.steps import Measure, Render, Restore, Step, Tell, Withdraw
from autoprep.told.explanations import AWAY

DESTINATIONS = ("square", "site", "print")


def view(number: int = 1, **more: Any) -> View:
    usual: dict[str, Any] = {
        "state": "done", "outcome": "ready", "work": "1", "usual": ("square", "site"), "merit": 1.0, "plan": "p",
    }  # fmt: skip
    return View(
        number=number, job=str(number), sha256=f"{number}", path=b"a.jpg", shown="a.jpg",
        attempts=0, interrupted=0, not_before=0.0, **{**usual, **more},
    )  # fmt: skip


def rendition(name: str, state: Any = "in place", **more: Any) -> Rendition:
    output = OutputRecord(destination=name, path=f"ready/{name}/a.jpg", width_px=1, height_px=1, bytes=1, sha256="x")
    return Rendition(name, state, Path(f"/ready/{name}/a.jpg"), **{"plan": "p", "output": output, **more})


def known(
    number: int = 1, said: WorkFacts | None = None, made: dict[str, Rendition] | None = None, **more: Any
) -> Known:
    of_known = {key: more.pop(key) for key in ("present", "redo", "answer") if key in more}
    all_made = {name: rendition(name) for name in ("square", "site")} if made is None else made
    return Known(view(number, **more), said or WorkFacts(), made=all_made, **of_known)


def follow(*photos: Known) -> list[Step]:
    return steps(photos, DESTINATIONS)


def test_nothing_follows_where_all_is_as_it_should_be() -> None:
    assert follow(known()) == []


def test_a_queued_photo_is_measured_and_a_running_one_left_alone() -> None:
    (step,) = follow(known(state="queued", outcome=None, plan=""))
    assert isinstance(step, Measure)
    assert step.outline is None
    assert follow(known(state="running", outcome=None, plan="")) == []


@pytest.mark.parametrize("outcome", ["needs a look", "reference", "no work seen", "set aside", "duplicate"])
def test_what_is_no_finished_work_has_no_files(outcome: str) -> None:
    photo = known(outcome=outcome, plan="", made={})
    assert wanted(photo, "1", DESTINATIONS) == ()
    assert follow(photo) == []


def test_usual_destinations_are_those_of_the_time_it_was_made() -> None:
    assert wanted(known(), "1", ("new", *DESTINATIONS)) == ("square", "site")
    assert wanted(known(said=WorkFacts(destinations=("print",))), "1", DESTINATIONS) == ("print",)
    assert wanted(known(made={"print": rendition("print", asked=True)}), "1", DESTINATIONS) == DESTINATIONS
    assert wanted(known(redo=frozenset({"print"})), "1", DESTINATIONS) == DESTINATIONS


def test_hold_withdraws_and_its_end_restores() -> None:
    (step,) = follow(known(said=WorkFacts(hold=True)))
    assert step == Withdraw("1", step.why, ("square", "site"))
    assert "on hold" in step.why
    gone = {name: rendition(name, "withdrawn") for name in ("square", "site")}
    (step,) = follow(known(made=gone))
    assert step == Restore("1", step.why, ("square", "site"))


def test_what_was_picked_up_stays_away() -> None:
    made = {"square": rendition("square", "picked up"), "site": rendition("site")}
    assert follow(known(made=made)) == []


@pytest.mark.parametrize(
    ("made", "why"),
    [
        ({}, "none yet"),
        ({"square": rendition("square", plan="old")}, "measured anew"),
        ({"square": rendition("square", told={"title": "Other"})}, "another title"),
        ({"square": rendition("square", told={"photo": "b"})}, "another name of the photo"),
        ({"square": rendition("square", "withdrawn", told={"title": "Other"})}, "another title"),
        ({"square": rendition("square", "held", told={"hold": True})}, "another word on holding it"),
    ],
)
def test_what_a_file_depends_on_makes_it_stale(made: dict[str, Rendition], why: str) -> None:
    (step,) = follow(known(made={**made, "site": rendition("site")}))
    assert isinstance(step, Render)
    assert step.destinations == ("square",)
    assert why in step.why
    assert not any(
        isinstance(s, Render) for s in follow(known(made={**made, "site": rendition("site")}, present=False))
    )


def test_words_of_other_tables_do_not_count() -> None:
    made = {"square": rendition("square", told={"price": "5"}), "site": rendition("site")}
    assert follow(known(made=made)) == []


def test_held_and_failed_are_not_tried_for_ever() -> None:
    made = {"square": rendition("square", "held"), "site": rendition("site", "failed")}
    assert follow(known(made=made)) == []


def test_a_destination_that_is_gone_keeps_its_file() -> None:
    made = {name: rendition(name) for name in ("square", "site", "gone")}
    assert follow(known(made=made)) == []
    elsewhere = follow(known(made=made, said=WorkFacts(destinations=("print",))))
    assert elsewhere[0].destinations == ("square", "site", "gone")  # type: ignore[attr-defined]
    named = WorkFacts(destinations=("print",), unclear=("no destination is called Gone; there are print",))
    assert follow(known(made=made, said=named))[0].destinations == ("square", "site")  # type: ignore[attr-defined]
    held = follow(known(made=made, said=WorkFacts(hold=True)))
    assert held[0].destinations == ("square", "site", "gone")  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "change",
    [{"kind": "painting"}, {"paper": "toned"}, {"keep_paper": True}, {"lighter": 0.5}, {"size_mm": (300.0, 400.0)},
     {"grey_card": True}, {"reference": "grey card"}],
)  # fmt: skip
def test_what_the_plan_depends_on_is_measured_anew(change: dict[str, Any]) -> None:
    (step,) = follow(known(said=WorkFacts(**change)))
    assert isinstance(step, Measure)
    assert follow(known(said=WorkFacts(**change), present=False)) == []  # and told when the photo is back
    assert words_only(known(said=WorkFacts(title="T", **change))) == WorkFacts(title="T")


def test_a_word_can_make_a_photo_a_work() -> None:
    nothing: dict[str, Any] = {"outcome": "no work seen", "plan": "", "made": {}}
    assert follow(known(said=WorkFacts(medium="ink"), **nothing))[0] == Measure("1", "you said that it shows a work")
    (step,) = follow(known(said=WorkFacts(title="IMG"), **nothing))
    assert isinstance(step, Tell)


def test_other_words_are_told_once() -> None:
    (step,) = follow(known(said=WorkFacts(price="5")))
    assert isinstance(step, Tell)
    assert follow(replace(known(said=WorkFacts(price="5")), view=view(said=WorkFacts(price="5")))) == []
    (step,) = follow(known(unwritten=True))
    assert isinstance(step, Tell)


def test_the_best_take_is_used_and_the_earlier_where_they_are_alike() -> None:
    assert used([view(1, merit=1.0), view(2, merit=1.5)]) == "2"
    assert used([view(2, merit=1.5), view(1, merit=1.0)]) == "2"
    assert used([view(1, merit=1.0), view(2, merit=1.01)]) == "1"
    assert used([view(1, merit=1.0), view(2, merit=9.0, outcome="needs a look")]) == "1"
    assert used([view(1, plan="")]) == ""


def test_the_other_take_gives_way_and_comes_back() -> None:
    better, poorer = known(2, merit=2.0), known(1)
    (step,) = follow(better, poorer)
    assert step == Withdraw("1", "another take of the same work is used", ("square", "site"))
    away = known(1, outcome="alternate", made={name: rendition(name, "withdrawn") for name in ("square", "site")})
    assert follow(better, away) == []
    (step,) = follow(known(2, merit=0.1, outcome="alternate", made={}), away)
    assert step == Restore("1", "it is wanted again", ("square", "site"))
    assert follow(better, replace(away, view=replace(away.view, chosen=True)))[0].job == "1"


def test_a_take_that_is_asked_for_besides_the_best_does_not_follow_it_into_a_call() -> None:
    best = known(1, WorkFacts(also=("print",)), merit=2.0)
    shared = WorkFacts(also=("print",), shared=("also",))
    other = known(2, shared, {}, outcome="alternate", chosen=True)
    assert wanted(other, "1", DESTINATIONS) == ("square", "site")
    assert wanted(best, "1", DESTINATIONS) == DESTINATIONS
    alone = shared.model_copy(update={"destinations": ("print",), "also": (), "shared": ("destinations",)})
    assert wanted(replace(other, said=alone), "1", DESTINATIONS) == ()  # nor out into the open where the work is not
    assert wanted(replace(other, said=alone, redo=frozenset({"print"})), "1", DESTINATIONS) == ("print",)
    own = WorkFacts(also=("print",))
    assert wanted(replace(other, said=own), "1", DESTINATIONS) == DESTINATIONS
    assert wanted(replace(other, said=shared), "2", DESTINATIONS) == DESTINATIONS  # once it is the best itself


def test_a_redo_is_made_or_settled_by_saying_why_not() -> None:
    (step,) = follow(known(redo=frozenset({"square"})))
    assert isinstance(step, Render)
    assert step.destinations == ("square",)
    for photo, why in (
        (known(redo=frozenset({"gone"})), "no such destination"),
        (known(redo=frozenset({"square"}), present=False), "no longer in the inbox"),
        (known(redo=frozenset({"square"}), plan="", outcome="needs a look", made={}), "no finished pictures"),
        (known(redo=frozenset({"square"}), said=WorkFacts(hold=True), made={}), "on hold"),
    ):
        (step,) = follow(photo)
        assert isinstance(step, Tell)
        assert why in step.why
    assert follow(replace(known(redo=frozenset({"square"}), present=False), coming=True)) == []  # it may be back


def test_what_is_said_to_be_no_work_is_looked_at_once() -> None:
    """Also in a folder that says what kind of work it is: the two words do not call each other up for ever."""
    both = WorkFacts(kind="painting", not_a_work=True)
    nothing: dict[str, Any] = {"outcome": "no work seen", "plan": "", "made": {}}
    seen = known(said=both, **nothing)
    assert follow(replace(seen, view=replace(seen.view, said=both))) == []


def test_what_leaves_goes_before_what_comes_back_takes_its_name() -> None:
    """The later take was the better one, and was measured anew: the first one comes back under the name of the work."""
    gone = {name: rendition(name, "withdrawn") for name in ("square", "site")}
    found = follow(known(1, made=gone), known(2, merit=0.5))
    assert [(type(step), step.job) for step in found] == [(Withdraw, "2"), (Restore, "1")]


def test_files_of_a_worse_take_stay_until_those_of_the_better_one_are_there() -> None:
    """Where the better one waits, or has its own, they go; where the work is held, so do they."""
    made = {"square": rendition("square"), "site": rendition("site", "held")}
    better = known(2, merit=2.0, made={})
    (step,) = follow(known(1, made={"square": rendition("square")}), better)
    assert step == Render("2", step.why, ("square", "site"))
    assert follow(known(1), replace(better, present=False)) == []
    partly = follow(known(1), known(2, merit=2.0, made={"site": made["site"]}))
    assert partly == [Withdraw("1", partly[0].why, ("site",)), Render("2", partly[1].why, ("square",))]
    step = follow(known(1, said=WorkFacts(hold=True)), replace(better, said=WorkFacts(hold=True)))[0]
    assert step == Withdraw("1", step.why, ("square", "site"))


@pytest.mark.parametrize("present", [True, False])
def test_a_file_that_would_be_made_anew_waits_for_its_photo_only_where_that_is_away(present: bool) -> None:
    made = {"square": rendition("square"), "site": rendition("site", "withdrawn", why="on hold", plan="an earlier one")}
    away = untrue(known(made=made, present=present), "1", DESTINATIONS)
    assert away == ({} if present else {"site": AWAY})


def test_a_file_that_a_hold_took_from_a_table_that_went_keeps_its_reason_until_it_is_back() -> None:
    """By that reason it is known that it comes back."""
    made = {name: rendition(name) for name in ("square", "site")}
    made["old"] = rendition("old", "withdrawn", reason="the photo is on hold", why="on hold")
    assert untrue(known(made=made), "1", DESTINATIONS) == {}
    (step,) = follow(known(made=made))
    assert isinstance(step, Restore)
    assert step.destinations == ("old",)
    made["old"] = rendition("old", "held", reason="the photo was looked at again", why="looked at again")
    assert set(untrue(known(made=made), "1", DESTINATIONS)) == {"old"}
