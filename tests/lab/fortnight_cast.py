"""Which photos Wren Halloway takes in the fortnight."""

from __future__ import annotations

from .fortnight_end import Expected, expected
from .fortnight_photos import A5, INCHES, Frame, takes

SHAKEN = {"motion_px": 30.0}

FRAMES: list[Frame] = [
    *takes(5201, "watercolour", 1, 1, 3, size_mm=INCHES),  # Harbour Wall
    *takes(5204, "ink", 2, 1, 2, size_mm=A5),  # Thrift
    Frame("IMG_5206.jpg", "pencil", 8, 2, extra=SHAKEN),  # Kelp Line, and a late better take
    Frame("IMG_5207.jpg", "pencil", 8, 2, 20),
    *takes(5208, "painting", 3, 2, 3),  # North Slip
    *takes(5211, "watercolour", 5, 3, 3),  # Sea Kale
    *takes(5214, "toned", 3, 3, 2),  # Low Water, with a grey card
    Frame("IMG_5216.jpg", "watercolour", 12, 3, extra={"reference": "grey card", "fill": 0.6}),
    Frame("IMG_5217.jpg", "watercolour", 12, 3, 4, extra={"reference": "grey card", "fill": 0.64}),
    *takes(5218, "ink", 5, 4, 3),  # Punt
    Frame("Gorse on the Neck, 2025, gouache.jpg", "watercolour", 7, 4),
    Frame("IMG_5222.jpg", "ink", 11, 6),  # the four questions
    Frame("IMG_5223.jpg", "watercolour", 9, 6),
    Frame("IMG_5224.jpg", "pencil", 10, 6),
    Frame("IMG_5225.jpg", "watercolour", 13, 6, cropped=True),
    Frame("IMG_5226.jpg", "several", 1, 7),  # stays a question
    Frame("IMG_5227.jpg", "painting", 1, 7, extra={"desk": "plaster", "desk_turn_deg": 0.5}),  # framed
    Frame("IMG_5228.jpg", "ink", 12, 7),  # its outline is put right by the corner page
    *takes(5229, "watercolour", 0, 8, 3),  # lies on its side
    Frame("Screenshot_20260508-101112.png", "screen", 1, 8),
    Frame("IMG_5232.jpg", "desk", 2, 8),
    Frame("IMG_5233.jpg", "desk", 3, 8),
    *[Frame(f"IMG_{5240 + k}.jpg", "journal", k, 9, k) for k in range(6)],  # a sketchbook
    *takes(5250, "watercolour", 10, 10, 3, size_mm=(300.0, 400.0)),  # for the call
    *takes(5253, "watercolour", 11, 10, 3, size_mm=(300.0, 400.0)),
    *takes(5256, "ink", 3, 11, 3),
    *takes(5259, "watercolour", 2, 11, 3),
    *takes(5262, "ink", 6, 12, 3),  # for the site alone
    *takes(5265, "pencil", 4, 13, 3),
    *takes(5268, "ink", 8, 14, 2),
]

MEANT_QUESTIONS = ("IMG_5226.jpg",)
_CALL = {"year": "2026", "medium": "watercolour", "size": "40 x 30 cm"}

EXPECTED: tuple[Expected, ...] = (
    expected(5201, 5202, 5203, title="Harbour Wall", year="2026", medium="watercolour", size="16.5 x 11.75 in"),
    expected(5204, 5205, title="Thrift", year="2026", medium="ink", size="21 x 14.8 cm"),
    expected(5206, 5207, title="Kelp Line", year="2026", medium="pencil"),
    expected(5208, 5209, 5210, title="North Slip", year="2026", medium="oil on board"),
    expected(5211, 5212, 5213, title="Sea Kale", year="2026", medium="watercolour"),
    expected(5214, 5215, title="Low Water", year="2026", medium="charcoal"),
    expected(5216, 5217),
    expected(5218, 5219, 5220, title="Punt", year="2026", medium="ink"),
    Expected(("Gorse on the Neck, 2025, gouache.jpg",), "Gorse on the Neck", "2025", "gouache"),
    *[expected(number) for number in (5222, 5223, 5224, 5225)],
    expected(5227, title="Squall"),
    expected(5228),
    expected(5229, 5230, 5231, title="Skerry Light"),
    *[expected(number, title="Saltmere Book 2", year="2026", medium="ink and wash") for number in range(5240, 5246)],
    expected(5250, 5251, 5252, title="Ebb", goes="submission", public=False, **_CALL),
    expected(5253, 5254, 5255, title="The Gut", goes="site square submission", **_CALL),
    expected(5256, 5257, 5258, title="Shingle", year="2026", medium="ink", goes="site"),
    expected(5259, 5260, 5261, title="Marram", year="2026", medium="ink", goes="site square submission"),
    expected(5262, 5263, 5264, title="Lighthouse Stairs", year="c. 2024", goes="site"),
    expected(5265, 5266, 5267),
    expected(5268, 5269),
)
