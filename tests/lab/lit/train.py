"""Training of the eye for light: `python -m tests.lab train-light --out DIR --train-s 480`."""

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor, nn

from autoprep.correction.view import SIDE_PX

from ..shade.loop import Task, as_row, in_pieces
from ..shade.samples import TRUTH_PX
from ..shade.start import from_shade
from .net import LightNet
from .samples import PICTURE_PX, sample
from .varied import beside_mean, plain, varied

# Natural log: what is off by less is as good as right; a mean of the two ways to be wrong is safer than either.
_BETA = 0.1


def loss(maps: Tensor, light: Tensor, weight: Tensor) -> Tensor:
    """Of the light beside its mean over the work, there and a little on the desk; of how far it is off, on the work."""
    on_work, seen = (weight > 0.75).float(), (weight > 0.25).float()
    said, true = beside_mean(maps[:, 0], weight), beside_mean(light, weight).clamp(-3, 3)
    off = F.smooth_l1_loss(said, true, reduction="none", beta=_BETA)
    how_much = 0.15 * seen + 0.85 * on_work
    spread = maps[:, 1].clamp(-6, 2)
    doubt = (said - true).abs().detach() * torch.exp(-spread) + spread
    return (off * how_much).sum() / how_much.sum() * 3 + (doubt * on_work).sum() / on_work.sum() * 0.03


def _residuals(said: Tensor, light: Tensor, weight: Tensor) -> tuple[Tensor, Tensor]:
    """(B,) each: how uneven the light on a work is (standard deviation of its natural log), as it came and evened."""
    work = weight > 0.75
    one, true = beside_mean(said, weight), beside_mean(light, weight)
    count = work.sum((1, 2)).clamp(min=1)
    spread = [((part**2 * work).sum((1, 2)) / count).sqrt() for part in (true, true - one)]
    return spread[0], spread[1]


def _told(name: str, before: Tensor, after: Tensor) -> dict[str, float]:
    return {
        name: round(before.mean().item(), 4),
        f"{name}_left": round(after.mean().item(), 4),
        f"{name}_left_90": round(after.quantile(0.9).item(), 4),
        f"{name}_worse": round((after > before + 0.01).float().mean().item(), 4),
    }


def _figures(net: nn.Module, tests: list[Tensor]) -> dict[str, float]:
    codes, where, light, bare, _ = tests
    said = in_pieces(net, plain(codes, where))[:, 0]
    weight = where[:, ::2, ::2].float() / 2
    before, after = _residuals(said, light.float(), weight)
    painted = (bare.float() / 255).mean((1, 2)) < 0.15
    # The same with pictures laid over them.
    torch.manual_seed(66)
    picture, more, place = varied(*tests)
    over = _residuals(in_pieces(net, picture)[:, 0], more, place)
    return _told("plain", before, after) | _told("painted", before[painted], after[painted]) | _told("varied", *over)


def _shown(net: nn.Module, tests: list[Tensor]) -> "list[np.typing.NDArray[np.uint8]]":
    picture, light, weight = varied(*tests)
    said = in_pieces(net, picture)
    one, true = beside_mean(said[:, 0], weight), beside_mean(light, weight)
    codes = (picture[:, :3].permute(0, 2, 3, 1) * 255).to(torch.uint8)
    return [as_row(codes[k], [0.5 + true[k], 0.5 + one[k], torch.exp(said[k, 1]) * 3]) for k in range(len(codes))]


TASK = Task(
    name="light_eye",
    test_seed=67_000_000,
    sample=sample,
    parts=(
        ((SIDE_PX, SIDE_PX, 3), torch.uint8), ((SIDE_PX, SIDE_PX), torch.uint8),
        ((TRUTH_PX, TRUTH_PX), torch.float16), ((TRUTH_PX, TRUTH_PX), torch.uint8),
        ((PICTURE_PX, PICTURE_PX, 3), torch.uint8),
    ),
    net=LightNet, varied=varied, loss=loss, figures=_figures, shown=_shown, start=from_shade,
)  # fmt: skip
