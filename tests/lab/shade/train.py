"""Training of the eye for shade: `python -m tests.lab train-shade --out DIR --train-s 480`."""

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor, nn

from autoprep.correction.view import SIDE_PX

from ..eye.shipped import load_shipped
from .loop import Task, as_row, in_pieces
from .net import ShadeNet
from .samples import TRUTH_PX, sample
from .varied import plain, relative, varied


def loss(maps: Tensor, shade: Tensor, bare: Tensor, weight: Tensor) -> Tensor:
    """Of the shade everywhere, more in shadows; of bare paper on the work."""
    said = -F.softplus(maps[:, 0])
    on_work, seen = (weight > 0.75).float(), (weight > 0.25).float()
    how_much = (0.3 * seen + 0.7 * on_work) * (1 + 2 * (shade < -0.05).float())
    off = F.smooth_l1_loss(said, shade, reduction="none", beta=0.05)
    paper = F.binary_cross_entropy_with_logits(maps[:, 1], bare, reduction="none")
    return (off * how_much).sum() / how_much.sum() * 3 + (paper * on_work).sum() / on_work.sum() * 0.5


def _on_paint(net: nn.Module, tests: list[Tensor]) -> dict[str, float]:
    """The share of painted places out of any shadow on which one is seen, on tests with more laid over them."""
    picture, shade, bare, weight = varied(*(part[:48] for part in tests))
    shadow = -F.softplus(net(picture).float()[:, 0])
    paint = (shade > -0.02) & (bare < 0.1) & (weight > 0.75)
    return {"seen_on_paint": round((shadow[paint] < -0.1).float().mean().item(), 4)}


def _figures(net: nn.Module, tests: list[Tensor]) -> dict[str, float]:
    codes, where, shade, bare = tests
    said = in_pieces(net, plain(codes, where))
    shadow, work = -F.softplus(said[:, 0]), where[:, ::2, ::2] == 2
    shade = relative(shade.float(), where[:, ::2, ::2].float() / 2)
    off = (shadow - shade).abs()
    dark = (shade < -0.05) & work
    free = (shade > -0.01) & work
    paper, true = (said[:, 1] > 0) & work, (bare > 127) & work
    return _on_paint(net, tests) | {
        "off_in_shadow": round(off[dark].mean().item(), 4),
        "off_free": round(off[free].mean().item(), 4),
        "seen_where_none": round((shadow[free] < -0.08).float().mean().item(), 4),
        "missed": round((shadow[dark & (shade < -0.15)] > -0.05).float().mean().item(), 4),
        "paper_overlap": round(((paper & true).sum() / (paper | true).sum().clamp(min=1)).item(), 4),
    }


def _shown(net: nn.Module, tests: list[Tensor]) -> "list[np.typing.NDArray[np.uint8]]":
    codes, where, shade, _ = tests
    said = in_pieces(net, plain(codes, where))
    shade = relative(shade.float(), where[:, ::2, ::2].float() / 2)
    seen = 1 - F.softplus(said[:, 0]) / 1.5
    return [as_row(codes[k], [1 + shade[k] / 1.5, seen[k], torch.sigmoid(said[k, 1])]) for k in range(len(codes))]


TASK = Task(
    name="shade_eye",
    test_seed=66_000_000,
    sample=sample,
    parts=(
        ((SIDE_PX, SIDE_PX, 3), torch.uint8), ((SIDE_PX, SIDE_PX), torch.uint8),
        ((TRUTH_PX, TRUTH_PX), torch.float16), ((TRUTH_PX, TRUTH_PX), torch.uint8),
    ),
    net=ShadeNet, varied=varied, loss=loss, figures=_figures, shown=_shown, start=load_shipped,
)  # fmt: skip
