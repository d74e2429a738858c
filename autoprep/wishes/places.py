"""Where the things lie that the settings name."""

import os
from importlib import resources
from pathlib import Path

from autoprep.wishes.tables import Settings


def ledger_path(settings: Settings) -> Path:
    """Where the ledger lies."""
    return settings.folders.records / "ledger.sqlite3"


def metrics_path(settings: Settings) -> Path | None:
    """Where the text file for a collector of metrics is kept; None where none is asked for."""
    name = settings.service.metrics_file
    return Path(os.path.normpath(settings.studio / name)) if name else None


def cluster_tls_paths(settings: Settings) -> tuple[Path, Path, Path] | None:
    """The cluster's authority, this service's certificate and its key; None for an open connection."""
    tls = settings.service.cluster_tls
    if not (tls.ca or tls.certificate or tls.key):
        return None
    return settings.studio / tls.ca, settings.studio / tls.certificate, settings.studio / tls.key


def credentials_paths(settings: Settings) -> tuple[Path, Path]:
    """Where the certificate and the key of content credentials lie: the artist's own, or those made here."""
    own, config = settings.credentials, settings.config_file.parent
    if own.certificate or own.key:
        return settings.studio / own.certificate, settings.studio / own.key
    return config / "credentials-certificate.pem", config / "credentials-key.pem"


def font_path(settings: Settings) -> Path:
    """The font of the visible mark: the artist's own, else the one that comes along."""
    if settings.mark.font:
        return settings.studio / settings.mark.font
    return Path(str(resources.files("autoprep") / "fonts" / "DejaVuSans.ttf"))
