"""Pictures drawn by the program, so that the demo shows nobody's photographs: landscapes, a portrait-like shape.

Each painter takes a size and a seed and returns linear light, float32 of shape (rows, columns, 3) in linear sRGB
primaries, 0.18 about the middle grey. The same seed draws the same picture.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from dryside.demo.brushes import Picture, ball, ellipse, fill, glow, grid, line, mix, noise, sky, soft, window

Painter = Callable[[int, int, np.random.Generator], Picture]


def draw(kind: str, *, width: int, height: int, seed: int) -> Picture:
    """Picture of a kind.

    Parameters
    ----------
    kind : str
        One of `PAINTERS`.
    width, height : int
        Size in pixels.
    seed : int
        The same seed draws the same picture.

    Returns
    -------
    ndarray of shape (height, width, 3), float32
        Linear light, linear sRGB primaries, never below 0.

    Raises
    ------
    ValueError
        If `kind` is not in `PAINTERS`.
    """
    if kind not in PAINTERS:
        raise ValueError(f"kind is {kind!r}; it must be one of {', '.join(sorted(PAINTERS))}")
    picture = PAINTERS[kind](width, height, np.random.default_rng(seed))
    return np.maximum(picture, 0.0, dtype=np.float32)


def mountains(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Ridges one behind another, paler with distance."""
    x, y = grid(width, height)
    warm = rng.uniform(0, 1)
    low = np.array([0.95, 0.62, 0.36]) * warm + np.array([0.62, 0.72, 0.84]) * (1 - warm)
    picture = sky(x, y, rng, top=[0.13, 0.24, 0.46], low=low, horizon=0.62)
    picture += 1.6 * glow(x, y, (rng.uniform(0.2, 0.8), 0.42), 0.05, width / height)[..., None] * low.astype(np.float32)
    for distance in np.linspace(1, 0, 5):
        level = 0.42 + 0.42 * (1 - distance) + 0.05 * rng.uniform(-1, 1)
        ridge = level + line(width, rng, cells=2 + round(3 * distance)) * (0.05 + 0.03 * distance)
        near = np.array([0.035, 0.065, 0.035]) * (0.7 + 0.9 * rng.uniform())
        colour = near * (1 - distance) + (low * 0.42 + np.array([0.02, 0.05, 0.12])) * distance
        texture = 1 + 0.35 * (1 - distance) * noise(width, height, rng, cells=24, octaves=4)
        inside = np.clip((y - ridge[None, :]) * height, 0, 1)[..., None]
        haze = 1 + 0.5 * distance * np.clip((y - ridge[None, :]) * 3, 0, 1)
        picture = picture * (1 - inside) + inside * colour.astype(np.float32) * (texture * haze)[..., None]
    return picture


def sea(width: int, height: int, rng: np.random.Generator) -> Picture:
    """A low sun over water with its broken path, and a headland."""
    x, y = grid(width, height)
    horizon, sun = 0.55, rng.uniform(0.25, 0.75)
    picture = sky(x, y, rng, top=[0.10, 0.17, 0.36], low=[1.0, 0.56, 0.26], horizon=horizon)
    shine = glow(x, y, (sun, horizon - 0.07), 0.025, width / height) * 5 + glow(x, y, (sun, horizon), 0.16, 1.0) * 0.6
    picture += shine[..., None] * np.asarray([1.0, 0.72, 0.38], np.float32)
    depth = np.clip((y - horizon) / (1 - horizon), 0, 1)
    ripples = noise(width, height, rng, cells=9, octaves=6)
    ripples = np.sin(ripples * 5 + depth**0.5 * 90) * (0.4 + 0.6 * depth)
    path = np.exp(-(((x - sun) / (0.02 + 0.16 * depth)) ** 2)) * np.clip(ripples + 0.35, 0, 1.2)
    water = mix([0.55, 0.36, 0.24], [0.02, 0.045, 0.085], np.sqrt(depth)) * (1 + 0.22 * ripples)[..., None]
    water = water + path[..., None] * np.asarray([1.7, 1.0, 0.45], np.float32)
    below = np.clip((y - horizon) * height, 0, 1)[..., None]
    picture = picture * (1 - below) + water * below
    side = 1.0 if sun < 0.5 else 0.0
    reach = np.clip(1 - np.abs(x[0] - side) / rng.uniform(0.3, 0.5), 0, 1) ** 0.7
    head = horizon + 0.012 - reach * (0.13 + 0.02 * line(width, rng, cells=5))
    land = np.clip((y - head[None, :]) * height, 0, 1) * (y < horizon + 0.012) * (reach[None, :] > 0)
    return picture * (1 - land[..., None]) + land[..., None] * np.asarray([0.022, 0.02, 0.025], np.float32)


