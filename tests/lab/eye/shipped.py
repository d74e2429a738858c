"""The shipped weights as a network that learns on: what was folded into its convolutions is taken apart again."""

from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

_HALF = "_half"


def load_shipped(net: nn.Module, path: Path, shown: Tensor) -> None:
    """Fill `net` with the weights of an exported file, so that it sees as they do.

    shown: some of the net's input. Batch normalisation was folded into the convolutions: each gets the mean and the
    spread that its input has there, and gives back what it takes away.
    """
    stored = {
        tensor.name.removesuffix(_HALF): torch.from_numpy(numpy_helper.to_array(tensor).astype(np.float32))
        for tensor in onnx.load(str(path)).graph.initializer
    }
    state = {name: stored[name] for name in net.state_dict() if name in stored}
    missing = [name for name, _ in net.named_parameters() if name not in state and not _of_norm(net, name)]
    if missing:
        raise ValueError(f"{path} has no weights for {', '.join(missing)}")
    net.load_state_dict(state, strict=False)
    norms = dict(_norms(net, stored))
    hooks = [norm.register_forward_pre_hook(_spread_of) for norm in norms]
    for norm, bias in norms.items():
        norm.weight.data.fill_(float(np.sqrt(1 + norm.eps)))
        norm.bias.data.copy_(bias)
        norm.running_mean, norm.running_var = torch.zeros_like(bias), torch.ones_like(bias)
    net.eval()
    with torch.no_grad():
        net(shown)
    for hook in hooks:
        hook.remove()
    for norm in norms:
        norm.running_mean, norm.running_var = norm.seen_mean, norm.seen_var
        norm.weight.data.copy_(torch.sqrt(norm.seen_var + norm.eps))
        norm.bias.data.add_(norm.seen_mean)
    net.train()


def _norms(net: nn.Module, stored: dict[str, Tensor]) -> "list[tuple[nn.BatchNorm2d, Tensor]]":
    """Each batch normalisation with the bias of the convolution that it was folded into."""
    found = []
    for name, part in net.named_modules():
        if isinstance(part, nn.Sequential):
            for k in range(len(part) - 1):
                second = part[k + 1]
                if isinstance(part[k], nn.Conv2d) and isinstance(second, nn.BatchNorm2d):
                    found.append((second, stored[f"{name}.{k}.bias"]))
    return found


def _of_norm(net: nn.Module, name: str) -> bool:
    return isinstance(net.get_submodule(name.rpartition(".")[0]), nn.BatchNorm2d)


def _spread_of(norm: nn.Module, given: tuple[Tensor]) -> None:
    norm.seen_mean = given[0].mean((0, 2, 3))
    norm.seen_var = given[0].var((0, 2, 3), unbiased=False)
