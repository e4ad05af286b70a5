"""The recipes that the speed of the engine is measured with: a colour negative's, of ordinary numbers."""

from __future__ import annotations

from dataclasses import replace

from dryside.negatives.recipe import Recipe
from dryside.negatives.rendering import PRINT, SCENE, SRGB_LUMINANCE, Rendering

PLAIN = Recipe(
    density_matrix=((1.78, 0.07, 0.02), (-0.09, 1.81, -0.30), (0.08, -0.57, 1.90)),
    offset=(-3.1, -4.6, -6.5),
    colour_matrix=((1.47, -0.43, -0.04), (-0.06, 1.03, 0.03), (-0.03, 0.0, 1.03)),
    rendering=Rendering("scene", "sRGB", SRGB_LUMINANCE, "srgb", full_scale=4.0),
)
TOED = replace(PLAIN, toe=(0.09, 0.08, 0.08))
CURVED = replace(TOED, shoulder=(0.001, 0.0008, 0.001))
LINEAR = replace(CURVED, rendering=SCENE)
PRINTED = replace(CURVED, rendering=PRINT)
