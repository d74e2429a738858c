"""The light over the work, from its bare paper: a smooth relative field, or the reason why it is left alone."""

import numpy as np

from autoprep.correction.apply import light_at
from autoprep.correction.paper import Paper
from autoprep.correction.paper_class import PaperClass
from autoprep.domain import Declined, LightField
from autoprep.imaging.arrays import Float64
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.geometry import homography, project, rectangle
from autoprep.pixels import light_nodes, packed_light

# Grid nodes along the longer side: a field of order 4 bends far less than 20; a sheet's own light, that is known in 120
# cells, needs more, and the border of a hard shadow, a millimetre or two, still more.
_NODES, _NODES_ON_SHEET, _NODES_IN_SHADOW = 20, 80, 160


def light_field(paper: Paper | Declined, paper_class: PaperClass, ratio: float) -> LightField | Declined:
    """The relative light over the work as a grid; its luminance is 1 in the (geometric) mean.

    On white and tinted paper the colour of the light is evened too; on toned paper as well, since paper is one
    colour whatever it is. Without bare paper nothing is known of the light.
    """
    if isinstance(paper, Declined):
        return paper
    if paper_class == "none":
        return Declined(
            reason=f"only {100 * paper.coverage:.0f} % of the surface looks like bare paper; the light is left alone"
        )
    most = _NODES if paper.shade is None else _NODES_IN_SHADOW if paper.sheet is None else _NODES_ON_SHEET
    rows, cols = (most, max(4, round(most * ratio))) if ratio <= 1 else (max(4, round(most / ratio)), most)
    field = paper.log_field(rows, cols).astype(np.float64)
    reference = np.log(paper.mean_linear())
    relative = field - reference
    return packed_light(relative)


def in_frame(light: LightField, around: Float64) -> LightField:
    """The same light on the grid of another frame, whose (4, 2) corners are `around` in that of the light, 0..1."""
    across, down = ((np.arange(count) + 0.5) / count for count in (light.cols, light.rows))
    places = np.stack(np.meshgrid(across, down), axis=-1)
    return packed_light(light_at(light, project(homography(rectangle(1.0, 1.0), around), places)))


def unevenness_percent(field: LightField | Declined) -> float | None:
    """(max - min) / mean of the light's luminance over the work, in percent; None when declined."""
    if isinstance(field, Declined):
        return None
    light = np.exp(light_nodes(field).astype(np.float64)) @ LUMINANCE.astype(np.float64)
    return float((light.max() - light.min()) / light.mean() * 100)