def harbour(width: int, height: int, rng: np.random.Generator) -> Picture:
    """A row of painted houses, boats, and both upside down in the water."""
    x, y = grid(width, height)
    quay = 0.58
    picture = sky(x, y, rng, top=[0.22, 0.36, 0.62], low=[0.75, 0.80, 0.86], horizon=quay)
    paints = [
        [0.62, 0.16, 0.09],
        [0.80, 0.55, 0.16],
        [0.16, 0.34, 0.42],
        [0.78, 0.72, 0.60],
        [0.30, 0.42, 0.22],
        [0.55, 0.30, 0.28],
    ]
    left = -0.02
    while left < 1.0:
        wide, tall = rng.uniform(0.07, 0.14), rng.uniform(0.2, 0.38)
        paint = np.array(paints[rng.integers(len(paints))]) * rng.uniform(0.75, 1.1)
        top = quay - tall
        fill(picture, [(left, quay), (left, top), (left + wide, top), (left + wide, quay)], paint)
        peak = (left + wide / 2, top - 0.07)
        fill(picture, [(left - 0.004, top), peak, (left + wide + 0.004, top)], [0.16, 0.075, 0.055])
        fill(
            picture,
            [(left + wide * 0.92, quay), (left + wide * 0.92, top), (left + wide, top), (left + wide, quay)],
            paint * 0.55,
        )
        for row in range(int(tall / 0.085)):
            for column in (0.22, 0.58):
                wx, wy = left + wide * column, top + 0.035 + row * 0.085
                fill(
                    picture,
                    [(wx, wy), (wx + wide * 0.18, wy), (wx + wide * 0.18, wy + 0.045), (wx, wy + 0.045)],
                    [0.05, 0.07, 0.09],
                )
        left += wide + rng.uniform(0, 0.006)
    fill(picture, [(0, quay), (1, quay), (1, quay + 0.03), (0, quay + 0.03)], [0.22, 0.2, 0.18])
    for _ in range(3):
        _boat(picture, rng.uniform(0.05, 0.8), quay + rng.uniform(0.05, 0.1), rng.uniform(0.1, 0.17), rng)
    mirror = round(height * (quay + 0.03))
    rows = np.clip(2 * mirror - np.arange(mirror, height), 0, height - 1)
    ripple = noise(width, height, rng, cells=7, octaves=6)[mirror:]
    deep = (np.arange(mirror, height) - mirror)[:, None] / max(1, height - mirror)
    shift = (ripple * (3 + 26 * deep) * width / 900).astype(int)
    columns = np.clip(np.arange(width)[None, :] + shift, 0, width - 1)
    reflected = picture[rows[:, None], columns] * np.asarray([0.50, 0.58, 0.60], np.float32)
    boats = picture[mirror:].copy()
    water = reflected * (1 - 0.3 * deep[..., None]) + 0.02
    keep = _boat_mask(boats)
    picture[mirror:] = water * (1 - keep) + boats * keep
    return picture


