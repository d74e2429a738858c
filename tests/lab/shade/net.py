"""The network: a small convolutional encoder and decoder with two maps, of shade and of bare paper."""

import torch
import torch.nn.functional as F  # noqa: N812 - the name that its own documentation uses
from torch import Tensor, nn

from ..eye.net import _conv, _Residual, _twice

# Channels at 1/2, 1/2, 1/4, 1/8, 1/16 and 1/32 of the input. Chosen: a million weights, 2 MB as half floats.
_WIDTHS = (12, 20, 32, 56, 80, 112)


class ShadeNet(nn.Module):
    """(B, 4, n, n), RGB codes 0..1 and what each pixel shows 0..1, n a multiple of 32 -> (B, 2, n/2, n/2): natural log
    of what shadows leave of the light, 0 at the most, and the logit of bare paper."""

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__()
        c0, c1, c2, c3, c4, c5 = widths
        self.at_half = nn.Sequential(_conv(4, c0, 2), _conv(c0, c1))
        self.at_quarter = nn.Sequential(_conv(c1, c2, 2), _Residual(c2))
        self.at_eighth = nn.Sequential(_conv(c2, c3, 2), _Residual(c3), _Residual(c3))
        self.at_sixteenth = nn.Sequential(_conv(c3, c4, 2), _Residual(c4), _Residual(c4, 2))
        self.at_coarsest = nn.Sequential(_conv(c4, c5, 2), _Residual(c5), _Residual(c5, 2))
        self.context = nn.Sequential(nn.Conv2d(c5, c5, 1), nn.ReLU(inplace=True))
        self.up4, self.up3 = nn.Conv2d(c5, c4, 1), nn.Conv2d(c4, c3, 1)
        self.up2, self.up1 = nn.Conv2d(c3, c2, 1), nn.Conv2d(c2, c1, 1)
        self.join4, self.join3, self.join2, self.join1 = _conv(c4, c4), _conv(c3, c3), _conv(c2, c2), _conv(c1, c1)
        self.maps = nn.Conv2d(c1, 2, 3, 1, 1)
        assert self.maps.bias is not None
        self.maps.bias.data[:] = torch.tensor([-3.0, 0.5])  # most places are in no shadow

    def forward(self, x: Tensor) -> Tensor:
        x = x * 4 - 2
        half = self.at_half(x)
        quarter = self.at_quarter(half)
        eighth = self.at_eighth(quarter)
        sixteenth = self.at_sixteenth(eighth)
        coarsest = self.at_coarsest(sixteenth)
        coarsest = coarsest + self.context(F.adaptive_avg_pool2d(coarsest, 1))
        sixteenth = self.join4(F.relu(sixteenth + _twice(self.up4(coarsest))))
        eighth = self.join3(F.relu(eighth + _twice(self.up3(sixteenth))))
        quarter = self.join2(F.relu(quarter + _twice(self.up2(eighth))))
        half = self.join1(F.relu(half + _twice(self.up1(quarter))))
        return self.maps(half)
