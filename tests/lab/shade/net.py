"""The network: the body of the second eye's, smaller, with two maps, of shade and of bare paper."""

import torch
from torch import Tensor, nn

from ..eye.net import Body

# Channels at 1/2, 1/2, 1/4, 1/8, 1/16 and 1/32 of the input. Chosen: 1.1 million weights, 2.2 MB as half floats.
_WIDTHS = (12, 20, 32, 56, 80, 112)


class ShadeNet(Body):
    """(B, 4, n, n), RGB codes 0..1 and what each pixel shows 0..1, n a multiple of 32 -> (B, 2, n/2, n/2).

    The maps: what through a soft plus is the natural log of what shadows leave of the light, negated; and the logit of
    bare paper.
    """

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__(4, widths)
        self.maps = nn.Conv2d(widths[1], 2, 3, 1, 1)
        assert self.maps.bias is not None
        self.maps.bias.data[:] = torch.tensor([-3.0, 0.5])  # most places are in no shadow

    def forward(self, x: Tensor) -> Tensor:
        return self.maps(self.features(x)[0])
