"""ICC profiles for prints: read, checked, and used to convert with a chosen intent (Little CMS through Pillow)."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from dryside.film.refusal import NotFound, Refusal
from dryside.negatives.output_profiles import icc_profile

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image8 = NDArray[np.uint8]
    Image16 = NDArray[np.uint16]

Intent = Literal["perceptual", "relative", "saturation", "absolute"]
INTENTS: tuple[Intent, ...] = ("perceptual", "relative", "saturation", "absolute")
"""Rendering intents of ICC.1 in the order of their numbers there, 0 to 3."""

_NAMED = {
    "srgb": ("sRGB", "srgb"),
    "display-p3": ("Display P3", "srgb"),
    "adobe-rgb": ("Adobe RGB (1998)", "adobe"),
}
NAMES = tuple(_NAMED)
"""Spaces that need no file."""
# ICC.1:2022, 7.2: the header is 128 bytes, its size stands first, 'acsp' at byte 36, the data's space at 16.
_HEADER_BYTES, _SIGNATURE_AT, _SPACE_AT = 128, 36, 16
_MODES = {b"RGB ": "RGB", b"CMYK": "CMYK", b"GRAY": "L"}
REMEDY = "Ask the lab or the paper's maker for its ICC profile (.icc or .icm)."


@dataclass(frozen=True)
class Profile:
    """A checked profile.

    Attributes
    ----------
    name : str
        What it calls itself, or the file's name.
    mode : str
        `RGB`, `CMYK` or `L`: what its pictures are.
    data : bytes
        The profile.
    """

    name: str
    mode: str
    data: bytes = field(repr=False)


def profile_of(text: str) -> Profile:
    """A profile by its file, or one of `NAMES`.

    Raises
    ------
    NotFound
        If there is no such file.
    Refusal
        If it is no ICC profile, or for other things than RGB, CMYK or grey pictures.
    """
    if text.lower() in _NAMED:
        name = _NAMED[text.lower()][0]
        return Profile(name, "RGB", _standard(text.lower()))
    path = Path(text)
    if not path.is_file():
        raise NotFound(f"profile {text}", "no such file", f"Name an ICC file, or one of {', '.join(NAMES)}.")
    return check_profile(path.read_bytes(), path.name)


def _standard(key: str) -> bytes:
    return icc_profile(*_NAMED[key])


def check_profile(data: bytes, name: str) -> Profile:
    """The profile in `data`, if it is one.

    Raises
    ------
    Refusal
        If it is cut off, no ICC profile, or for other things than RGB, CMYK or grey pictures.
    """
    from PIL import ImageCms

    thing = f"profile {name}"
    if len(data) < _HEADER_BYTES or data[_SIGNATURE_AT : _SIGNATURE_AT + 4] != b"acsp":
        raise Refusal(thing, "not an ICC profile", REMEDY)
    if int.from_bytes(data[:4], "big") > len(data):
        raise Refusal(thing, f"cut off: {len(data)} of {int.from_bytes(data[:4], 'big')} bytes", "Copy it again.")
    space = data[_SPACE_AT : _SPACE_AT + 4]
    if space not in _MODES:
        raise Refusal(
            thing, f"for '{space.decode('ascii', 'replace').strip()}' pictures; RGB, CMYK or grey is needed", REMEDY
        )
    try:
        opened = ImageCms.ImageCmsProfile(io.BytesIO(data))
        told = ImageCms.getProfileDescription(opened).strip()
    except (ImageCms.PyCMSError, OSError) as error:
        raise Refusal(thing, f"damaged: it cannot be opened ({error})", REMEDY) from error
    return Profile(told or name, _MODES[space], data)


def check_intent(text: str) -> Intent:
    """The intent that `text` names.

    Raises
    ------
    Refusal
        If it is none.
    """
    for intent in INTENTS:
        if text.strip().lower() == intent:
            return intent
    raise Refusal(f"intent '{text}'", "no rendering intent", f"Use one of: {', '.join(INTENTS)}.")


def intent_number(intent: Intent) -> int:
    """The intent's number in ICC.1."""
    return INTENTS.index(intent)


