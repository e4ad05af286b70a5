"""How well scans are matched to phone shots: precision, recall, calibration and time, on rolls made from photographs.

Real film photographs (../shared/data/film-photographs) and the pictures that scikit-image ships are the subjects. Of
each frame a scan and, for most, a phone shot are made: other colours or black and white, another exposure, a wider
field, perspective, a little parallax, crop, quarter turns, mirrored rolls, grain, blur, JPEG. Some frames have no shot,
some shots no frame, some subjects come twice nearly alike. Seeds from 2000 are held out: nothing was tuned on them.

    python benchmarks/match.py [--rolls 8] [--seed 0] [--held-out] [--work DIR]
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np

PHOTOGRAPHS = Path(__file__).parents[1] / ".." / "shared" / "data" / "film-photographs"
EXTRA = (
    "astronaut",
    "chelsea",
    "coffee",
    "rocket",
    "camera",
    "coins",
    "motorcycle_left",
    "hubble_deep_field",
    "retina",
)
HELD_OUT_FROM = 2000


@dataclass
class Roll:
    """A roll on disk: folders of scans and shots, and the truth: scan name -> shot name or None."""

    scans: Path
    shots: Path
    truth: dict[str, str | None] = field(default_factory=dict)
    order: str = "ascending"
    kinds: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Hardness:
    """How far the two versions of a frame are apart: 1 is what a phone and a lab do, 1.5 is worse than that."""

    amount: float = 1.0


def subjects(folder: Path = PHOTOGRAPHS) -> list[np.ndarray]:
    """Photographs as BGR; 135 ones first, then what scikit-image ships."""
    import skimage.data

    paths = sorted(folder.glob("*.png")) if folder.is_dir() else []
    found = [cv2.imread(str(path)) for path in paths]
    root = Path(skimage.data.__file__).parent
    for name in EXTRA:
        path = next(iter(root.glob(f"{name}.*")), None)
        if path is not None:
            found.append(cv2.imread(str(path), cv2.IMREAD_COLOR))
    return found


def make_roll(work: Path, seed: int, *, frames: int = 36, shots: int = 60, hardness: float = 1.0) -> Roll:
    """Draw a roll into `work`; the same seed gives the same roll."""
    rng = np.random.default_rng(seed)
    roll = Roll(work / "scans", work / "shots")
    for folder in (roll.scans, roll.shots):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
    pool = subjects()
    scenes = _scenes(rng, pool, frames)
    is_mirrored = rng.random() < 0.2
    is_bw = rng.random() < 0.3
    look = _film_look(rng, is_bw)
    roll.order = "descending" if rng.random() < 0.3 else "ascending"
    keeps_shot = rng.random(frames) > 0.12
    clock = datetime(2026, 5, 3, 9, 0, 0)
    decoys = max(0, shots - int(keeps_shot.sum()))
    slots = sorted(rng.integers(0, frames + 1, decoys).tolist())
    number, scan_names = 4100 + int(rng.integers(0, 800)), _scan_names(rng, frames, roll.order)
    named = rng.random() < 0.8
    k = 0
    for i, (scene, kind) in enumerate(scenes):
        while k < len(slots) and slots[k] == i:
            number, clock = _decoy(rng, roll, pool, scenes, i, number, clock, named)
            k += 1
        scan = _scan(rng, scene, look, is_mirrored, hardness)
        cv2.imwrite(str(roll.scans / scan_names[i]), scan, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(70, 97))])
        roll.truth[scan_names[i]] = None
        roll.kinds[scan_names[i]] = kind
        if keeps_shot[i]:
            shot = _shot(rng, scene, hardness)
            number, clock = number + int(rng.integers(1, 4)), clock + timedelta(seconds=int(rng.integers(20, 4000)))
            roll.truth[scan_names[i]] = _write_shot(rng, roll.shots, shot, number, clock, named)
    while k < len(slots):
        number, clock = _decoy(rng, roll, pool, scenes, frames, number, clock, named)
        k += 1
    return roll


@dataclass(frozen=True)
class Scene:
    """A place in front of the camera: a picture, and where in it the film's frame lies (x, y, width, height)."""

    picture: np.ndarray
    frame: tuple[float, float, float, float]


