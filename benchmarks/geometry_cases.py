"""Random captures for `geometry_accuracy.py`: one function a case, each from a random generator and a style.

A style is how film and capture look beside what the case asks for: `plain` is what the finder was developed on, `other`
differs in contrast, edges, perforations, light, noise and emulsion: it shows whether the figures hold.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from dryside.demo.simulator import (
    BY_PROCESS,
    DRAWN,
    Camera,
    CodeStyle,
    FilmStrip,
    Fog,
    Placed,
    PlainEmulsion,
    dark,
    lay_out,
    night,
)
from dryside.film.formats import FORMATS

Generator = np.random.Generator
PHOTOGRAPHS = Path(__file__).resolve().parents[2] / "shared/data/film-photographs"


@dataclass(frozen=True, eq=False)
class Drawn:
    """One capture to be drawn."""

    format: str
    placed: list[Placed]
    camera: Camera
    process: str = "c41"


@cache
def photographs() -> list[np.ndarray]:
    """Real pictures as scene-linear light, if they are there."""
    import cv2

    files = sorted(PHOTOGRAPHS.glob("*.png"))
    pictures = [cv2.imread(str(file))[..., ::-1].astype(np.float32) / 255 for file in files]
    return [np.rot90(p) if p.shape[0] > p.shape[1] else p for p in pictures]


def pictures(rng: Generator, count: int) -> list[np.ndarray]:
    """Pictures of all kinds, at exposures as people make them."""
    names = [name for name in DRAWN if name != "dark"]
    made = []
    for _ in range(count):
        real = photographs()
        if real and rng.random() < 0.6:
            picture = real[rng.integers(len(real))] ** np.float32(2.2)
            picture = picture[:, ::-1] if rng.random() < 0.5 else picture
        else:
            picture = DRAWN[names[rng.integers(len(names))]](rng, 300, 450)
        made.append(picture * np.float32(2 ** rng.normal(0.3, 0.8)))
    return made


def strip(rng: Generator, style: str, count: int, format: str = "135", process: str = "c41", **details) -> FilmStrip:
    """A strip with usual irregularities."""
    facts = FORMATS[format]
    slack = 0.3 if facts.film == "135" else 0.7
    gate = details.pop(
        "gate_mm", (facts.along_mm + rng.uniform(-slack, slack), facts.across_mm + rng.uniform(-slack, slack))
    )
    pitch = facts.usual_pitch_mm + (rng.uniform(-0.4, 0.4) if facts.film == "135" else rng.uniform(-1, 3))
    gaps = details.pop(
        "gaps_mm", [pitch - gate[0] + rng.normal(0, 0.12 if facts.film == "135" else 0.8) for _ in range(count - 1)]
    )
    first = details.pop("first_x_mm", rng.uniform(1.5, 6))
    number = int(rng.integers(0, 34))
    usual = {
        "emulsion": emulsion(rng, style, process),
        "gate_offset_mm": rng.uniform(-0.2, 0.2),
        "stock_number": f"{rng.integers(1, 127)}-{rng.integers(0, 15)}",
        "number_x_mm": first + min(facts.along_mm / 2, 18) - 9.5 + rng.uniform(-4, 4),
        "hole_phase_mm": rng.uniform(0.3, 4.7),
        "tail_mm": rng.uniform(1.5, 6),
        "mark_exposure": rng.uniform(0.6, 4),
    }
    if process == "ecn2":
        usual |= {"pitch_mm": 4.74, "hole_mm": (1.85, 2.79), "hole_radius_mm": 0.7}
    if style == "other":
        usual |= {
            "gate_softness_mm": rng.uniform(0.0, 0.09),
            "hole_radius_mm": rng.uniform(0.35, 0.75),
            "code_style": CodeStyle(clock_mm=(0.95, 1.75), data_mm=(0.1, 0.95), module_mm=rng.uniform(0.44, 0.48)),
            "words": "GRANITE 400  SAFETY FILM",
        }
    return lay_out(
        details.pop("pictures", None) or pictures(rng, count), format=format, first_x_mm=first, gaps_mm=gaps,
        gate_mm=gate, first_number=number, **(usual | details),
    )  # fmt: skip


def emulsion(rng: Generator, style: str, process: str) -> PlainEmulsion:
    """The process's plain emulsion with its numbers moved about; further for another style."""
    one = BY_PROCESS[process]
    wide = 1.0 if style == "plain" else 2.0
    base = tuple(max(0.04, part + wide * rng.uniform(-0.05, 0.06)) for part in one.base)
    gamma = tuple(part * (1 + wide * rng.uniform(-0.08, 0.08)) for part in one.gamma)
    return replace(one, base=base, gamma=gamma)


