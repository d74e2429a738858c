"""`python -m tests.faults.bombs`: files that are small and unpack to much, given to the real service one by one.

Measured of each: the most memory that the worker and the service held, how long it took until the photo had an outcome,
and whether a good photo came out after it. `--only WORD`: those whose name has the word. About ten minutes. Linux.
"""

import argparse
import io
import struct
import tempfile
import threading
import time
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image

from tests import photos
from tests.bench.history import memory_of
from tests.faults.small import Trial, studio_in, until

_MB = 1_000_000
UNPACKED = 200 * _MB


@dataclass(frozen=True)
class Met:
    """What came of a bomb. Memory in MiB, the most of the worker and of the service, and the service's before."""

    outcome: str
    reasons: tuple[str, ...]
    seconds: float
    worker_mb: float
    before_mb: float
    service_mb: float
    good_after: bool
    wrong: list[str] = field(default_factory=list)


class Watched:
    """The most memory of a service and of its workers, looked at a hundred times a second while the block runs."""

    def __init__(self, pid: int) -> None:
        self._pid, self._over = pid, threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self.worker_mb = self.service_mb = 0.0

    def __enter__(self) -> "Watched":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        while not self._over.wait(0.01):
            self.service_mb = max(self.service_mb, _most(self._pid))
            self.worker_mb = max([self.worker_mb, *map(_most, workers_of(self._pid))])


def _most(pid: int) -> float:
    try:
        return memory_of(pid, "VmHWM")
    except OSError:  # it has just ended
        return 0.0


def workers_of(pid: int) -> list[int]:
    """The processes that a service has started and that may hold a photo, by what the system knows."""
    found = []
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        try:
            found += [int(child) for child in task.read_text().split() if is_worker(int(child))]
        except OSError:  # a thread that has just ended
            continue
    return found


def is_worker(pid: int) -> bool:
    """Whether a process is one of a pool's workers, and not what tracks the resources of them all."""
    try:
        return b"spawn_main" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False


