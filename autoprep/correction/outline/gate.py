"""What an outline is worth: two witnesses of different kinds that agree, or a question.

The judge's chance and the eye's own certainty say little about real photos: both were learned on generated ones. That
the two come to the same outline says much. So the confidence of an outline is made of that agreement: it reaches the
service's `sure_enough` of .90 where the agreement reaches its cut. One witness is believed against the other only where
it is as clear as can be. The cuts were fixed on 74 real pages and on 1,700 generated photos of tuning seeds.
"""

from dataclasses import dataclass, replace

import numpy as np

# The overlap of the eye's outline with the judge's best at which both are believed. A rail inside all sides (a frame, a
# mount, a board) is where two witnesses may both take the inner edge: more is asked there.
_CUT_SHEET, _CUT_RAIL = 0.955, 0.975
# A line along the whole of the weakest side, so far inside, counts as a rail (features.beside, inner_line_min).
RAIL = 0.75
# Where the judge's best is another outline, but one of its finalists is the eye's: so alike, and the eye this sure.
_SUPPORT, _SURE_VIEWS, _SURE_UNDECIDED = 0.975, 0.975, 0.18
# The eye must be of one mind: its views overlap so much, and so little of its mask is undecided; less for the whole
# photo, where an edge that both overlook costs a wrong answer.
_VIEWS_AGREE, _UNDECIDED, _UNDECIDED_WHOLE, _CHANCE = 0.935, 0.35, 0.15, 0.5
SURE = 0.9
"""The service's own limit (`sure_enough`) as shipped: what reaches it is passed without asking."""
# Where the eye is this sure that the photo's border cuts every side, it is believed alone: the judge, who looks for
# edges, takes what is drawn on such a page for its border. (Real pages: 15 of 15 right; generated cut ones: all.)
_ALONE_VIEWS, _ALONE_UNDECIDED, _ALONE_CHANCE = 0.99, 0.03, 0.95
# An eye that is this clear is believed though the judge holds another outline for likelier, if his finalists know of
# one much like it. (Of 1,200 generated photos in all light 1,080 are this clear, none of them wrong; most of what was
# asked about without need was.)
_CLEAR_VIEWS, _CLEAR_UNDECIDED, _CLEAR_SUPPORT, _CLEAR_CHANCE = 0.985, 0.1, 0.9, 0.95
# And one that is this unclear about a work whose four sides it sees is not: two sheets on each other have two edges a
# side, and both finders can come to the same wrong ones. (Of the same photos 14 passed so, 4 of them wrong.)
_UNCLEAR_VIEWS, _UNCLEAR_UNDECIDED = 0.975, 0.12
# A third witness: where each side, weighed alone (see sides), is so likely, in log odds, the finders need not agree and
# the eye may waver a little. Beside a line inside all sides they must: a frame's inner edges are as clear as its outer
# ones, and a drawn frame's lines as clear as the sheet's.
# Where the eye is unclear each side must be as good as certain: the edges of two sheets on each other are all clear.
# (Of 4,060 hard photos of tuning seeds, weighed by trees that had not seen them, 277 were asked about; 50 of them pass
# by this, none of them wrong. Of 74 real pages one more passes, rightly.)
_SIDES_LEAST, _SIDES_CERTAIN, _SIDES_VIEWS, _SIDES_UNDECIDED, _SIDES_RAIL = 2.0, 3.0, 0.95, 0.2, 0.965
# An eye that none of the finalists bears out, while one of its sides, weighed alone, clearly lies elsewhere, is not
# believed, however clear it is and whatever the material says. (Of 918 photos - real pages in seven ways, generated
# ones of all kinds, with lines around, carried - 10 had passed so: 6 were wrong, at the wire of a spiral pad, at a fold
# and a ruled line, and 2 of the others right by .01 at most.) Where all its sides are likely a clear eye is believed
# though no finalist is much like its outline. (3 of the same photos pass by this, none of them wrong.)
_SIDES_ELSEWHERE, _SIDES_ALONE = -2.0, 0.0
# So where the finders agree by little more than their cut: an eye that is unclear, and a side that clearly lies
# elsewhere, outweigh that. (Of 1,000 passed photos - the real pages in seven ways, generated ones of four kinds, with
# the former weights and with these - 6 had passed so: 1 was wrong, at a clipboard, and 3 were cut by a drawn line.)
_NEAR_CUT, _UNCLEAR_SIDES = 0.98, 0.15
# Sides that are certain, and finders that nearly agree, outweigh a wavering eye. (Of what was asked
# about of those 4,060 photos 13 pass by this, of 3,240 photos of other tuning seeds 12, none of them wrong.)
_CERTAIN_AGREEMENT, _CERTAIN_VIEWS = 0.93, 0.9
# So do sides that are likely where the material says one sheet too: three witnesses of different kinds, to whom the
# eye's wavering (a board below the sheet, a clear sleeve around it) is none against. (Of what was asked about of 2,380
# photos of tuning seeds, two thirds of them of carried sheets, 58 pass by this, none of them wrong; without asking the
# finders to agree so far, 2 of 67 were. Of 74 real pages 2 more pass, rightly.)
_SHEET_AGREEMENT, _SHEET_SIDES = 0.8, 2.0
# Finders that agree to a hair need sides that do not lie elsewhere alone. (Of 282 passed and asked photos on which they
# do none was wrong; but to a board, on which both can agree, the material says no.)
_SHEET_AGREED = 0.98
# Where the eye says that the border cuts every side, and squares are printed all over, up to each border, the photo
# holds nothing but the page: an eye that nearly knows is enough. (Of 74 real pages 2 more pass, rightly.)
_RULED_VIEWS, _RULED_UNDECIDED = 0.95, 0.2
# What is not believed stays below this, whatever else speaks for it.
DOUBTED = 0.85