def camera(rng: Generator, style: str, placed: list[Placed], per_mm: float, **details) -> Camera:
    """A capture just large enough for what lies on the table, with usual faults of light and lens."""
    usual = {
        "pixels_per_mm": per_mm,
        "unevenness": rng.uniform(0, 0.25),
        "vignetting": rng.uniform(0, 0.3),
        "light": tuple(rng.uniform(0.55, 0.95, 3)),
        "dust": int(rng.integers(0, 30)),
        "scratches": int(rng.integers(0, 2)),
        "surround": "table" if rng.random() < 0.6 else "black",
        "keystone": tuple(rng.normal(0, 0.004, 2)),
        "distortion": rng.normal(0, 0.003),
    }
    if style == "other":
        usual |= {
            "unevenness": rng.uniform(0.1, 0.45),
            "blur_px": rng.uniform(0.4, 1.6),
            "full_well": rng.uniform(2_000, 60_000),
            "grain": rng.uniform(0.0, 0.03),
            "flare": rng.uniform(0, 0.02),
            "surround_gain": rng.uniform(0.8, 1.6),
            "dtype": "uint8" if rng.random() < 0.3 else "uint16",
        }
    return Camera(**(_size(placed, per_mm, rng) | usual | details))


def _size(placed: list[Placed], per_mm: float, rng: Generator) -> dict[str, int]:
    one = placed[0]
    angle = np.deg2rad(one.tilt_degrees)
    length, width = one.strip.length_mm + rng.uniform(4, 20), one.strip.width_mm + rng.uniform(4, 16)
    columns = abs(np.cos(angle)) * length + abs(np.sin(angle)) * width
    rows = abs(np.sin(angle)) * length + abs(np.cos(angle)) * width
    return {"rows": int(rows * per_mm), "columns": int(columns * per_mm)}


def _small_turn(rng: Generator) -> float:
    return float(rng.normal(0, 1.5))


def plain_strip(rng, style):
    """Three to six frames, nearly straight."""
    laid = [Placed(strip(rng, style, int(rng.integers(3, 7))), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 20)))


def turned_or_mirrored(rng, style):
    """Any quarter turn, tilted up to 8 degrees, mirrored half the time."""
    tilt = 90 * rng.integers(-1, 3) + rng.uniform(-8, 8)
    laid = [Placed(strip(rng, style, int(rng.integers(2, 6))), tilt_degrees=tilt, mirrored=rng.random() < 0.5)]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 20)))


def any_direction(rng, style):
    """Lying at any angle."""
    laid = [Placed(strip(rng, style, int(rng.integers(1, 4))), tilt_degrees=rng.uniform(-180, 180))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 14)))


def several_strips(rng, style):
    """Two to five strips below each other at 8 to 11 px/mm."""
    per_mm, count = rng.uniform(8, 11), int(rng.integers(2, 6))
    frames = int(rng.integers(2, 7))
    laid, y = [], 0.0
    for _ in range(count):
        tilt = rng.normal(0, 0.7) + 180 * (rng.random() < 0.2)
        y += 35 + rng.uniform(1.5, 5) + np.tan(np.deg2rad(2.0)) * 20
        laid.append((strip(rng, style, frames), tilt, y - 17))
    length = max(one.length_mm for one, _, _ in laid) + 14
    rows, columns = int((y + 8) * per_mm), int(length * per_mm)
    placed = [Placed(one, centre_px=(columns / 2, y * per_mm), tilt_degrees=tilt) for one, tilt, y in laid]
    return Drawn("135", placed, camera(rng, style, placed, per_mm, rows=rows, columns=columns))


def keystone_and_lens(rng, style):
    """A careless copy stand: strong keystone and distortion."""
    laid = [Placed(strip(rng, style, int(rng.integers(3, 7))), tilt_degrees=_small_turn(rng))]
    bent = {"keystone": tuple(rng.uniform(-0.03, 0.03, 2)), "distortion": rng.uniform(-0.03, 0.03)}
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(10, 16), **bent))


