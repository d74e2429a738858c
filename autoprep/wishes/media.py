"""What works are made with, as captions name it."""

import re

# What works are made with, in the singular, and what such words are qualified by. Only for parts of a caption that
# could also belong to its title; where nothing else is possible, a medium may be anything.
_MEDIA = frozenset((
    "acrylic", "aquarelle", "aquatint", "ballpoint", "biro", "casein", "chalk", "charcoal", "collage", "conte",
    "conté", "crayon", "drypoint", "encaustic", "etching", "fineliner", "gouache", "graphite", "ink", "linocut",
    "lithograph", "marker", "media", "metalpoint", "monoprint", "monotype", "oil", "paint", "pastel", "pen", "pencil",
    "sanguine", "screenprint", "sepia", "silverpoint", "tempera", "wash", "watercolour", "wax", "woodcut",
))  # fmt: skip
_SORTS = frozenset((
    "black", "blue", "bright", "brown", "brush", "coloured", "dip", "dry", "egg", "felt", "fountain", "gel", "grey",
    "india", "indian", "mixed", "red", "soft", "technical", "tip", "walnut", "water", "white",
))  # fmt: skip
_ON_WHAT = frozenset((
    "board", "canvas", "card", "cardboard", "cotton", "linen", "panel", "paper", "wood",
))  # fmt: skip


def is_medium(text: str) -> bool:
    """Whether words name nothing but what works are made with: "pen and ink", "oil on canvas", and not "oil lamp"."""
    folded = " ".join(text.lower().replace("-", " ").replace("color", "colour").split())
    stuff, on, ground = f" {folded}".partition(" on ")
    if on and not stuff:
        return ground.split()[-1] in _ON_WHAT
    return all(_is_stuff(part) for part in re.split(r"\s*[/&+]\s*|\s+(?:and|with|over)\s+", stuff.strip()))


def _is_stuff(text: str) -> bool:
    words = [word if word in _MEDIA else word.removesuffix("s") for word in text.split()]
    return bool(words) and words[-1] in _MEDIA and all(word in _MEDIA or word in _SORTS for word in words)