@dataclass(frozen=True)
class Witness:
    """What speaks for the eye's outline: all numbers 0..1 but undecided, which is 0 or more.

    agreement: overlap with the judge's best; support: with any of its finalists; views, undecided, chance: of the eye;
    rail: whether a line runs inside all sides; all_cut: the photo's border cuts every side, some_cut: or any; several:
    more works than this one are seen; one_sheet: the material says so too (see material; asked only in doubt);
    side_least: how likely the least likely of its sides is, in log odds (see sides; asked only in doubt); ruled_over:
    squares go on up to every border of the photo (see ruling; asked only in doubt); of_photo: overlap of the eye's
    outline with the whole photo.
    """

    agreement: float
    support: float
    views: float
    undecided: float
    chance: float
    rail: bool
    all_cut: bool
    some_cut: bool = False
    several: bool = False
    one_sheet: bool = False
    side_least: float = -np.inf
    ruled_over: bool = False
    of_photo: float = 1.0

    def as_evidence(self) -> dict[str, float]:
        """The numbers for the record."""
        return {
            "eye_agreement": self.agreement,
            "eye_support": self.support,
            "eye_views": self.views,
            "eye_undecided": min(self.undecided, 99.0),
            "eye_chance": self.chance,
            "eye_rail": float(self.rail),
            "eye_several": float(self.several),
            "one_sheet": float(self.one_sheet),
            "ruled_over": float(self.ruled_over),
            "eye_of_photo": self.of_photo,
        }


def confidence(witness: Witness) -> float:
    """The probability that the eye's outline overlaps the true one by .95 or more."""
    cut = _CUT_RAIL if witness.rail else _CUT_SHEET
    value = float(np.interp(witness.agreement, (0.0, cut - 0.1, cut, 1.0), (0.05, 0.5, 0.90, 0.99)))
    if _supported(witness) or _is_clear(witness) or _sure_of_whole(witness) or _told_by_sides(witness):
        value = max(value, 0.90)
    if _is_outweighed(witness):
        value = min(value, DOUBTED)
    if witness.one_sheet and not witness.all_cut and _is_borne_out(witness):
        value = max(value, 0.92)  # a third witness: the finders need not agree
    value = value if _of_one_mind(witness) else min(value, DOUBTED)
    settled = _by_certain_sides(witness) or _by_sheet_and_sides(witness) or _by_ruling(witness)
    return max(value, SURE) if settled else value


def wants_material(witness: Witness) -> bool:
    """Whether it would settle a doubt if the material said that the outline holds one sheet."""
    return confidence(witness) < SURE <= confidence(replace(witness, one_sheet=True))


def wants_sides(witness: Witness) -> bool:
    """Whether it would settle a doubt if each of its sides, weighed alone, were likely; the material may be asked
    after them."""
    return confidence(witness) < SURE <= confidence(replace(witness, side_least=np.inf, one_sheet=True))


def wants_ruling(witness: Witness) -> bool:
    """Whether it would settle a doubt if squares went on up to every border of the photo."""
    return confidence(witness) < SURE <= confidence(replace(witness, ruled_over=True))


def _supported(witness: Witness) -> bool:
    """Whether a sure eye and one of the finalists make up for the judge's other preference."""
    sure = witness.views >= _SURE_VIEWS and witness.undecided <= _SURE_UNDECIDED
    return sure and witness.support >= _SUPPORT and not witness.rail and not witness.all_cut


def _is_clear(witness: Witness) -> bool:
    """Whether the eye is so clear that the judge's other preference does not count."""
    clear = witness.views >= _CLEAR_VIEWS and witness.undecided <= _CLEAR_UNDECIDED and witness.chance >= _CLEAR_CHANCE
    supported = witness.support >= _CLEAR_SUPPORT and _is_borne_out(witness)
    return clear and not witness.all_cut and (supported or witness.side_least >= _SIDES_ALONE)


def _is_borne_out(witness: Witness) -> bool:
    """Whether a finalist is the eye's outline, or no side of it, weighed alone, clearly lies elsewhere."""
    return witness.support >= _CUT_SHEET or witness.side_least >= _SIDES_ELSEWHERE