# --- the files ---------------------------------------------------------------------------------------------------


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _packed_zeros(size: int, letter: bytes = b"\0") -> bytes:
    packer, block = zlib.compressobj(9), letter * 1_000_000
    whole = [packer.compress(block) for _ in range(size // len(block))]
    return b"".join([*whole, packer.compress(block[: size % len(block)]), packer.flush()])


def png_of(width: int, height: int, *, bits: int = 8, channels: int = 3, real: bool = True) -> bytes:
    """A black PNG; not real: its header alone is that large, and one row follows."""
    row = 1 + width * channels * bits // 8
    kind = {1: 0, 3: 2, 4: 6}[channels]
    header = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, 0)
    pixels = _packed_zeros(row * height if real else row)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", header) + _chunk(b"IDAT", pixels) + _chunk(b"IEND", b"")


def png_with(*chunks: tuple[bytes, bytes]) -> bytes:
    """A good photo as PNG with these chunks before its pixels."""
    out = io.BytesIO()
    with Image.open(io.BytesIO(photos.jpeg())) as image:
        image.save(out, "PNG")
    data = out.getvalue()
    return data[:33] + b"".join(_chunk(name, body) for name, body in chunks) + data[33:]


def jpeg_with(*segments: tuple[int, bytes]) -> bytes:
    """A good photo as JPEG with these segments at its start."""
    data = photos.jpeg()
    inside = b"".join(bytes((0xFF, marker)) + struct.pack(">H", len(body) + 2) + body for marker, body in segments)
    return data[:2] + inside + data[2:]


def _profile_of_255_segments() -> bytes:
    body = bytes(65_519)
    return jpeg_with(*((0xE2, b"ICC_PROFILE\0" + bytes((number, 255)) + body) for number in range(1, 256)))


def packet_of_entities(levels: int, width: int = 10) -> bytes:
    """An XMP packet whose entities unfold to `width` ** levels words."""
    names = [f'<!ENTITY e0 "{"lol " * width}">']
    names += [f'<!ENTITY e{n} "{f"&e{n - 1};" * width}">' for n in range(1, levels)]
    return (
        '<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><!DOCTYPE x ['
        + "".join(names)
        + f']><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        f"<rdf:Description>&e{levels - 1};</rdf:Description></rdf:RDF></x:xmpmeta>"
        '<?xpacket end="w"?>'
    ).encode()


def many_entities(count: int) -> bytes:
    """An XMP packet that names so many entities, and turns the picture nowhere."""
    names = "".join(f'<!ENTITY n{n} "{n}">' for n in range(count))
    return packet_of_entities(1).replace(b"<!ENTITY e0", names.encode() + b"<!ENTITY e0")


def jpeg_of_scans(width: int, height: int, scans: int, *, plain: bool = False) -> bytes:
    """A progressive JPEG whose last scan comes so many times; plain: of one tone, so that a scan takes few bytes."""
    out = io.BytesIO()
    sheet = Image.fromarray(photos.sheet())
    picture = Image.new("RGB", (width, height), "grey") if plain else sheet.resize((width, height))
    picture.save(out, "JPEG", quality=40, progressive=True)
    data = out.getvalue()
    last = data.rfind(b"\xff\xda")
    table = data.rfind(b"\xff\xc4", 0, last)  # the last scan's own table
    return data[:-2] + data[table:-2] * (scans - 1) + data[-2:]


def large_photo(width: int = 16_320, height: int = 12_240) -> bytes:
    """A photo of a sheet as a phone of 200 megapixels takes it."""
    out = io.BytesIO()
    with Image.open(io.BytesIO(photos.jpeg())) as image:
        large = image.resize((width, height), Image.Resampling.BICUBIC)
    grain = Image.effect_noise((1024, 1024), 12).convert("RGB")
    for left in range(0, width, 1024):
        for top in range(0, height, 1024):
            place = (left, top, min(left + 1024, width), min(top + 1024, height))
            part = large.crop(place)
            large.paste(Image.blend(part, grain.crop((0, 0, *part.size)), 0.1), place)
    large.save(out, "JPEG", quality=90)
    return out.getvalue()


BOMBS: dict[str, tuple[str, Callable[[], bytes]]] = {
    "a PNG's header of 50,000 x 50,000": ("png", lambda: png_of(50_000, 50_000, real=False)),
    "a PNG of 30,000 x 30,000": ("png", lambda: png_of(30_000, 30_000)),
    "a PNG of 15,800 x 15,800, within the limit": ("png", lambda: png_of(15_800, 15_800)),
    "a PNG of 15,800 x 15,800, 16 bits and alpha": ("png", lambda: png_of(15_800, 15_800, bits=16, channels=4)),
    "a packed text of 200 MB in a PNG": (
        "png", lambda: png_with((b"zTXt", b"Comment\0\0" + _packed_zeros(UNPACKED, b"a"))),
    ),
    "packed XMP of 200 MB in a PNG": (
        "png", lambda: png_with((b"iTXt", b"XML:com.adobe.xmp\0\1\0\0\0" + _packed_zeros(UNPACKED, b"a"))),
    ),
    "an ICC profile of 200 MB in a PNG": ("png", lambda: png_with((b"iCCP", b"own\0\0" + _packed_zeros(UNPACKED)))),
    "an ICC profile of 255 segments in a JPEG": ("jpg", _profile_of_255_segments),
    "XMP of 10^9 words by nine entities in a JPEG": (
        "jpg", lambda: jpeg_with((0xE1, b"http://ns.adobe.com/xap/1.0/\0" + packet_of_entities(9))),
    ),
    "XMP of 100,000 entities in a PNG": (
        "png", lambda: png_with((b"iTXt", b"XML:com.adobe.xmp\0\0\0\0\0" + many_entities(100_000))),
    ),
    "a JPEG of 400 scans": ("jpg", lambda: jpeg_of_scans(2000, 1500, 400)),
    "a JPEG of 12 megapixels and 2,000 scans": ("jpg", lambda: jpeg_of_scans(4000, 3000, 2000)),
    "a JPEG of 240 megapixels and 2,000 scans": ("jpg", lambda: jpeg_of_scans(16_000, 15_000, 2000, plain=True)),
    "a photo of 200 megapixels": ("jpg", large_photo),
}  # fmt: skip
"""Name -> the file's ending, and what makes its bytes."""

# --- one bomb ----------------------------------------------------------------------------------------------------


def explode(folder: Path, ending: str, data: bytes, limit_s: float) -> Met:
    """Give these bytes to a service at rest, then a good photo; what came of both."""
    trial = Trial(studio_in(folder))
    trial.start()
    assert trial.process is not None
    try:
        until(trial.listens, 60)
        before = memory_of(trial.process.pid, "VmHWM")
        with Watched(trial.process.pid) as watched:
            (trial.settings.folders.inbox / f"bomb.{ending}").write_bytes(data)
            began = time.monotonic()
            until(lambda: trial.done() > 0, limit_s)
            seconds = time.monotonic() - began
        outcome, reasons = _told(trial)
        trial.more(1)
        good = until(lambda: trial.done() > 1, 60)
        wrong = [] if trial.alive else [f"the service ended: {trial.said()}"]
        wrong += [] if (trial.settings.folders.inbox / f"bomb.{ending}").read_bytes() == data else ["another original"]
    finally:
        if trial.alive:
            trial.kill()
    return Met(outcome, reasons, seconds, watched.worker_mb, before, watched.service_mb, good, wrong)


def _told(trial: Trial) -> tuple[str, tuple[str, ...]]:
    found = [record for record in trial.records() if record.photo.startswith("bomb")]
    return (found[0].outcome, found[0].reasons) if found else ("nothing yet", ())


def main() -> None:
    """Explode and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default="", help="those whose name has this word")
    given = parser.parse_args()
    for name, (ending, make) in BOMBS.items():
        if given.only not in name:
            continue
        data = make()
        with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
            met = explode(Path(folder) / "studio", ending, data, limit_s=600)
        print(f"{name} ({len(data) / _MB:.2f} MB): {met.outcome} after {met.seconds:.1f} s; worker {met.worker_mb:.0f} "
              f"MiB, service {met.service_mb:.0f} (before {met.before_mb:.0f}); good photo after it: {met.good_after}; "
              f"{met.reasons} {met.wrong or ''}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
