"""The tables of autoprep.toml as frozen values, and all settings together."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import ConfigDict, Field

from autoprep.wishes.destinations import Preset, Table


class Folders(Table):
    """Where things lie, relative to the studio."""

    model_config = ConfigDict(defer_build=True, frozen=True, extra="forbid", strict=False)

    inbox: Path = Path("inbox")
    ready: Path = Path("ready")
    needs_a_look: Path = Path("needs-a-look")
    records: Path = Path("records")


class Artist(Table):
    """Whose pictures these are."""

    name: str = ""
    website: str = ""
    email: str = ""

    @property
    def traces(self) -> tuple[str, ...]:
        """What tells whose pictures these are, the name first: nothing of it may leave with a blind one."""
        return (self.name, *filter(None, (self.email, self.website)))


DataMining = Literal[
    "unspecified",
    "allowed",
    "prohibited",
    "prohibited for training",
    "prohibited for generative training",
    "prohibited except search indexing",
]


class Rights(Table):
    """The rights statement that goes into every file."""

    notice: str = "© {year} {artist}"
    usage_terms: str = "All rights reserved"
    credit: str = "{artist}"
    statement_url: str = ""
    licensing_url: str = ""
    licensing_email: str = ""
    keywords: Annotated[tuple[str, ...], Field(strict=False)] = ()
    data_mining: DataMining = "unspecified"


MarkCorner = Literal["auto", "top-left", "top-right", "bottom-left", "bottom-right"]


class Mark(Table):
    """The small visible mark."""

    text: str = "© {artist}"
    font: str = ""
    picture: str = ""
    height_percent: Annotated[float, Field(ge=0.5, le=10)] = 2.0
    opacity_percent: Annotated[float, Field(ge=5, le=100)] = 50.0
    contrast: Literal["quiet", "readable"] = "quiet"
    corner: MarkCorner = "auto"


# Chosen on 88 photos of the lab's tuning seeds (11000-14500), three in four of them with a contrast curve: against
# leaving the curve alone, the colour difference falls by 8 % on pencil and ink, 10 % on paintings, 12 % on toned paper.
CAMERA_CONTRAST = 0.09


class Correction(Table):
    """Choices of the correction."""

    paper: Literal["clean", "keep"] = "clean"
    paper_lightness: Annotated[float, Field(ge=85, le=99)] = 96.5
    sharpening: Annotated[float, Field(ge=0, le=2)] = 1.0
    flat: bool = True
    camera_contrast: Annotated[float, Field(ge=0, le=0.5)] = CAMERA_CONTRAST
    takes: Literal["best", "all"] = "best"
    sure_enough: Annotated[float, Field(ge=0, le=1)] = 0.90


class Credentials(Table):
    """Who signs content credentials: PEM files of the artist's own; empty: those that `autoprep credentials` makes."""

    certificate: str = ""
    key: str = ""


class Inbox(Table):
    """What lies in the inbox: works and nothing else, or everything that a phone takes; and what becomes of frames."""

    holds: Literal["works", "everything"] = "everything"
    frames: Literal["keep", "leave out"] = "keep"


class ClusterTls(Table):
    """The PEM files with which the cluster's connections are closed to others."""

    ca: str = ""
    certificate: str = ""
    key: str = ""


class Service(Table):
    """How the service works."""

    workers: Annotated[int, Field(ge=0, le=64)] = 0
    settle_s: Annotated[float, Field(ge=0, le=600)] = 2.0
    rescan_s: Annotated[float, Field(ge=0.2, le=3600)] = 30.0
    job_limit_s: Annotated[float, Field(ge=1, le=3600)] = 120.0
    attempts: Annotated[int, Field(ge=1, le=20)] = 3
    worker_memory_mb: Annotated[int, Field(ge=500)] = 4000
    max_megapixels: Annotated[float, Field(gt=0, le=1000)] = 250.0
    min_free_mb: Annotated[float, Field(ge=0)] = 500.0
    heic: bool = True
    comparisons_days: Annotated[int, Field(ge=0, le=36500)] = 0
    metrics_file: str = ""
    cluster: str = ""
    cluster_tls: ClusterTls = ClusterTls()


class Main(Table):
    """The tables of autoprep.toml."""

    folders: Folders = Folders()
    artist: Artist = Artist()
    rights: Rights = Rights()
    mark: Mark = Mark()
    credentials: Credentials = Credentials()
    inbox: Inbox = Inbox()
    correction: Correction = Correction()
    service: Service = Service()


class Settings(Table):
    """Everything that the service runs by; paths are absolute."""

    studio: Path
    config_file: Path
    folders: Folders
    artist: Artist
    rights: Rights
    mark: Mark
    credentials: Credentials = Credentials()
    inbox: Inbox = Inbox()
    correction: Correction
    service: Service
    destinations: dict[str, Preset]
    sha256: str
