"""The network: the body of the eye for shade, with three maps."""

import torch
from torch import Tensor, nn

from ..eye.net import Body

# As the eye for shade, from whose weights it starts.
_WIDTHS = (12, 20, 32, 56, 80, 112)


class GroundNet(Body):
    """(B, 4, n, n), RGB codes 0..1 and what each pixel shows 0..1, n a multiple of 32 -> (B, 3, n/2, n/2): logits of
    light paper, of toned paper, and of no bare paper."""

    def __init__(self, widths: tuple[int, ...] = _WIDTHS) -> None:
        super().__init__(4, widths)
        self.maps = nn.Conv2d(widths[1], 3, 3, 1, 1)
        assert self.maps.bias is not None
        self.maps.bias.data[:] = torch.tensor([0.5, -0.5, 0.0])

    def forward(self, x: Tensor) -> Tensor:
        return self.maps(self.features(x)[0])
