"""Small networks whose weights are data files of this package."""

import hashlib
from importlib import resources

import cv2
import numpy as np


def network(package: str, name: str, sha256: str) -> cv2.dnn.Net | None:
    """The network of a file in a package, or None where it is missing or not the one that the code was made for."""
    file = resources.files(package).joinpath(name)
    if not file.is_file():
        return None
    data = file.read_bytes()
    if hashlib.sha256(data).hexdigest() != sha256:
        return None
    return cv2.dnn.readNetFromONNX(np.frombuffer(data, np.uint8))
