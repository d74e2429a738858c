"""The network: a small convolutional encoder and decoder with three maps and one answer for the whole photo."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor, nn

# Channels at 1/2, 1/2, 1/4, 1/8, 1/16 and 1/32 of the input. Chosen: 2.8 million weights, under 6 MB as half floats
# and about 50 ms a view on one core.
_WIDTHS = (16, 24, 48, 88, 136, 168)


def _conv(inputs: int, outputs: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    layer = nn.Conv2d(inputs, outputs, 3, stride, dilation, dilation, bias=False)
    return nn.Sequential(layer, nn.BatchNorm2d(outputs), nn.ReLU(inplace=True))


class _Residual(nn.Module):
    def __init__(self, width: int, dilation: int = 1) -> None:
        super().__init__()
        self.first = _conv(width, width, dilation=dilation)
        self.second = nn.Sequential(nn.Conv2d(width, width, 3, 1, 1, bias=False), nn.BatchNorm2d(width))

    def forward(self, x: Tensor) -> Tensor:
        return F.relu(x + self.second(self.first(x)))


class Body(nn.Module):
    """(B, inputs, n, n) values 0..1, n a multiple of 32 -> (B, widths[1], n/2, n/2) features, and the coarsest ones."""

    def __init__(self, inputs: int, widths: tuple[int, ...]) -> None:
        super().__init__()
        c0, c1, c2, c3, c4, c5 = widths
        self.at_half = nn.Sequential(_conv(inputs, c0, 2), _conv(c0, c1))
        self.at_quarter = nn.Sequential(_conv(c1, c2, 2), _Residual(c2))
        self.at_eighth = nn.Sequential(_conv(c2, c3, 2), _Residual(c3), _Residual(c3))
        self.at_sixteenth = nn.Sequential(_conv(c3, c4, 2), _Residual(c4), _Residual(c4, 2))
        self.at_coarsest = nn.Sequential(_conv(c4, c5, 2), _Residual(c5), _Residual(c5, 2))
        self.context = nn.Sequential(nn.Conv2d(c5, c5, 1), nn.ReLU(inplace=True))
        self.up4, self.up3 = nn.Conv2d(c5, c4, 1), nn.Conv2d(c4, c3, 1)
        self.up2, self.up1 = nn.Conv2d(c3, c2, 1), nn.Conv2d(c2, c1, 1)
        self.join4, self.join3, self.join2, self.join1 = _conv(c4, c4), _conv(c3, c3), _conv(c2, c2), _conv(c1, c1)

    def features(self, x: Tensor) -> tuple[Tensor, Tensor]:
        x = x * 4 - 2
        half = self.at_half(x)
        quarter = self.at_quarter(half)
        eighth = self.at_eighth(quarter)
        sixteenth = self.at_sixteenth(eighth)
        coarsest = self.at_coarsest(sixteenth)
        whole = coarsest + self.context(F.adaptive_avg_pool2d(coarsest, 1))
        sixteenth = self.join4(F.relu(sixteenth + _twice(self.up4(whole))))
        eighth = self.join3(F.relu(eighth + _twice(self.up3(sixteenth))))
        quarter = self.join2(F.relu(quarter + _twice(self.up2(eighth))))
        return self.join1(F.relu(half + _twice(self.up1(quarter)))), coarsest


class OutlineNet(Body):
    """(B, 3, n, n) RGB codes 0..1, n a multiple of 32 -> (B, 3, n/2, n/2) logits and (B, 1) logit.

    The maps: inside a work, on its outline, at its corners. The single logit: that there is a work at all.
    """

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__(3, widths)
        self.maps = nn.Conv2d(widths[1], 3, 3, 1, 1)
        self.work = nn.Sequential(nn.Conv2d(2 * widths[5], 64, 1), nn.ReLU(inplace=True), nn.Conv2d(64, 1, 1))
        assert self.maps.bias is not None
        self.maps.bias.data[:] = torch.tensor([-0.5, -3.0, -4.0])  # most pixels are no edge and no corner

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        half, coarsest = self.features(x)
        pooled = [F.adaptive_avg_pool2d(coarsest, 1), F.adaptive_max_pool2d(coarsest, 1)]
        return self.maps(half), self.work(torch.cat(pooled, 1)).flatten(1)


def _twice(x: Tensor) -> Tensor:
    return F.interpolate(x, scale_factor=2.0, mode="nearest")
