"""What every page has: no network, one style and one script each, allowed by their hashes, and everything escaped."""

import base64
import hashlib
from collections.abc import Sequence
from functools import cache
from html import escape
from importlib import resources


@cache
def asset(name: str) -> str:
    """A style or script of the package as text."""
    return (resources.files("autoprep.told") / "assets" / name).read_text(encoding="utf-8")


def page(
    title: str,
    said: str,
    body: str,
    *,
    styles: Sequence[str] = (),
    scripts: Sequence[str] = (),
    images: str = "'self' file:",
) -> str:
    """A page as text. said and body are HTML, and must be escaped; the title is escaped here.

    styles, scripts: names of assets; images: what the page may show, as a content security policy has it.
    """
    style = "\n".join(asset(name) for name in ("page.css", *styles))
    script = "\n".join(asset(name) for name in scripts)
    policy = (
        f"default-src 'none'; img-src {images}; style-src 'sha256-{_hash(style)}'; "
        f"script-src 'sha256-{_hash(script)}'; base-uri 'none'; form-action 'none'"
    )
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style}</style></head><body>"
        f"<header><h1>{escape(title)}</h1>{said}</header><main>{body}</main>"
        f"<script>{script}</script></body></html>"
    )


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