def _boat(picture: Picture, left: float, low: float, wide: float, rng: np.random.Generator) -> None:
    """A hull, a cabin and a mast, in place."""
    hull = np.array([[0.75, 0.75, 0.72], [0.08, 0.17, 0.35], [0.55, 0.10, 0.07]][rng.integers(3)])
    tall = wide * 0.22
    fill(
        picture,
        [
            (left, low - tall),
            (left + wide, low - tall),
            (left + wide * 0.86, low + tall * 0.4),
            (left + wide * 0.1, low + tall * 0.4),
        ],
        hull,
    )
    fill(
        picture,
        [
            (left, low - tall),
            (left + wide, low - tall),
            (left + wide * 0.98, low - tall * 0.7),
            (left + wide * 0.02, low - tall * 0.7),
        ],
        [0.6, 0.5, 0.35],
    )
    fill(
        picture,
        [
            (left + wide * 0.3, low - tall),
            (left + wide * 0.34, low - tall * 2.3),
            (left + wide * 0.62, low - tall * 2.3),
            (left + wide * 0.64, low - tall),
        ],
        [0.72, 0.7, 0.66],
    )
    mast = left + wide * 0.7
    fill(
        picture,
        [
            (mast, low - tall),
            (mast, low - tall - wide * 1.5),
            (mast + 0.003, low - tall - wide * 1.5),
            (mast + 0.003, low - tall),
        ],
        [0.16, 0.1, 0.06],
    )


def _boat_mask(water: Picture) -> Picture:
    """Cover of everything painted on the plain lower part, told by its distance from the part's usual colour."""
    ground = np.median(water.reshape(-1, 3), axis=0)
    return (np.abs(water - ground).sum(-1, keepdims=True) > 0.12).astype(np.float32)


