"""Small file systems for trials, in mounts that no other process sees. Linux, with the right to mount."""

import os
import subprocess
import sys
from pathlib import Path

_INSIDE = "AUTOPREP_OWN_MOUNTS"


def in_own_mounts(module: str) -> None:
    """Go on in a process whose mounts are its own, and go with it: this one is replaced by it, once."""
    if _INSIDE not in os.environ:
        command = ["unshare", "--mount", sys.executable, "-m", module, *sys.argv[1:]]
        os.execvpe(command[0], command, {**os.environ, _INSIDE: "1"})


def mount_memory(place: Path, size_mb: int) -> None:
    """A memory disk of this size."""
    place.mkdir(parents=True, exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size_mb}m", "none", str(place)], check=True)


def mount_ext4(place: Path, size_mb: int) -> None:
    """A disk of ext4 of this size, in a file beside the place."""
    place.mkdir(parents=True, exist_ok=True)
    image = place.with_name(f"{place.name}.img")
    with image.open("wb") as file:
        file.truncate(size_mb * 2**20)
    subprocess.run(["mkfs.ext4", "-q", "-m", "0", str(image)], check=True)
    subprocess.run(["mount", "-o", "loop", str(image), str(place)], check=True)


def unmount(place: Path) -> None:
    """Let it go, whoever uses it still."""
    subprocess.run(["umount", "--lazy", str(place)], check=True)
