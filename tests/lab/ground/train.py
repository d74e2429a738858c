"""Training of the eye for paper: `python -m tests.lab train-paper --out DIR --train-s 480`."""

import numpy as np
import torch
from torch import Tensor, nn

from autoprep.correction.view import SIDE_PX

from ..lit.varied import plain
from ..shade.loop import Task, as_row, in_pieces
from ..shade.samples import TRUTH_PX
from ..shade.start import from_shade
from .net import GroundNet
from .samples import LIGHT, NONE, TONED, sample
from .varied import truth, varied

_GROUND = 0.5  # a place with more bare paper than that, or a wash all over, is the ground of a work


def loss(maps: Tensor, shares: Tensor, weight: Tensor) -> Tensor:
    """Cross entropy of what is at each place of the work, and of each work as a whole."""
    logs = torch.log_softmax(maps, 1)
    each = -(shares * logs).sum(1)
    ground = (shares[:, :2].sum(1) > _GROUND) * weight
    amount = ground.sum((1, 2))
    whole = ((shares * logs).sum(1) * ground).sum((1, 2)) / amount.clamp(min=1)
    seen = (amount > 200).float()
    return (each * weight).sum() / weight.sum() - 0.3 * (whole * seen).sum() / seen.sum().clamp(min=1)


def _figures(net: nn.Module, tests: list[Tensor]) -> dict[str, float]:
    """Of tests as they are, and with more laid over them: the share of works of each paper that are taken for another,
    by what is seen on their ground."""
    codes, where, _, bare, paper = tests
    shares, weight = truth(where, bare, paper)
    told = _wrong("plain", torch.softmax(in_pieces(net, plain(codes, where)), 1), shares, weight)
    torch.manual_seed(66)
    picture, shares, weight = varied(*tests)
    return told | _wrong("varied", torch.softmax(in_pieces(net, picture), 1), shares, weight)


def _wrong(name: str, said: Tensor, shares: Tensor, weight: Tensor) -> dict[str, float]:
    on_work = (weight > 0.5).float()
    amount = (shares * on_work[:, None]).sum((2, 3))
    chance = (said * on_work[:, None]).sum((2, 3)) / on_work.sum((1, 2)).clamp(min=1)[:, None]
    total = on_work.sum((1, 2)).clamp(min=1)
    told = {}
    for paper, what in ((LIGHT, "light"), (TONED, "toned")):
        of = amount[:, paper] > 0.3 * total
        other = TONED if paper == LIGHT else LIGHT
        told[f"{name}_{what}_wrong"] = round((chance[of, paper] < chance[of, other]).float().mean().item(), 4)
    covered = amount[:, NONE] > 0.97 * total
    told[f"{name}_covered_light"] = round((chance[covered, LIGHT] > 0.3).float().mean().item(), 4)
    told[f"{name}_covered"] = int(covered.sum())
    return told


def _shown(net: nn.Module, tests: list[Tensor]) -> "list[np.typing.NDArray[np.uint8]]":
    picture, shares, _ = varied(*tests)
    said = torch.softmax(in_pieces(net, picture), 1)
    codes = (picture[:, :3].permute(0, 2, 3, 1) * 255).to(torch.uint8)
    planes = (shares[:, LIGHT], said[:, LIGHT], said[:, TONED])
    return [as_row(codes[k], [plane[k] for plane in planes]) for k in range(len(codes))]


TASK = Task(
    name="paper_eye",
    test_seed=68_000_000,
    sample=sample,
    parts=(
        ((SIDE_PX, SIDE_PX, 3), torch.uint8), ((SIDE_PX, SIDE_PX), torch.uint8),
        ((3, TRUTH_PX, TRUTH_PX), torch.float16), ((TRUTH_PX, TRUTH_PX), torch.uint8), ((1,), torch.uint8),
    ),
    net=GroundNet, varied=varied, loss=loss, figures=_figures, shown=_shown, start=from_shade,
)  # fmt: skip
