"""Soft proof: how a picture will look on a paper, and which of its colours the paper cannot show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from dryside.film.refusal import Refusal
from dryside.prints.colour import (
    REMEDY,
    Intent,
    Profile,
    as_image,
    convert,
    intent_number,
    open_profile,
    profile_of,
    to_lab,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]

VISIBLE_DELTA_E = 5.0
"""Difference (CIE 1976) from which a colour counts as one the paper cannot show. 2.3 is just noticeable side by side
(from memory); 8-bit L*a*b* is sure to about 1."""
_MAP_STRIPE_PX = 8


@dataclass(frozen=True, eq=False)
class SoftProof:
    """A picture as a paper will show it.

    Attributes
    ----------
    shown : ndarray of shape (rows, columns, 3), uint8
        sRGB, for a screen.
    out_of_gamut : ndarray of shape (rows, columns), bool
        Where the paper cannot show the colour.
    out_pct : float
        Share of the picture out of gamut.
    worst_delta_e : float
        Largest difference.
    """

    shown: Image8
    out_of_gamut: NDArray[np.bool_]
    out_pct: float
    worst_delta_e: float

    @property
    def words(self) -> str:
        """The finding in a sentence."""
        if self.out_pct < 0.05:
            return "the paper shows every colour of the picture"
        return f"{self.out_pct:.1f} % of the picture has colours that the paper cannot show; they print duller"


def soft_proof(
    picture: Image8, source: Profile, paper: Profile, *, intent: Intent = "relative", paper_white: bool = False
) -> SoftProof:
    """Look at a picture through a paper's profile.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), uint8
        RGB as `source` describes it.
    source, paper : Profile
        The picture's and the paper's profile.
    intent : str, optional
        How colours are brought onto the paper.
    paper_white : bool, optional
        Whether to show the paper's own white and black too, duller than a screen's.

    Raises
    ------
    Refusal
        If the paper's profile cannot be looked back through (made for output only in one direction).
    """
    import numpy as np
    from PIL import ImageCms

    screen = profile_of("srgb")
    try:
        transform = ImageCms.buildProofTransform(
            open_profile(source),
            open_profile(screen),
            open_profile(paper),
            source.mode,
            screen.mode,
            ImageCms.Intent(intent_number(intent)),  # onto the paper
            ImageCms.Intent(intent_number("absolute" if paper_white else "relative")),  # from the paper to the screen
            ImageCms.Flags.SOFTPROOFING,
        )
        shown = np.asarray(ImageCms.applyTransform(as_image(picture, source), transform))
        # Measured relative to the paper's white, and not by how an intent or a lifted black moves all colours.
        printed = convert(picture, source, paper, "relative", keep_black=False)
        there_and_back = to_lab(printed, paper)
    except ImageCms.PyCMSError as error:
        raise Refusal(f"profile {paper.name}", f"no proof can be made with it ({error})", REMEDY) from error
    delta = np.sqrt(((there_and_back - to_lab(picture, source)) ** 2).sum(axis=-1))
    out = delta > VISIBLE_DELTA_E
    return SoftProof(shown, out, 100 * float(out.mean()), float(delta.max(initial=0)))


def draw_map(proof: SoftProof) -> Image8:
    """The proof in grey, with what is out of gamut striped in a colour that no picture has: magenta and white."""
    import numpy as np

    grey = proof.shown.mean(axis=-1, keepdims=True).astype(np.uint8)
    rows, columns = np.indices(proof.out_of_gamut.shape)
    stripe = np.less((rows + columns) % _MAP_STRIPE_PX, _MAP_STRIPE_PX // 2)[..., None]
    marked = np.where(stripe, np.array([255, 0, 255], np.uint8), np.array([255, 255, 255], np.uint8))
    return np.where(proof.out_of_gamut[..., None], marked, np.repeat(grey, 3, axis=2)).astype(np.uint8)