def _one_frame(rng, style, format="135", process="c41", *, along=2.5, across=6.2, per_mm=None, **details):
    """A capture around the middle frame of three."""
    film = strip(rng, style, 3, format, process, **details)
    x0, y0, x1, y1 = film.rectangle(film.frames[1])
    tilt = rng.choice([0, 0, 0, 90, 180, 270]) + rng.normal(0, 0.6)
    placed = [
        Placed(film, film_centre_mm=((x0 + x1) / 2, (y0 + y1) / 2), tilt_degrees=tilt, mirrored=rng.random() < 0.3)
    ]
    per_mm = per_mm or rng.uniform(20, 60)
    width, height = x1 - x0 + 2 * along, y1 - y0 + 2 * across
    if abs(np.sin(np.deg2rad(tilt))) > 0.5:
        width, height = height, width
    made = camera(rng, style, placed, per_mm, columns=int(width * per_mm), rows=int(height * per_mm))
    return Drawn(format, placed, replace(made, keystone=(0.0, 0.0), distortion=0.0), process)


def one_frame(rng, style):
    """One capture a frame, both rows of perforations in it."""
    return _one_frame(rng, style)


def one_frame_fine(rng, style):
    """One capture a frame at 60 to 100 px/mm."""
    return _one_frame(rng, style, per_mm=rng.uniform(60, 100))


def one_frame_sliver(rng, style):
    """One capture a frame with half a millimetre to 1.2 mm of film around it: no whole perforation."""
    drawn = _one_frame(rng, style, along=rng.uniform(0.6, 1.3), across=rng.uniform(0.6, 1.3))
    tilt = drawn.placed[0].tilt_degrees
    near = round(tilt / 90) * 90 + rng.normal(0, 0.25)
    return replace(drawn, placed=[replace(drawn.placed[0], tilt_degrees=near)])


def one_frame_no_rebate(rng, style):
    """One capture a frame, nothing but the frame."""
    film = strip(rng, style, 3, gate_mm=(36.0, 24.0))
    x0, y0, x1, y1 = film.rectangle(film.frames[1])
    per_mm = rng.uniform(20, 50)
    placed = [Placed(film, film_centre_mm=((x0 + x1) / 2, (y0 + y1) / 2))]
    made = camera(rng, style, placed, per_mm, columns=round(36 * per_mm), rows=round(24 * per_mm))
    return Drawn("135", placed, replace(made, keystone=(0.0, 0.0), distortion=0.0))


