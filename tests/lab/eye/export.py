"""Writes the network as ONNX with half-float weights, as the library's own runtime loads it."""

import copy
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

# The oldest operator set that has all the network needs; the runtime reads it.
_OPSET = 13
# Below this many numbers a tensor stays float32: biases and shapes.
_LEAST_HALF = 256


def export(net: nn.Module, path: Path, given: torch.Tensor, inputs: list[str], outputs: list[str]) -> None:
    """Batch normalisation folded into the convolutions, weights as float16 that are cast back on loading.

    given: a tensor of the input's shape; inputs, outputs: their names.
    """
    plain = _folded(copy.deepcopy(net).float().cpu().eval().to(memory_format=torch.contiguous_format))
    names = {"input_names": inputs, "output_names": outputs}
    torch.onnx.export(plain, (given,), str(path), opset_version=_OPSET, dynamo=False, **names)
    onnx.save(_halved(onnx.load(str(path))), str(path))


def _folded(net: nn.Module) -> nn.Module:
    for part in net.modules():
        if isinstance(part, nn.Sequential):
            for k in range(len(part) - 1):
                first, second = part[k], part[k + 1]
                if isinstance(first, nn.Conv2d) and isinstance(second, nn.BatchNorm2d):
                    part[k], part[k + 1] = fuse_conv_bn_eval(first, second), nn.Identity()
    return net


def _halved(model: onnx.ModelProto) -> onnx.ModelProto:
    casts = []
    for tensor in model.graph.initializer:
        values = numpy_helper.to_array(tensor)
        if values.dtype == np.float32 and values.size >= _LEAST_HALF:
            name = tensor.name
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), name + "_half"))
            casts.append(helper.make_node("Cast", [name + "_half"], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)
    return model