def make_crowded_roll(work: Path, seed: int, *, frames: int = 36, shots: int = 60) -> Roll:
    """A roll of only twelve subjects: frames are overlapping parts of them, anywhere in wider shots with other borders.

    Made in another way than `make_roll`, so that the matcher is not judged by the program it was tuned on: contrast
    curves instead of gammas, affine and perspective with the frame off its middle, plain or noisy surroundings, blocks
    of near things shifted, names instead of times.
    """
    rng = np.random.default_rng(50_000 + seed)
    roll = Roll(work / "scans", work / "shots")
    for folder in (roll.scans, roll.shots):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True)
    pool = subjects()[:12]
    roll.order = "descending" if seed % 2 else "ascending"
    bw, mirrored = rng.random() < 0.4, rng.random() < 0.25
    places = [(int(k), _part(rng, pool[k])) for k in np.concatenate([rng.permutation(len(pool)) for _ in range(3)])]
    places = places[:frames]
    has_shot = rng.random(frames) > 0.15
    number = 1000
    names = [f"roll{n:02d}.png" for n in (range(1, frames + 1) if roll.order == "ascending" else range(frames, 0, -1))]
    extra = sorted(rng.integers(0, frames, max(0, shots - int(has_shot.sum()))).tolist())
    for i, (k, frame) in enumerate(places):
        for _ in range(extra.count(i)):
            number += 1
            cv2.imwrite(str(roll.shots / f"P{number}.jpg"), _other_shot(rng, pool, places, i))
        cv2.imwrite(str(roll.scans / names[i]), _crowded_scan(rng, pool[k], frame, bw, mirrored))
        roll.truth[names[i]], roll.kinds[names[i]] = None, "crowded"
        if has_shot[i]:
            number += 1
            roll.truth[names[i]] = f"P{number}.jpg"
            shot = _crowded_shot(rng, pool[k], frame)
            cv2.imwrite(str(roll.shots / f"P{number}.jpg"), shot, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 92))])
    return roll


def _part(rng, picture: np.ndarray) -> tuple[float, float, float, float]:
    """A part of 45 to 75 % of the side, of any 3:2 shape that fits."""
    height, width = picture.shape[:2]
    w = width * rng.uniform(0.45, 0.75)
    h = height * rng.uniform(0.45, 0.75)
    return float(rng.uniform(0, width - w)), float(rng.uniform(0, height - h)), float(w), float(h)


def _curve(rng, image: np.ndarray) -> np.ndarray:
    """A contrast curve through random points, another for each channel, and a lift or cut of all."""
    points = np.linspace(0, 1, 6)
    out = np.empty_like(image)
    base = np.sort(np.clip(points + rng.normal(0, 0.07, 6), 0, 1))
    for c in range(3):
        out[..., c] = np.interp(image[..., c], points, np.clip(base + rng.normal(0, 0.04, 6), 0, 1))
    return np.clip(out * rng.uniform(0.7, 1.2) + rng.uniform(-0.05, 0.08), 0, 1)


def _crowded_scan(rng, picture: np.ndarray, frame, bw: bool, mirrored: bool) -> np.ndarray:
    x, y, w, h = (round(v) for v in frame)
    image = picture[y : y + h, x : x + w].astype(np.float32) / 255
    image = cv2.resize(image, None, fx=1.8, fy=1.8, interpolation=cv2.INTER_LANCZOS4).clip(0, 1)
    image = _curve(rng, image)
    if bw:
        image = np.repeat((image @ rng.dirichlet([2, 2, 2]).astype(np.float32))[..., None], 3, axis=2)
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.3, 2.2))
    image += rng.normal(0, rng.uniform(0.01, 0.07), image.shape[:2])[..., None]
    image = np.rot90(image, int(rng.integers(0, 4)))
    image = image[:, ::-1] if mirrored else image
    return np.ascontiguousarray((image.clip(0, 1) * 255).astype(np.uint8))


