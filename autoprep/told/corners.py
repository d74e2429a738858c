"""The corner page: one file with the photo in it, where the artist sets a work's corners, and saves that as a note."""

import base64
from html import escape
from pathlib import PurePosixPath
from typing import get_args

from autoprep.domain import Kind, Outline, WorkFacts
from autoprep.pixels import Photo
from autoprep.told.web import page
from autoprep.wishes.corner_notes import CORNER_NOTE, saved_as

_TURNS = {0: "no", 270: "left", 90: "right", 180: "upside down"}
_MARGIN = 0.06  # of each side, for the corners of a photo in which none were found


def corners_html(photo: Photo, shown: str, jpeg: bytes, outline: Outline | None, facts: WorkFacts, kind: str) -> str:
    """The page as text.

    shown: the photo's path below the inbox; jpeg: a small upright picture of it; outline: where the corners are at
    first; facts: what is said of the work; kind: what it was seen as, empty where it was not.
    """
    width, height = photo.full_px
    stem = PurePosixPath(shown).stem
    corners = " ".join(f"{x:.0f},{y:.0f}" for x, y in _first(outline, width, height))
    body = (
        f'<div class="bench" id="bench" data-photo="{escape(shown)}" data-size="{width} {height}" '
        f'data-corners="{corners}"><div id="photo"><img src="data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}" '
        'alt="the photo"><svg aria-hidden="true"></svg>'
        + "".join(f'<button type="button" class="corner">{letter}</button>' for letter in "ABCD")
        + '<canvas id="near" width="300" height="300" aria-hidden="true"></canvas></div><div>'
        + _fields(facts, kind)
        + '<p id="wrong" role="alert" hidden>These corners cross each other: A is the top left one, then clockwise.</p>'
        '<canvas id="result" width="440" height="300" aria-label="the work straightened"></canvas>'
        '<p class="quiet">Straightened as a sketch: light and colours are not corrected here, and the true proportion '
        'is measured later.</p><h2>The note</h2><pre id="note" tabindex="0" role="region" '
        'aria-label="the note"></pre><div class="row">'
        f'<a class="act" id="save" href="#" download="{escape(saved_as(stem))}{CORNER_NOTE}.txt">Save the note</a>'
        '<button type="button" class="act" id="copy">Copy its text</button><span id="done" role="status"></span></div>'
        "<p>Put the saved file into the inbox, beside the photo or at the top: the pictures are made again by it. If "
        "you copy the text, paste it into a note beside the photo.</p></div></div>"
    )
    said = (
        "<p>Drag the letters A to D until the marks meet the corners of the work; the arrow keys move a letter that is "
        "chosen, with the shift key further. A corner may lie outside the photo.</p>"
    )
    return page(
        f"Corners of {facts.title or stem}", said, body, styles=["corners.css"], scripts=["corners.js"], images="data:"
    )


def _first(outline: Outline | None, width: int, height: int) -> list[tuple[float, float]]:
    if outline is not None:
        return list(outline.corners_px)
    left, top = _MARGIN * width, _MARGIN * height
    return [(left, top), (width - left, top), (width - left, height - top), (left, height - top)]


def _fields(facts: WorkFacts, kind: str) -> str:
    high, wide = facts.sides()
    size = f"{high} x {wide} {facts.unit}" if high else ""
    turns = "".join(_option(word, word if by else "as it is", facts.turn == by) for by, word in _TURNS.items())
    seen = f"as seen ({kind})" if kind and not facts.kind else "as seen"
    kinds = _option("", seen, not facts.kind) + "".join(_option(k, k, facts.kind == k) for k in get_args(Kind))
    return (
        '<div class="row"><button type="button" class="act" id="all">The whole photo</button>'
        '<button type="button" class="act" id="back">As it was</button></div><div class="row">'
        f'<label>Turn <select id="turn">{turns}</select></label><label>Kind <select id="kind">{kinds}</select></label>'
        f'<label>Size <input id="size" value="{escape(size)}" placeholder="30 x 40 cm" aria-label="Height x width">'
        "</label></div>"
    )


def _option(value: str, text: str, chosen: bool) -> str:
    return f'<option value="{escape(value)}"{" selected" if chosen else ""}>{escape(text)}</option>'