def _is_outweighed(witness: Witness) -> bool:
    """Whether an unclear eye and a side that lies elsewhere say more than finders that just agree."""
    unclear = witness.undecided > _UNCLEAR_SIDES and witness.agreement < _NEAR_CUT
    return unclear and witness.side_least < _SIDES_ELSEWHERE


def _told_by_sides(witness: Witness, least: float = _SIDES_LEAST) -> bool:
    """Whether each side speaks for itself, and the eye is of one mind."""
    sure = witness.views >= _SIDES_VIEWS and witness.undecided <= _SIDES_UNDECIDED
    alone = not witness.rail or witness.agreement >= _SIDES_RAIL
    return sure and alone and witness.side_least >= least and not witness.all_cut


def _by_certain_sides(witness: Witness) -> bool:
    """Whether sides that are certain settle it, wherever the finders nearly agree on one work."""
    agreed = witness.agreement >= _CERTAIN_AGREEMENT and witness.views >= _CERTAIN_VIEWS
    return agreed and _is_one_work(witness) and witness.side_least >= _SIDES_CERTAIN


def _by_sheet_and_sides(witness: Witness) -> bool:
    """Whether the material and the sides settle it, wherever the finders are not far apart."""
    least = _SHEET_SIDES if witness.agreement < _SHEET_AGREED else _SIDES_ALONE
    told = witness.one_sheet and witness.side_least >= least
    return told and witness.agreement >= _SHEET_AGREEMENT and _is_one_work(witness)


def _by_ruling(witness: Witness) -> bool:
    """Whether a ruling that does not end settles that the whole photo is the page, as the eye holds."""
    firm = witness.views >= _RULED_VIEWS and witness.undecided <= _RULED_UNDECIDED
    sure = firm and witness.chance >= _ALONE_CHANCE and not witness.several
    return witness.all_cut and witness.ruled_over and sure


def _is_one_work(witness: Witness) -> bool:
    return witness.chance >= _CHANCE and not (witness.several or witness.all_cut)


def _is_unclear(witness: Witness) -> bool:
    """Whether the eye wavers about sides that it sees, and they do not settle it."""
    wavers = witness.views < _UNCLEAR_VIEWS and witness.undecided > _UNCLEAR_UNDECIDED
    cut = witness.some_cut or witness.all_cut
    return wavers and not cut and not _told_by_sides(witness, _SIDES_CERTAIN)


def _sure_of_whole(witness: Witness) -> bool:
    firm = witness.views >= _ALONE_VIEWS and witness.undecided <= _ALONE_UNDECIDED
    return witness.all_cut and firm and witness.chance >= _ALONE_CHANCE


def _of_one_mind(witness: Witness) -> bool:
    most = _UNDECIDED_WHOLE if witness.all_cut else _UNDECIDED
    agreed = witness.views >= _VIEWS_AGREE and witness.undecided <= most
    return agreed and witness.chance >= _CHANCE and not witness.several and not _is_unclear(witness)


WHOLE = 0.92
"""The confidence that the whole photo is the page where its material says so and the finders are in doubt."""


# What a sheet is worth that is found around a line drawn on it (see margin). (Of 39 such of tuning seeds 38 are right.)
BORDERED = 0.92

# What the picture in a frame is worth where its lines are clear (see inner). A plain sheet is paper so far.
INSIDE, PLAIN_SHEET = 0.95, 0.88


# An outline that overlaps the whole photo by less ends within it. (Of the real pages, as they are and in other light,
# where the material said the whole photo, the eye's outline overlapped it by .975 and more where that was right, by .87
# at most where it was not.)
_WITHIN = 0.95


def may_be_whole(witness: Witness) -> bool:
    """Whether the finders are in doubt, so that the material decides: the eye holds for no other outline.

    A frame (a rail inside all sides) is none: the wall around it is one material too, up to the photo's border. And a
    white sheet on a scanner's white lid is one material with it: an eye of one mind that sees an end there is heard.
    """
    firm = witness.views >= _SURE_VIEWS and witness.undecided <= _UNDECIDED_WHOLE and not witness.all_cut
    firm = firm or (witness.views >= _VIEWS_AGREE and witness.of_photo < _WITHIN)
    doubt = confidence(witness) < SURE
    return doubt and not firm and not (witness.several or witness.rail) and witness.chance >= _CHANCE


def of_two_minds(witness: Witness) -> bool:
    """Whether the eye is so unsure, and so alone, that the judge's best outline comes first in the question."""
    return witness.views < 0.9 and witness.undecided > _UNDECIDED and witness.agreement < _CUT_SHEET


# Below this chance (see work_chance) a photo is taken to show no work; what is passed has more than _CHANCE.
NO_WORK = 0.4


def work_chance(chance: float, undecided: float) -> float:
    """How likely the photo shows a work: the eye's own answer, taken down where much of its mask is undecided."""
    return float(chance * np.interp(undecided, (0.3, 1.5), (1.0, 0.5)))