def _crowded_shot(rng, picture: np.ndarray, frame) -> np.ndarray:
    """The frame and what is round it, anywhere in a larger picture, seen from a little aside."""
    x, y, w, h = frame
    left, right, up, down = rng.uniform(0.05, 0.45, 4) * [w, w, h, h]
    quad = _quad(x - left, y - up, w + left + right, h + up + down)
    quad += rng.uniform(-0.04, 0.04, (4, 2)) * [w, h]
    size = (round((w + left + right) * 1.5), round((h + up + down) * 1.5))
    to = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float32)
    m = cv2.getPerspectiveTransform(quad.astype(np.float32), to)
    around = tuple(float(v) for v in rng.uniform(30, 220, 3))
    image = cv2.warpPerspective(
        picture, m, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=around
    )
    near = rng.integers(0, size[1] // 2)
    image[near:] = np.roll(image[near:], int(rng.integers(-6, 7)), axis=1)  # near things are seen beside
    made = _curve(rng, image.astype(np.float32) / 255) + rng.normal(0, 0.02, image.shape)
    return (cv2.GaussianBlur(made, (0, 0), rng.uniform(0.3, 1.5)).clip(0, 1) * 255).astype(np.uint8)


def _other_shot(rng, pool, places, i: int) -> np.ndarray:
    """A shot without a frame: a part of a subject that overlaps no frame much, or nothing that is on the roll."""
    k = int(rng.integers(len(pool)))
    frame = _free_frame(rng, pool[k], [other for subject, other in places if subject == k])
    if frame is None:
        return _crowded_shot(rng, _jumbled(rng, pool[k]), _part(rng, pool[k]))
    return _crowded_shot(rng, pool[k], frame)


def _scenes(rng: np.random.Generator, pool: list[np.ndarray], count: int) -> list[tuple[Scene, str]]:
    """Frames along a roll: different subjects, different parts of one subject, and some twice nearly alike in a row."""
    out: list[tuple[Scene, str]] = []
    order = np.concatenate([rng.permutation(len(pool)) for _ in range(8)])
    k = 0
    while len(out) < count:
        picture = pool[order[k % len(order)]]
        k += 1
        frame = _free_frame(rng, picture, [scene.frame for scene, _ in out if scene.picture is picture])
        if frame is None:
            continue
        out.append((Scene(picture, frame), "plain"))
        if rng.random() < 0.15 and len(out) < count:
            out.append((Scene(picture, _alike(rng, picture, frame)), "alike"))
    return out[:count]


def _free_frame(rng, picture: np.ndarray, taken: list[tuple[float, float, float, float]]):
    """A frame that shares at most 30 % of itself with those taken; None where the subject is used up."""
    for _ in range(20):
        frame = _frame_in(rng, picture)
        if all(_shared(frame, other) < 0.3 for other in taken):
            return frame
    return None


def _shared(a, b) -> float:
    """Area in common over the smaller area."""
    w = max(0.0, min(a[0] + a[2], b[0] + b[2]) - max(a[0], b[0]))
    h = max(0.0, min(a[1] + a[3], b[1] + b[3]) - max(a[1], b[1]))
    return w * h / min(a[2] * a[3], b[2] * b[3])


def _alike(rng, picture: np.ndarray, frame: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """The same subject again, a step aside and a little nearer."""
    x, y, w, h = frame
    grow = rng.uniform(0.8, 1.0)
    shift = rng.uniform(0.1, 0.25) * w * (1 if rng.random() < 0.5 else -1)
    height, width = picture.shape[:2]
    nx = float(np.clip(x + shift, 0, width - w * grow))
    ny = float(np.clip(y + rng.uniform(-0.1, 0.1) * h, 0, height - h * grow))
    return nx, ny, w * grow, h * grow


def _frame_in(rng: np.random.Generator, picture: np.ndarray) -> tuple[float, float, float, float]:
    """A 3:2 (or 2:3) frame of 42 to 85 % of a picture's side, in the direction of the picture or across it."""
    height, width = picture.shape[:2]
    aspect = 1.5 if (width >= height) != (rng.random() < 0.3) else 1 / 1.5
    size = rng.uniform(0.42, 0.85)
    w = min(width * size, height * size * aspect)
    h = w / aspect
    return float(rng.uniform(0, width - w)), float(rng.uniform(0, height - h)), float(w), float(h)


def _cut(picture: np.ndarray, quad: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """The part of a picture inside four corners, as a picture of `size` (width, height); beyond it is mirrored."""
    w, h = size
    to = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    m = cv2.getPerspectiveTransform(quad.astype(np.float32), to)
    return cv2.warpPerspective(picture, m, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT_101)


def _quad(x: float, y: float, w: float, h: float) -> np.ndarray:
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float)


def _film_look(rng: np.random.Generator, is_bw: bool) -> dict:
    return {
        "bw": rng.dirichlet([1, 2, 2]) if is_bw else None,
        "gains": rng.uniform(0.75, 1.3, 3),
        "gammas": rng.uniform(0.7, 1.45) * rng.uniform(0.9, 1.1, 3),
        "saturation": rng.uniform(0.4, 1.6),
        "size": int(rng.integers(800, 1500)),
    }


def _scan(rng: np.random.Generator, scene: Scene, look: dict, mirrored: bool, hardness: float) -> np.ndarray:
    x, y, w, h = scene.frame
    trim = rng.uniform(0, 0.04, 4)
    quad = _quad(x + trim[0] * w, y + trim[1] * h, w * (1 - trim[0] - trim[2]), h * (1 - trim[1] - trim[3]))
    long = look["size"]
    size = (long, round(long * h / w)) if w >= h else (round(long * w / h), long)
    image = _cut(scene.picture, quad, size).astype(np.float32) / 255
    image = _develop(image, look["gains"], look["gammas"], look["saturation"], rng.uniform(-0.9, 0.6) * hardness)
    if look["bw"] is not None:
        image = np.repeat((image @ look["bw"].astype(np.float32))[..., None], 3, axis=2)
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.4, 1.6) * hardness * long / 1000)
    image = _grain(rng, image, rng.uniform(0.01, 0.055) * hardness, long / 1000)
    image = np.rot90(image, int(rng.choice([0, 0, 0, 0, 1, 2, 3])))
    if mirrored:
        image = image[:, ::-1]
    return np.ascontiguousarray(np.clip(image * 255, 0, 255).astype(np.uint8))


