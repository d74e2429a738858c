"""File names by template: what is asked for, within its limits, and never out of the folder."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from autoprep.domain import WorkFacts
from autoprep.wishes.destinations import Preset
from autoprep.wishes.names import counts, file_stem, number_in, plain_letters, shortened, without_wishes

ARTIST = "Wren Halloway"
THRIFT = WorkFacts(
    title="Sea Thrift & Boats", year="2026", medium="ink", size_mm=(400, 300), unit="cm", inventory="WH-17"
)


def stem(template: str, facts: WorkFacts = THRIFT, number: int = 3, **rules: object) -> str:
    preset = Preset(long_side_px=100, name=template, **rules)  # type: ignore[arg-type]
    return file_stem(preset, "jury", facts, ARTIST, "sketches/IMG_0042.jpg", number)


# Forms that calls ask for: common practice, no source.
@pytest.mark.parametrize(
    ("template", "rules", "expected"),
    [
        ("{photo}", {}, "IMG_0042"),
        ("{nn} {last} {first} {title}", {"name_space": "_"}, "03_Halloway_Wren_Sea_Thrift_Boats"),
        ("{last}_{first}_{nn}", {}, "Halloway_Wren_03"),
        ("{title}", {"name_case": "lower", "name_space": "-"}, "sea-thrift-boats"),
        (
            "{last}_{title}_{year}_{medium}_{h}x{w}{unit}",
            {"name_space": "-"},
            "Halloway_Sea-Thrift-Boats_2026_ink_30x40cm",
        ),
        ("{initial}{last}_{inv}", {"name_case": "upper"}, "WHALLOWAY_WH-17"),
        ("{nn} {last} {first} {title}", {"name_space": "_", "name_max": 25}, "03_Halloway_Wren_Sea_Thri"),
        ("{destination}-{nn}", {}, "jury-03"),
        ("{nn} {last} {first} {title}", {"name_letters": "plain"}, "03_Halloway_Wren_Sea_Thrift_Boats"),
        ("{nn} {title}", {"name_letters": "plain", "name_space": "-"}, "03-Sea-Thrift-Boats"),
    ],
)
def test_templates(template: str, rules: dict[str, object], expected: str) -> None:
    assert stem(template, **rules) == expected  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("template", "rules", "expected"),
    [
        ("{last} {first} {title} {nn}", {"name_space": "_", "name_max": 25}, "Halloway_Wren_Sea_Thri_03"),
        ("{title} - {nn} {year}", {"name_max": 12}, "Sea Thrif 03"),
        ("{title}{nn}", {"name_letters": "plain", "name_max": 8}, "Sea_Th03"),
        ("{last} {nn} {title}", {"name_max": 5}, "Ha 03"),
        ("{title} {nn}", {"name_max": 3}, "03"),
    ],
)
def test_a_name_that_is_too_long_is_cut_before_its_number(
    template: str, rules: dict[str, object], expected: str
) -> None:
    """Else all works would be called alike."""
    assert stem(template, **rules) == expected  # type: ignore[arg-type]
    preset = Preset(long_side_px=100, name=template, **rules)  # type: ignore[arg-type]
    assert number_in(preset, "jury", THRIFT, ARTIST, "sketches/IMG_0042.jpg", expected) == 3


@pytest.mark.parametrize(
    ("photo", "expected"),
    [
        ("Blue Jug, only for site", "Blue Jug"),
        ("Blue Jug, 2026, watercolour, 30x40cm, not for press", "Blue Jug, 2026, watercolour, 30x40cm"),
        ("Blue Jug (2026, also for site)", "Blue Jug (2026)"),
        ("Blue Jug (please hold), ink", "Blue Jug, ink"),
        ("Blue Jug - turn left - 2026", "Blue Jug - 2026"),
        ("hold, Blue Jug", "Blue Jug"),
        ("Blue_Jug_hold", "Blue_Jug"),
        ("IMG_20261120_101112, hold", "IMG_20261120_101112"),
        ("Cards, only for site-12", "Cards-12"),  # a work in a photo of several
        ("Gulls, boats and rain", "Gulls, boats and rain"),
        ("In the hold, 2026", "In the hold, 2026"),
        ("turn left, 2026", "turn left, 2026"),
        ("Blue Jug (only for site)", "Blue Jug"),
        ("Blue Jug (turn left, as shot)", "Blue Jug"),
        ("Gulls (old and young), ink (not for site)", "Gulls (old and young), ink"),
        ("hold", "hold"),
    ],
)
def test_what_is_to_be_done_with_a_work_is_not_in_its_file_s_name(photo: str, expected: str) -> None:
    """A gallery got “Blue Jug, not for site.jpg”."""
    preset = Preset(long_side_px=100)
    assert without_wishes(photo) == expected
    plain, told = (file_stem(preset, "site", WorkFacts(), ARTIST, f"a/{name}.jpg", 1) for name in (expected, photo))
    assert told == plain


def test_missing_facts_leave_no_holes() -> None:
    assert stem("{nn}_{title}_{year}", WorkFacts()) == "03"
    assert stem("{title}", WorkFacts()) == "IMG_0042"


def test_a_blind_name_never_falls_back_on_the_photos() -> None:
    assert stem("{title}", WorkFacts(), rights="none", title=True) == "03"
    assert Preset(long_side_px=100, rights="none").name == "{nn}"


def test_plain_letters() -> None:
    assert plain_letters("Grün Æther Łódź ß") == "Grun Aether Lodz ss"
    assert stem("{title}", WorkFacts(title="Grüne Möwe 画"), name_letters="plain", name_space="_") == "Grune_Mowe_Hua"


def test_a_title_in_another_script_is_spelled_in_plain_letters_and_does_not_vanish() -> None:
    assert stem("{nn}_{title}", WorkFacts(title="Чайка"), name_letters="plain") == "03_Chayka"
    assert stem("{title}", WorkFacts(title="Γλάρος"), name_letters="plain") == "Glaros"
    assert stem("{title}", WorkFacts(title="Чайка")) == "Чайка"


@pytest.mark.parametrize("title", ["CON", "Aux", "nul", "- prn -", "Com1"])
@pytest.mark.parametrize("rules", [{}, {"name_case": "upper"}, {"name_letters": "plain"}, {"name_max": 4}])
def test_no_name_is_one_that_a_system_keeps_for_itself(title: str, rules: dict[str, object]) -> None:
    found = stem("{title}", WorkFacts(title=title), **rules)  # type: ignore[arg-type]
    assert found.casefold() not in ("con", "aux", "nul", "prn", "com1")
    assert stem("{title}", WorkFacts(title="Contour"), name_max=3) == "pic"  # not "Con", which is left of it
    assert stem("{title}", WorkFacts(title="Con amore")) == "Con amore"
    if not rules:
        assert found == f"picture-{title.strip('- ')}"


@pytest.mark.parametrize("stem", ["Halloway_Wren_07_Thrift", "HallowayWren07Thrift"])
def test_plain_names_without_blanks_as_earlier_versions_made_them_keep_their_number(stem: str) -> None:
    preset = Preset(long_side_px=100, name="{last} {first} {nn} {title}", name_letters="plain")
    assert number_in(preset, "jury", THRIFT, ARTIST, "sketches/IMG_0042.jpg", stem) == 7


def test_numbers() -> None:
    assert counts(Preset(long_side_px=100, name="{nn} {title}"))
    assert not counts(Preset(long_side_px=100, name="{title}"))
    assert shortened("abcdef", "-12", 6) == "abc-12"


@given(title=st.text(max_size=60), limit=st.integers(1, 40), plain=st.booleans())
def test_no_title_leaves_the_folder(title: str, limit: int, plain: bool) -> None:
    found = stem("{title}", WorkFacts(title=title), name_max=limit, name_letters="plain" if plain else "any")
    assert 1 <= len(found) <= max(limit, 10)
    assert not any(ch in found for ch in "/\\:\0\n")
    assert found.strip(". ") == found
    assert found not in ("..", ".")
    if plain:
        assert found.isascii()