def street(width: int, height: int, rng: np.random.Generator) -> Picture:
    """A street after rain at night: lit windows, lamps, and their streaks on the road."""
    x, y = grid(width, height)
    picture = mix([0.012, 0.018, 0.045], [0.06, 0.045, 0.05], y)
    vanish = (rng.uniform(0.42, 0.58), 0.5)
    for side in (-1, 1):
        far = 0.06
        while far < 0.62:
            near = far + rng.uniform(0.05, 0.13)
            rise = rng.uniform(0.8, 1.25)
            near_x, far_x = vanish[0] + side * near, vanish[0] + side * far
            wall = np.array([0.05, 0.038, 0.03]) * rng.uniform(0.5, 1.6) * (0.4 + near)
            fill(
                picture,
                [
                    (far_x, 0.5 + far * 0.55),
                    (far_x, 0.5 - far * rise),
                    (near_x, 0.5 - near * rise),
                    (near_x, 0.5 + near * 0.55),
                ],
                wall,
            )
            for level in np.arange(0.15, 0.95, 0.22):
                for part in (0.2, 0.6):
                    if rng.uniform() < 0.55:
                        a, b = far + (near - far) * part, far + (near - far) * (part + 0.25)
                        light = np.array([1.5, 0.86, 0.34]) * rng.uniform(0.25, 1.2)
                        fill(
                            picture,
                            [
                                (vanish[0] + side * s, 0.5 - s * rise * v)
                                for s, v in ((a, level), (b, level), (b, level + 0.12), (a, level + 0.12))
                            ],
                            light,
                        )
            far = near
    lamps = np.zeros_like(picture)
    for distance in (0.08, 0.14, 0.24, 0.4):
        for side in (-1, 1):
            at = (vanish[0] + side * distance * 0.72, 0.5 - distance * 0.42)
            spot = (
                glow(x, y, at, 0.006 + distance * 0.03, width / height) * 6
                + glow(x, y, at, 0.06 + distance * 0.2, 1.0) * 0.12
            )
            lamps += spot[..., None] * np.asarray([1.0, 0.62, 0.25], np.float32)
    picture = picture + lamps
    road = np.clip((y - 0.56) * height / 3, 0, 1)[..., None]
    flipped = picture[np.clip(round(height * 1.06) - np.arange(height), 0, height - 1)]
    import cv2

    streaks = (
        cv2.blur(flipped, (1, max(3, height // 6)))
        * (0.5 + 0.25 * noise(width, height, rng, cells=40, octaves=3))[..., None]
    )
    return np.asarray(picture * (1 - road) + road * (streaks + 0.008), np.float32)


def portrait(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Head and shoulders as plain shaded shapes before an out-of-focus garden."""
    x, y = grid(width, height)
    aspect = width / height
    picture = mix([0.10, 0.17, 0.07], [0.03, 0.06, 0.03], y)
    for _ in range(60):
        spot, wide = (rng.uniform(0, 1), rng.uniform(0, 0.8)), rng.uniform(0.02, 0.07)
        part = window(x, y, spot, (wide / aspect, wide))
        disc = np.clip((wide - np.hypot((x[part] - spot[0]) * aspect, y[part] - spot[1])) * 60, 0, 1)
        picture[part] += disc[..., None] * (np.array([0.20, 0.22, 0.08]) * rng.uniform(0.1, 0.9)).astype(np.float32)
    picture = soft(picture, width / 90)
    middle, tone = rng.uniform(0.42, 0.58), rng.uniform(0, 1)
    skin = np.array([0.58, 0.34, 0.23]) * (1 - tone) + np.array([0.20, 0.10, 0.06]) * tone
    cloth = np.array([[0.10, 0.16, 0.30], [0.42, 0.12, 0.08], [0.5, 0.47, 0.4]][rng.integers(3)])
    hair = np.array([[0.035, 0.02, 0.014], [0.20, 0.11, 0.05], [0.42, 0.40, 0.38]][rng.integers(3)])
    parts = (
        ((middle, 0.40), (0.205, 0.27), hair),
        ((middle, 0.62), (0.078, 0.13), skin * 0.55),
        ((middle, 1.12), (0.52, 0.44), cloth),
        ((middle, 0.44), (0.150, 0.205), skin),
        ((middle, 0.262), (0.168, 0.09), hair),
    )
    for at, size, colour in parts:
        picture = ball(picture, x, y, at, size, colour, aspect)
    for side in (-1, 1):
        eye = ellipse(x, y, (middle + side * 0.06 / aspect, 0.435), (0.022, 0.0105), aspect, height)
        picture = picture * (1 - 0.8 * eye[..., None])
        brow = ellipse(x, y, (middle + side * 0.062 / aspect, 0.398), (0.036, 0.006), aspect, height)
        picture = picture * (1 - 0.6 * brow[..., None])
    mouth = ellipse(x, y, (middle, 0.548), (0.042, 0.010), aspect, height)[..., None]
    picture = picture * (1 - 0.6 * mouth) + 0.6 * mouth * np.asarray([0.32, 0.09, 0.07], np.float32)
    return soft(picture, width / 1400 + 0.3)


def forest(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Trunks in mist with light falling between them."""
    x, y = grid(width, height)
    picture = (
        mix([0.50, 0.58, 0.42], [0.16, 0.20, 0.10], y)
        * (1 + 0.25 * noise(width, height, rng, cells=8, octaves=5))[..., None]
    )
    for distance in np.linspace(1, 0, 6):
        for _ in range(round(4 + 6 * distance)):
            middle, thick = rng.uniform(-0.02, 1.02), (0.006 + 0.03 * (1 - distance)) * rng.uniform(0.7, 1.3)
            columns = (x[0] > middle - thick - 0.02) & (x[0] < middle + thick + 0.02)
            at, down = x[:, columns], y[:, columns]
            bark = 1 + 0.35 * line(width, rng, cells=90, octaves=3)[None, columns]
            trunk = np.clip((thick / 2 - np.abs(at - middle - 0.006 * np.sin(down * 4 + middle * 9))) * width, 0, 1)
            side = 0.7 + 0.5 * np.clip((middle - at) / thick + 0.5, 0, 1)
            near = np.array([0.045, 0.032, 0.022])
            colour = near * (1 - distance) + np.array([0.33, 0.38, 0.27]) * distance
            behind = picture[:, columns]
            picture[:, columns] = behind * (1 - trunk[..., None]) + (trunk * side * bark)[..., None] * colour
    ground = 0.84 + 0.02 * line(width, rng, cells=4)
    floor = np.clip((y - ground[None, :]) * 12, 0, 1)[..., None]
    leaves = (0.8 + 0.6 * noise(width, height, rng, cells=70, octaves=3))[..., None] * np.asarray(
        [0.13, 0.09, 0.03], np.float32
    )
    picture = picture * (1 - floor) + floor * leaves
    slope, start = rng.uniform(0.5, 0.8), rng.uniform(0.0, 0.3)
    shafts = np.clip(np.sin((x - slope * y + start) * 26 + 2 * np.sin((x - slope * y) * 9)), 0, 1) ** 3 * np.clip(
        1 - y * 0.9, 0, 1
    )
    return picture + 0.35 * shafts[..., None] * np.asarray([1.0, 0.86, 0.52], np.float32)


def still_life(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Fruit on a cloth by a window."""
    x, y = grid(width, height)
    aspect = width / height
    wall = mix([0.30, 0.27, 0.22], [0.06, 0.055, 0.05], np.clip(x * 0.9 + 0.15 * y, 0, 1))
    wall *= (1 + 0.04 * noise(width, height, rng, cells=30, octaves=4))[..., None]
    cloth = mix([0.55, 0.52, 0.47], [0.20, 0.19, 0.18], np.clip(x, 0, 1))
    cloth *= (1 + 0.12 * np.sin(y * 60 + 6 * noise(width, height, rng, cells=3, octaves=3)))[..., None]
    table = np.clip((y - 0.66) * height / 2, 0, 1)[..., None]
    picture: Picture = np.asarray(wall * (1 - table) + cloth * table, np.float32)
    paints = [[0.62, 0.07, 0.04], [0.85, 0.35, 0.03], [0.75, 0.60, 0.06], [0.20, 0.34, 0.05], [0.22, 0.06, 0.14]]
    for column in np.argsort(rng.uniform(size=5)):
        size = rng.uniform(0.10, 0.15)
        at = (0.18 + 0.16 * column + rng.uniform(-0.02, 0.02), 0.79 - size + rng.uniform(-0.02, 0.05))
        shade: Picture = np.exp(
            -((((x - at[0] - 0.05) * aspect) / (size * 1.3)) ** 2) - ((y - at[1] - size * 0.95) / (size * 0.25)) ** 2
        )
        picture = np.asarray(picture * (1 - 0.75 * shade[..., None]), np.float32)
        picture = ball(picture, x, y, at, (size, size * rng.uniform(0.88, 1.0)), paints[column], aspect)
        shine = glow(x, y, (at[0] - size * 0.3 / aspect, at[1] - size * 0.38), size * 0.08, aspect)
        picture += 0.7 * shine[..., None]
    return picture


def meadow(width: int, height: int, rng: np.random.Generator) -> Picture:
    """One tree on a summer field under clouds."""
    import cv2

    x, y = grid(width, height)
    horizon = 0.64
    picture = sky(x, y, rng, top=[0.13, 0.28, 0.62], low=[0.62, 0.74, 0.86], horizon=horizon)
    depth = np.clip((y - horizon) / (1 - horizon), 0, 1)
    field = mix([0.42, 0.36, 0.12], [0.13, 0.22, 0.03], depth)
    blades = cv2.blur(rng.standard_normal((height, width)).astype(np.float32), (1, max(3, height // 40)))
    field = field * (1 + (0.5 + 1.2 * depth) * blades * 0.9 + 0.2 * noise(width, height, rng, cells=6))[..., None]
    hill = horizon + 0.02 * line(width, rng, cells=2)
    ground = np.clip((y - hill[None, :]) * height, 0, 1)[..., None]
    picture = picture * (1 - ground) + field * ground
    at = (rng.uniform(0.3, 0.7), 0.42)
    fill(
        picture,
        [(at[0] - 0.012, 0.7), (at[0] - 0.005, 0.45), (at[0] + 0.005, 0.45), (at[0] + 0.012, 0.7)],
        [0.04, 0.028, 0.018],
    )
    edge = 0.16 + 0.05 * noise(width, height, rng, cells=14, octaves=4)
    crown: Any = np.clip((edge - np.hypot((x - at[0]) * width / height * 0.85, y - at[1])) * 80, 0, 1)
    lit: Any = 0.55 + 0.9 * np.clip(-(x - at[0]) * 2.2 - (y - at[1]) * 2.6 + 0.25, 0, 1)
    lit = np.asarray(lit * (1 + 0.55 * noise(width, height, rng, cells=50, octaves=3)), np.float32)
    return picture * (1 - crown[..., None]) + (crown * lit)[..., None] * np.asarray([0.075, 0.13, 0.025], np.float32)


def snow(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Almost white: drifts, a fence, a low blue shade."""
    _, y = grid(width, height)
    picture = mix([0.55, 0.66, 0.82], [0.92, 0.88, 0.84], np.clip(y / 0.45, 0, 1))
    for level in np.linspace(0.42, 0.8, 4):
        ridge = level + 0.03 * line(width, rng, cells=2, octaves=3)
        slope = np.gradient(ridge) * width
        inside = np.clip((y - ridge[None, :]) * height, 0, 1)[..., None]
        light = 0.78 + 0.2 * np.clip(0.5 - slope, 0, 1)[None, :] - 0.35 * np.exp(-(y - ridge[None, :]) * 22)
        light = light * (1 + 0.03 * noise(width, height, rng, cells=60, octaves=3))
        colour = mix([0.42, 0.55, 0.80], [1.0, 0.97, 0.93], np.clip(light, 0, 1))
        picture = picture * (1 - inside) + inside * colour * light[..., None]
    for post in np.linspace(0.04, 0.97, 12):
        low, tall = 0.72 + 0.05 * np.sin(post * 5), 0.13
        fill(
            picture,
            [(post, low), (post + 0.008, low), (post + 0.008, low - tall), (post, low - tall)],
            [0.05, 0.04, 0.035],
        )
    for rail in (0.04, 0.09):
        points = [(p, 0.72 + 0.05 * np.sin(p * 5) - rail) for p in np.linspace(0.04, 0.98, 30)]
        fill(picture, points + [(p, q + 0.007) for p, q in reversed(points)], [0.07, 0.055, 0.045])
    return picture


def stairs(width: int, height: int, rng: np.random.Generator) -> Picture:
    """Steps and a wall in hard sun: shapes and one shadow."""
    x, y = grid(width, height)
    picture = mix([0.16, 0.32, 0.66], [0.34, 0.50, 0.74], y)
    fill(picture, [(0, 0.12), (0.55, 0.30), (0.55, 1), (0, 1)], [0.78, 0.62, 0.46])
    fill(picture, [(0.55, 0.30), (1, 0.05), (1, 1), (0.55, 1)], [0.30, 0.22, 0.18])
    steps = int(rng.integers(7, 11))
    for step in range(steps):
        a, b = step / steps, (step + 1) / steps
        top, low = 0.55 + 0.45 * a, 0.55 + 0.45 * b
        left, right = 0.30 - 0.30 * a, 0.62 + 0.30 * a
        tread = top + (low - top) * 0.45
        fill(picture, [(left, top), (right, top), (right + 0.02, tread), (left - 0.02, tread)], [0.86, 0.76, 0.62])
        fill(
            picture,
            [(left - 0.02, tread), (right + 0.02, tread), (right + 0.02, low), (left - 0.02, low)],
            [0.34, 0.27, 0.22],
        )
    cut = rng.uniform(0.15, 0.35)
    shade = np.clip(((x - cut) * 0.9 - (y - 0.2) * 0.55) * width / 3, 0, 1) * (x < 0.55)
    picture = picture * (1 - 0.72 * shade[..., None] * np.asarray([1.0, 0.94, 0.82], np.float32))
    door = [(0.70, 0.42), (0.80, 0.38), (0.80, 0.80), (0.70, 0.74)]
    fill(picture, door, [0.06, 0.20, 0.22])
    return picture * (1 + 0.05 * noise(width, height, rng, cells=90, octaves=3))[..., None]


PAINTERS: dict[str, Painter] = {
    "mountains": mountains,
    "sea": sea,
    "harbour": harbour,
    "street": street,
    "portrait": portrait,
    "forest": forest,
    "still life": still_life,
    "meadow": meadow,
    "snow": snow,
    "stairs": stairs,
}