def _develop(image: np.ndarray, gains, gammas, saturation: float, stops: float) -> np.ndarray:
    """Colours of another process: per-channel gain and gamma, saturation, exposure through a soft shoulder."""
    image = np.clip(image * gains.astype(np.float32), 0, 4) ** gammas.astype(np.float32)
    grey = image.mean(axis=2, keepdims=True)
    image = np.clip(grey + (image - grey) * saturation, 0, None) * 2.0**stops
    return (image * 1.25 / (image + 0.25 * np.maximum(image, 1) ** 1.2)).clip(0, 1).astype(np.float32)


def _grain(rng: np.random.Generator, image: np.ndarray, amount: float, blob: float) -> np.ndarray:
    noise = cv2.GaussianBlur(rng.standard_normal(image.shape[:2]).astype(np.float32), (0, 0), 0.4 + 0.8 * blob)
    noise /= noise.std()
    return image + noise[..., None] * amount * np.sqrt(np.clip(image.mean(axis=2, keepdims=True), 0.05, 1))


def _shot(rng: np.random.Generator, scene: Scene, hardness: float, *, wider: float | None = None) -> np.ndarray:
    """A phone's view: wider, from a little beside, its own colours."""
    x, y, w, h = scene.frame
    wide = wider or rng.uniform(1.1, 1.9)
    portrait = rng.random() < 0.4
    fw, fh = (w * wide, w * wide * 0.75)
    if fh < h * 1.05:
        fw, fh = h * 1.05 * 4 / 3 * wide / 1.2, h * 1.05 * wide / 1.2
    if portrait:
        fw, fh = max(w * 1.08, fh * 0.75), max(w * 1.08 * 4 / 3, fh)
    cx = x + w / 2 + rng.uniform(-0.06, 0.06) * w
    cy = y + h / 2 + rng.uniform(-0.06, 0.06) * h
    quad = _quad(cx - fw / 2, cy - fh / 2, fw, fh)
    quad += rng.uniform(-0.05, 0.05, (4, 2)) * hardness * [fw, fh]
    turn = np.deg2rad(rng.normal(0, 2.5) * hardness)
    centre = quad.mean(axis=0)
    quad = (quad - centre) @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) + centre
    long = int(rng.integers(900, 1800))
    size = (round(long * 0.75), long) if portrait else (long, round(long * 0.75))
    image = _cut(scene.picture, quad, size)
    image = _parallax(rng, image, 0.012 * hardness).astype(np.float32) / 255
    image = _develop(image, rng.uniform(0.85, 1.15, 3), np.full(3, rng.uniform(0.8, 1.25)), rng.uniform(0.8, 1.4),
                     rng.uniform(-0.7, 0.5) * hardness)  # fmt: skip
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.3, 1.4) * hardness * long / 1000)
    image = image + rng.standard_normal(image.shape).astype(np.float32) * rng.uniform(0.003, 0.03) * hardness
    return np.clip(image * 255, 0, 255).astype(np.uint8)


