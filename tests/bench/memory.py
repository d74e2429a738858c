"""The most memory that a worker's process holds while it does one job, for photos of three sizes."""

import io
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

_SIDES = {"12 MP, MiB": 1, "48 MP, MiB": 2, "108 MP, MiB": 3}  # so many times the photo's own sides

_WORK = """
import os, sys
from pathlib import Path
from tests.bench.figures import Bench
from tests.bench.history import memory_of
Bench(Path(sys.argv[1]), Path(sys.argv[2]), compared=False)
print(memory_of(os.getpid(), "VmHWM"))  # what getrusage tells begins with the parent's own peak
"""


def peaks(photo: Path) -> dict[str, float]:
    """Size -> MiB at the most, each in a process of its own."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, times in _SIDES.items():
            path = Path(folder) / f"{times}.jpg"
            path.write_bytes(_enlarged(photo, times))
            done = subprocess.run(
                [sys.executable, "-c", _WORK, str(path), folder], capture_output=True, text=True, check=True
            )
            found[name] = float(done.stdout.split()[-1])
    return found


def _enlarged(photo: Path, times: int) -> bytes:
    if times == 1:
        return photo.read_bytes()
    with Image.open(photo) as image:
        out = io.BytesIO()
        large = image.resize((image.width * times, image.height * times), Image.Resampling.BICUBIC)
        large.save(out, "JPEG", quality=92, exif=image.info.get("exif", b""), icc_profile=image.info.get("icc_profile"))
    return out.getvalue()
