"""Where the eyes that came after the eye for shade begin to learn."""

from pathlib import Path

from torch import Tensor, nn

from ..eye.shipped import load_shipped
from .net import ShadeNet


def from_shade(net: nn.Module, path: Path, shown: Tensor) -> None:
    """Fill a net of the same body from the eye for shade, or from an earlier one of its own kind.

    shown: some of the net's input.
    """
    if path.name != "shade_eye.onnx":
        return load_shipped(net, path, shown)
    shade = ShadeNet()
    load_shipped(shade, path, shown)
    known = {name: value for name, value in shade.state_dict().items() if not name.startswith("maps.")}
    net.load_state_dict(known, strict=False)
    return None