def _parallax(rng: np.random.Generator, image: np.ndarray, amount: float) -> np.ndarray:
    """Near and far move apart: a smooth field of shifts, largest `amount` of the width."""
    h, w = image.shape[:2]
    field_ = cv2.resize(rng.uniform(-1, 1, (4, 5, 2)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    gx, gy = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
    return cv2.remap(image, gx + field_[..., 0] * amount * w, gy + field_[..., 1] * amount * w * 0.4, cv2.INTER_LINEAR,
                     borderMode=cv2.BORDER_REFLECT_101)  # fmt: skip


def _write_shot(rng, folder: Path, shot: np.ndarray, number: int, clock: datetime, named: bool) -> str:
    """With Exif's time; where names are not in order, only that tells."""
    from PIL import Image

    name = f"IMG_{number:04d}.jpg" if named else f"{rng.integers(1 << 40):010x}.jpg"
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = clock.strftime("%Y:%m:%d %H:%M:%S")
    exif.get_ifd(0x8769)[0x9011] = "+02:00"
    Image.fromarray(shot[..., ::-1]).save(folder / name, quality=int(rng.integers(60, 95)), exif=exif)
    return name


def _decoy(rng, roll: Roll, pool, scenes, i: int, number: int, clock: datetime, named: bool):
    """A shot that belongs to no frame: another subject, or another part of a subject that is on the roll."""
    number, clock = number + int(rng.integers(1, 4)), clock + timedelta(seconds=int(rng.integers(20, 4000)))
    if rng.random() < 0.4:
        near = scenes[min(i, len(scenes) - 1)][0]
        frame = _free_frame(rng, near.picture, [scene.frame for scene, _ in scenes if scene.picture is near.picture])
        picture = near.picture if frame is not None else _jumbled(rng, near.picture)
        shot = _shot(rng, Scene(picture, frame or _frame_in(rng, picture)), 1.0)
    else:
        picture = pool[rng.integers(len(pool))]
        if any(scene.picture is picture for scene, _ in scenes):
            picture = _jumbled(rng, picture)
        shot = _shot(rng, Scene(picture, _frame_in(rng, picture)), 1.0)
    _write_shot(rng, roll.shots, shot, number, clock, named)
    return number, clock


def _jumbled(rng: np.random.Generator, picture: np.ndarray) -> np.ndarray:
    """Another subject of the same material: quarters changed round, turned and mirrored."""
    h, w = picture.shape[:2]
    parts = [picture[: h // 2, : w // 2], picture[: h // 2, w - w // 2 :], picture[h - h // 2 :, : w // 2],
             picture[h - h // 2 :, w - w // 2 :]]  # fmt: skip
    a, b, c, d = (cv2.resize(parts[k], (w // 2, h // 2))[:, ::-1] for k in rng.permutation(4))
    blend = np.vstack([np.hstack([a, b]), np.hstack([c, d])])
    return cv2.addWeighted(blend, 0.75, cv2.resize(parts[0], (blend.shape[1], blend.shape[0])), 0.25, 0)


def _scan_names(rng, count: int, order: str) -> list[str]:
    numbers = range(1, count + 1) if order == "ascending" else range(count, 0, -1)
    prefix = f"{rng.integers(10000, 99999)}_"
    return [f"{prefix}{n:03d}.jpg" for n in numbers]


def count(pairs: list[dict], truth: dict[str, str | None], *, least: float = 0.0) -> tuple[int, int, int]:
    """Right pairs, pairs given, and pairs there are."""
    given = [p for p in pairs if p["reference"] is not None and p["confidence"] >= least]
    right = sum(truth[p["scan"]] == p["reference"] for p in given)
    return right, len(given), sum(shot is not None for shot in truth.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rolls", type=int, default=8)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--hardness", type=float, default=1.0)
    parser.add_argument("--crowded", action="store_true", help="twelve subjects only, made in another way")
    parser.add_argument("--work", type=Path)
    parser.add_argument("--show-wrong", action="store_true")
    args = parser.parse_args()
    from dryside.scans.matching import match_folders

    base = args.seed + (HELD_OUT_FROM if args.held_out else 0)
    work = args.work or Path(tempfile.mkdtemp(prefix="dryside-match-"))
    totals, seconds, reliability = np.zeros(3, int), [], []
    print(f"{'seed':>5} {'order':>10} {'right':>6} {'given':>6} {'there':>6} {'precision':>10} {'recall':>7} {'s':>6} "
          f"{'cpu s':>6}")  # fmt: skip
    for seed in range(base, base + args.rolls):
        place = work / str(seed)
        roll = make_crowded_roll(place, seed) if args.crowded else make_roll(place, seed, hardness=args.hardness)
        start, busy = time.perf_counter(), time.process_time()
        found = match_folders(roll.scans, roll.shots).as_dict()
        seconds.append(time.perf_counter() - start)
        cpu = time.process_time() - busy
        numbers = np.array(count(found["pairs"], roll.truth))
        totals += numbers
        right, given, there = numbers
        reliability += [
            (p["confidence"], roll.truth[p["scan"]] == p["reference"]) for p in found["pairs"] if p["reference"]
        ]
        flag = "" if found["order"] == roll.order else "  wrong order"
        print(f"{seed:5} {roll.order:>10} {right:6} {given:6} {there:6} {right / max(given, 1):10.3f} "
              f"{right / max(there, 1):7.3f} {seconds[-1]:6.1f} {cpu:6.1f}{flag}", flush=True)  # fmt: skip
        if args.show_wrong:
            for p in found["pairs"]:
                if p["reference"] != roll.truth[p["scan"]]:
                    print("     ", p, "truth", roll.truth[p["scan"]], roll.kinds[p["scan"]])
    right, given, there = totals
    print(f"all: precision {right / max(given, 1):.4f}, recall {right / max(there, 1):.4f}, "
          f"longest {max(seconds):.1f} s for 36 scans against 60 shots")  # fmt: skip
    for low, high in ((0.5, 0.8), (0.8, 0.95), (0.95, 0.99), (0.99, 1.01)):
        hits = [ok for c, ok in reliability if low <= c < high]
        if hits:
            print(f"confidence {low:.2f} to {min(high, 1):.2f}: {len(hits):4} pairs, {np.mean(hits):.3f} right")
    if args.work is None:
        shutil.rmtree(work)
    print(json.dumps({"precision": right / max(given, 1), "recall": right / max(there, 1)}), file=sys.stderr)


if __name__ == "__main__":
    main()
