"""What the engine believes of a process before it has seen a chart: one set of numbers each.

The colour processes' numbers are printed by `benchmarks/derive_colour_defaults.py`; change them there, not here.
"""

from __future__ import annotations

from dataclasses import dataclass

from dryside.negatives.recipe import IDENTITY, Matrix, Triple


@dataclass(frozen=True)
class ProcessDefaults:
    """Default numbers of a process.

    Attributes
    ----------
    density_matrix : 3 x 3
        From density above film base (E-6: above bare light) in powers of two to log2 exposure of the layers.
    toe, shoulder : 3 floats each
        See `recipe.Recipe`; ``u`` is 1 at the film base.
    colour_matrix : 3 x 3
        From balanced layer exposures to linear sRGB; its rows sum to 1.
    neutral : 3 floats
        log2 exposure of a grey card's three layers, in units of ``u``, in a frame exposed as metered.
    """

    density_matrix: Matrix
    toe: Triple
    shoulder: Triple
    colour_matrix: Matrix
    neutral: Triple


C41 = ProcessDefaults(
    density_matrix=((2.001, -0.245, -0.136), (-0.403, 2.305, -0.462), (0.239, -0.808, 1.964)),
    toe=(0.95, 0.95, 0.93),
    shoulder=(0.0, 0.0, 0.0),
    colour_matrix=((1.473, -0.434, -0.039), (-0.057, 1.025, 0.032), (-0.029, -0.002, 1.031)),
    neutral=(2.4, 2.4, 2.4),
)
ECN2 = ProcessDefaults(
    density_matrix=((2.4, -0.30, -0.16), (-0.48, 2.77, -0.55), (0.29, -0.97, 2.36)),
    toe=C41.toe,
    shoulder=C41.shoulder,
    colour_matrix=C41.colour_matrix,
    neutral=(2.4, 2.4, 2.4),
)
E6 = ProcessDefaults(
    density_matrix=((-0.62, 0.02, 0.02), (0.03, -0.62, 0.03), (0.02, 0.05, -0.60)),
    toe=(0.0, 0.0, 0.0),
    shoulder=(0.0, 0.0, 0.0),
    colour_matrix=IDENTITY,
    neutral=(-1.9, -1.9, -1.9),
)
BW = ProcessDefaults(
    # The green channel is the sharpest and the least noisy of most cameras; silver is neutral, so any mix will do.
    density_matrix=((0.25, 1.15, 0.25), (0.25, 1.15, 0.25), (0.25, 1.15, 0.25)),
    toe=(0.9, 0.9, 0.9),
    shoulder=(0.0, 0.0, 0.0),
    colour_matrix=IDENTITY,
    neutral=(3.0, 3.0, 3.0),
)

DEFAULTS = {"c41": C41, "ecn2": ECN2, "e6": E6, "bw": BW}
