"""A shine on a sheet, told from more light: a shine lies over the strokes, which are pale in it.

Both make a part of the sheet lighter than a smooth light would. But light falls on paper and strokes alike, so that
these are as dark against the paper as anywhere, and nothing is hidden; what is reflected is added to both.
"""

import numpy as np

from autoprep.imaging.arrays import Float32

# Natural log: what is lighter than the smooth light by so much, and what is not by so much either way; how dark a
# stroke is at the least, and how many pixels of strokes tell anything.
_LIFTED, _EVEN, _STROKE, _TELLS = 0.12, 0.06, -0.15, 60
# Of the darkness of strokes: a pencil's own pressure varies less than that from part to part.
_DARK = 0.25
# A veil of so much of what is lighter there is a shine. (Of 15 real pages of which .7 to 3.7 % was taken for shines,
# though nothing is hidden on them, it is less on 12; of six of the lab's sheets with one, seeds 232012-232216, more on
# four.)
_VEIL = 0.6


def is_veil(rest: Float32, up: Float32) -> bool:
    """Whether what is lighter than a smooth light lies over the strokes, as far as strokes tell; where too few do, yes.

    rest: (h, w) natural log of the work's luminance against its paper in its own light, which strokes are below; up:
    (h, w) by how much that light is lighter than a smooth one.
    """
    strokes = rest < _STROKE
    there, elsewhere = (rest[strokes & part] for part in (up > _LIFTED, np.abs(up) < _EVEN))
    if min(len(there), len(elsewhere)) < _TELLS:
        return True
    pale, dark = (float(np.exp(np.quantile(part, _DARK))) for part in (there, elsewhere))
    added = float(np.expm1(up[up > _LIFTED].mean()))
    return (pale - dark) / (1 - pale) > _VEIL * added
