"""The film simulator: draws captures of developed film on a light table, and knows the truth about them.

The way: pictures (`scenes`, or any scene-linear array) are laid on a strip (`lay_out`, `FilmStrip`), an emulsion
(`emulsions`, or any callable) turns the light they met into transmittance, a `Camera` photographs it (`draw_capture`)::

    rng = np.random.default_rng(1)
    strip = lay_out([landscape(rng), portrait(rng), leaves(rng)], first_number=5)
    made = draw_capture(Placed(strip, tilt_degrees=1.5), Camera(rows=700, columns=2400, pixels_per_mm=18), seed=1)
    made.pixels, made.flat, made.frames[0].corners, made.frames[0].label

Everything follows from the arguments and the seed. Film points count in mm from a strip's own top-left corner.
"""

from dryside.demo.simulator.camera import Camera, Placed
from dryside.demo.simulator.capture import SimulatedCapture, TrueFrame, TrueStrip, draw_capture
from dryside.demo.simulator.emulsions import (
    BY_PROCESS,
    CINE_NEGATIVE,
    COLOUR_NEGATIVE,
    SILVER_NEGATIVE,
    SLIDE,
    PlainEmulsion,
)
from dryside.demo.simulator.film_strip import ExposedFrame, FilmStrip, Fog, lay_out
from dryside.demo.simulator.marks import CodeStyle
from dryside.demo.simulator.scenes import DRAWN, dark, landscape, leaves, night, patches, portrait, snow

__all__ = [
    "BY_PROCESS",
    "CINE_NEGATIVE",
    "COLOUR_NEGATIVE",
    "DRAWN",
    "SILVER_NEGATIVE",
    "SLIDE",
    "Camera",
    "CodeStyle",
    "ExposedFrame",
    "FilmStrip",
    "Fog",
    "Placed",
    "PlainEmulsion",
    "SimulatedCapture",
    "TrueFrame",
    "TrueStrip",
    "dark",
    "draw_capture",
    "landscape",
    "lay_out",
    "leaves",
    "night",
    "patches",
    "portrait",
    "snow",
]