def dark_frames(rng, style):
    """Some frames equal to base, or nearly."""
    made = pictures(rng, 6)
    for k in rng.choice(6, int(rng.integers(1, 4)), replace=False):
        made[k] = (dark if rng.random() < 0.4 else night)(rng, 300, 450)
    laid = [Placed(strip(rng, style, 6, pictures=made), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def over_exposed(rng, style):
    """Everything three to five stops over."""
    stops = [float(rng.uniform(2, 5)) for _ in range(5)]
    laid = [Placed(strip(rng, style, 5, stops=stops), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def under_exposed(rng, style):
    """Everything two to four stops under."""
    stops = [-float(rng.uniform(1.5, 4)) for _ in range(5)]
    laid = [Placed(strip(rng, style, 5, stops=stops), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def overlaps(rng, style):
    """A camera that does not advance far enough."""
    gaps = [rng.uniform(-3, -0.5) if rng.random() < 0.5 else rng.uniform(0.3, 2) for _ in range(4)]
    laid = [Placed(strip(rng, style, 5, gaps_mm=gaps), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def wide_gaps(rng, style):
    """A camera that advances too far now and then."""
    gaps = [rng.uniform(3, 11) if rng.random() < 0.5 else rng.uniform(1.5, 2.5) for _ in range(4)]
    laid = [Placed(strip(rng, style, 5, gaps_mm=gaps, stock_number=None), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def fogged_first(rng, style):
    """A light-struck start that reaches into or over the first frame's edge."""
    start = rng.uniform(4, 30)
    fog = Fog(0, start + rng.uniform(-6, 12), float(2 ** rng.uniform(0, 6)), rng.uniform(1, 5))
    laid = [Placed(strip(rng, style, 4, first_x_mm=start, fogs=(fog,)), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def cut_frame(rng, style):
    """A strip cut through its last frame, or its first."""
    film = strip(rng, style, 5)
    if rng.random() < 0.5:
        film = replace(film, length_mm=film.length_mm - rng.uniform(10, 30))
    else:
        frames = tuple(
            replace(one, x_mm=one.x_mm - film.frames[0].x_mm - rng.uniform(5, 20)) for one in film.frames[:1]
        )
        shift = film.frames[0].x_mm - frames[0].x_mm
        frames += tuple(replace(one, x_mm=one.x_mm - shift) for one in film.frames[1:])
        film = replace(film, frames=frames, number_x_mm=film.number_x_mm - shift, length_mm=film.length_mm - shift)
    laid = [Placed(film, tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16)))


def half_frame(rng, style):
    """18 x 24 mm."""
    laid = [Placed(strip(rng, style, int(rng.integers(5, 11)), "half"), tilt_degrees=_small_turn(rng))]
    return Drawn("half", laid, camera(rng, style, laid, rng.uniform(9, 18)))


def panoramic(rng, style):
    """24 x 65 mm; without codes, as their pitch of 3.5 half frames leaves the label between two numbers."""
    film = strip(rng, style, int(rng.integers(2, 4)), "panoramic", stock_number=None)
    laid = [Placed(film, tilt_degrees=_small_turn(rng))]
    return Drawn("panoramic", laid, camera(rng, style, laid, rng.uniform(9, 18)))


def roll_film(rng, style):
    """120 in every size, on a table or in black."""
    sizes = ["120-6x4.5", "120-6x6", "120-6x7", "120-6x8", "120-6x9", "120-6x12", "120-6x17"]
    format = sizes[rng.integers(len(sizes))]
    count = max(1, int(230 / FORMATS[format].along_mm))
    process = ["c41", "c41", "bw", "e6"][rng.integers(4)]
    film = strip(
        rng,
        style,
        int(rng.integers(1, count + 1)),
        format,
        process,
        tail_mm=rng.uniform(4, 12),
        first_x_mm=rng.uniform(4, 12),
    )
    laid = [Placed(film, tilt_degrees=rng.choice([0, 90]) + _small_turn(rng))]
    return Drawn(format, laid, camera(rng, style, laid, rng.uniform(8, 14)), process)


def roll_film_one_frame(rng, style):
    """One capture a 120 frame with a little film around."""
    sizes = ["120-6x4.5", "120-6x6", "120-6x7", "120-6x9"]
    return _one_frame(
        rng,
        style,
        sizes[rng.integers(4)],
        along=rng.uniform(1, 2),
        across=rng.uniform(1, 2),
        per_mm=rng.uniform(15, 40),
    )


def roll_film_strips(rng, style):
    """Two or three pieces of a 120 film in one capture, side by side or across one another's direction."""
    sizes = ["120-6x4.5", "120-6x6", "120-6x7", "120-6x9"]
    format = sizes[rng.integers(4)]
    process = ["c41", "c41", "bw", "e6"][rng.integers(4)]
    most = max(1, int(180 / FORMATS[format].along_mm))
    ends = {"tail_mm": rng.uniform(2, 8), "first_x_mm": rng.uniform(2, 8)}
    films = [
        strip(rng, style, int(rng.integers(1, most + 1)), format, process, **ends) for _ in range(rng.integers(2, 4))
    ]
    return _laid_out(rng, style, films, rng.uniform(6, 9), process, crossed=rng.random() < 0.5)


def strips_of_different_directions(rng, style):
    """135 strips that lie and stand in one capture."""
    films = [strip(rng, style, int(rng.integers(2, 5))) for _ in range(rng.integers(2, 4))]
    return _laid_out(rng, style, films, rng.uniform(9, 12), "c41", crossed=True)


def _laid_out(rng, style, films, per_mm, process, *, crossed):
    """Strips below one another; the last, if crossed, beside them and standing."""
    last = films.pop() if crossed else None
    placed, y = [], rng.uniform(2, 8)
    length = max(one.length_mm for one in films)
    slack = 2 * np.tan(np.deg2rad(1.5)) * length / 2
    for one in films:
        middle = y + slack / 2 + one.width_mm / 2
        tilt = rng.uniform(-1.5, 1.5) + 180 * (rng.random() < 0.2)
        placed.append(Placed(one, centre_px=((length / 2 + 6) * per_mm, middle * per_mm), tilt_degrees=tilt))
        y = middle + slack / 2 + one.width_mm / 2 + rng.uniform(2, 6)
    columns, rows = length + 12, y + 4
    if last is not None:
        half = last.width_mm / 2 + 0.05 * last.length_mm
        rows = max(rows, last.length_mm + 14)
        tilt = rng.choice([-90, 90]) + rng.uniform(-4, 4)
        placed.append(Placed(last, centre_px=((columns + half) * per_mm, rows / 2 * per_mm), tilt_degrees=tilt))
        columns += 2 * half + 5
    size = {"rows": int(rows * per_mm), "columns": int(columns * per_mm)}
    return Drawn(films[0].format, placed, camera(rng, style, placed, per_mm, **size), process)


def one_row_seen(rng, style):
    """The capture or the holder leaves one row of perforations out."""
    film = strip(rng, style, int(rng.integers(2, 5)))
    side = 1 if rng.random() < 0.5 else -1
    tilt = float(rng.choice([0, 180])) + rng.normal(0, 0.5)
    placed = [Placed(film, tilt_degrees=tilt, film_centre_mm=(film.length_mm / 2, 17.5 + side * 5.0))]
    per_mm = rng.uniform(12, 24)
    made = camera(rng, style, placed, per_mm, rows=int(36.5 * per_mm), keystone=(0.0, 0.0))
    window = (-9.0, 4.9, film.length_mm + 9, 50.0) if side > 0 else (-9.0, -20.0, film.length_mm + 9, 35 - 4.9)
    return Drawn("135", placed, replace(made, window_mm=window if rng.random() < 0.6 else None))


def masked_holder(rng, style):
    """A holder that covers both rows of perforations: a black mask with the frames and a little film in it."""
    film = strip(rng, style, int(rng.integers(2, 7)))
    placed = [Placed(film, tilt_degrees=rng.normal(0, 0.8) + 90 * (rng.random() < 0.3))]
    edge = rng.uniform(4.85, 5.05)
    made = camera(rng, style, placed, rng.uniform(10, 18), window_mm=(-2.0, edge, film.length_mm + 2, 35 - edge))
    return Drawn("135", placed, made)


def black_and_white(rng, style):
    """Silver on a grey base."""
    laid = [Placed(strip(rng, style, int(rng.integers(3, 7)), process="bw"), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 18)), "bw")


def slides(rng, style):
    """E-6: black rebate, lighter frames."""
    film = strip(rng, style, int(rng.integers(3, 7)), process="e6")
    laid = [Placed(film, tilt_degrees=_small_turn(rng) + 90 * rng.integers(0, 4))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 18)), "e6")


def cine_film(rng, style):
    """ECN-2: low contrast, short pitch, other perforations."""
    laid = [Placed(strip(rng, style, int(rng.integers(3, 7)), process="ecn2"), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 18)), "ecn2")


def coarse(rng, style):
    """8 px/mm."""
    laid = [Placed(strip(rng, style, 6), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, 8.0))


def clipped_table(rng, style):
    """A table so bright around the film that it clips, or dim beside a bright gate."""
    laid = [Placed(strip(rng, style, 5), tilt_degrees=_small_turn(rng))]
    return Drawn("135", laid, camera(rng, style, laid, rng.uniform(9, 16), surround="table", surround_gain=2.0))


def eight_bits(rng, style):
    """An 8-bit capture with an uneven light."""
    laid = [Placed(strip(rng, style, 4), tilt_degrees=_small_turn(rng))]
    return Drawn(
        "135", laid, camera(rng, style, laid, rng.uniform(9, 16), dtype="uint8", unevenness=0.5, vignetting=0.4)
    )


Case = Callable[[Generator, str], Drawn]
CASES: dict[str, Case] = {
    one.__name__: one
    for one in (
        plain_strip, turned_or_mirrored, any_direction, several_strips, keystone_and_lens, one_frame, one_frame_fine,
        one_frame_sliver, one_frame_no_rebate, dark_frames, over_exposed, under_exposed, overlaps, wide_gaps,
        fogged_first, cut_frame, half_frame, panoramic, roll_film, roll_film_one_frame, roll_film_strips,
        strips_of_different_directions, one_row_seen, masked_holder,
        black_and_white, slides, cine_film, coarse, clipped_table, eight_bits,
    )
}  # fmt: skip