def convert(
    picture: Image8, source: Profile, target: Profile, intent: Intent = "relative", *, keep_black: bool = True
) -> Image8:
    """Convert a picture between profiles.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3) for RGB, uint8
        As `source` describes it.
    source, target : Profile
        From and to.
    intent : str, optional
        One of `INTENTS`.
    keep_black : bool, optional
        Whether the deepest black goes to the deepest black of the target (black point compensation), so that shadows
        keep their detail. Never with 'absolute'.

    Returns
    -------
    ndarray of shape (rows, columns, n), uint8
        3 channels for RGB, 4 for CMYK; (rows, columns) for grey.

    Raises
    ------
    Refusal
        If the target cannot be converted to (a profile for input only) with that intent.
    """
    import numpy as np
    from PIL import ImageCms

    if source.data == target.data:
        return picture
    compensate = keep_black and intent != "absolute"
    flags = ImageCms.Flags.BLACKPOINTCOMPENSATION if compensate else ImageCms.Flags.NONE
    try:
        transform = ImageCms.buildTransform(
            open_profile(source),
            open_profile(target),
            source.mode,
            target.mode,
            ImageCms.Intent(intent_number(intent)),
            flags,
        )
        image = ImageCms.applyTransform(as_image(picture, source), transform)
    except ImageCms.PyCMSError as error:
        raise Refusal(f"profile {target.name}", f"nothing can be converted to it ({error})", REMEDY) from error
    return np.asarray(image)


def convert_deep(picture: Image16, source: Profile, target: Profile, intent: Intent = "relative") -> Image16:
    """Convert an RGB picture of 16 bits between RGB profiles, black to black (never with 'absolute').

    Pillow knows no 16-bit RGB; this is the same Little CMS, called through imagecodecs.

    Parameters
    ----------
    picture : ndarray of shape (rows, columns, 3), uint16
        As `source` describes it.
    source, target : Profile
        From and to.
    intent : str, optional
        One of `INTENTS`.

    Raises
    ------
    Refusal
        If the target cannot be converted to with that intent.
    """
    import imagecodecs
    import numpy as np

    if source.data == target.data:
        return picture
    try:
        converted = imagecodecs.cms_transform(
            picture,
            source.data,
            target.data,
            colorspace="RGB",
            outcolorspace="RGB",
            outdtype="uint16",
            intent=intent_number(intent),
            flags=0 if intent == "absolute" else int(imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION),
        )
    except (imagecodecs.CmsError, ValueError) as error:
        raise Refusal(f"profile {target.name}", f"nothing can be converted to it ({error})", REMEDY) from error
    return np.asarray(converted, np.uint16)


def to_lab(picture: Image8, source: Profile, intent: Intent = "relative") -> NDArray[np.float64]:
    """CIE L*a*b* (D50) of a picture, shape (rows, columns, 3): L* 0 to 100, a* and b* -128 to 127, to whole units or
    better.
    """
    import numpy as np
    from PIL import ImageCms

    lab = ImageCms.createProfile("LAB")
    transform = ImageCms.buildTransform(
        open_profile(source), lab, source.mode, "LAB", ImageCms.Intent(intent_number(intent))
    )
    raw = np.asarray(ImageCms.applyTransform(as_image(picture, source), transform)).astype(np.float64)
    raw[..., 0] *= 100 / 255
    raw[..., 1:] = (raw[..., 1:] + 128) % 256 - 128  # Pillow keeps a* and b* as signed bytes in unsigned ones
    return raw


def as_image(picture: Image8, profile: Profile) -> Any:
    """A Pillow image of the profile's kind: four channels are CMYK, and not red, green, blue and opacity."""
    from PIL import Image

    return Image.frombytes(profile.mode, (picture.shape[1], picture.shape[0]), picture.tobytes())


def open_profile(profile: Profile) -> Any:
    """The profile as Little CMS holds it."""
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(io.BytesIO(profile.data))
