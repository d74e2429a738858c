"""The network: the body of the eye for shade, with two maps, of the light and of how far it may be off."""

import torch
from torch import Tensor, nn

from ..eye.net import Body

# As the eye for shade, from whose weights it starts.
_WIDTHS = (12, 20, 32, 56, 80, 112)


class LightNet(Body):
    """(B, 4, n, n), RGB codes 0..1 and what each pixel shows 0..1, n a multiple of 32 -> (B, 2, n/2, n/2): natural log
    of the light, to which any constant may be added; and the natural log of what that is off by in the mean."""

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__(4, widths)
        self.maps = nn.Conv2d(widths[1], 2, 3, 1, 1)
        assert self.maps.bias is not None
        self.maps.bias.data[:] = torch.tensor([0.0, -2.5])  # a twelfth

    def forward(self, x: Tensor) -> Tensor:
        return self.maps(self.features(x)[0])
