"""A contact sheet of 36 frames of 24 MP, PDF and JPEG; set: under 3 s.

python benchmarks/contact.py [--rounds 3] [--work DIR]
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
import simplejpeg
import tifffile

from dryside.scans.contact import FramePicture, make_contact_sheet

WIDTH, HEIGHT = 6000, 4000


def pictures(folder: Path, count: int, kind: str) -> list[Path]:
    """Grainy pictures, as film scans are: a smooth one would decode faster."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(2)
    small = rng.uniform(40, 210, (40, 60, 3)).astype(np.float32)
    base = np.kron(small, np.ones((HEIGHT // 40, WIDTH // 60, 1), np.float32))
    grain = rng.normal(0, 6, (HEIGHT, WIDTH, 1)).astype(np.float32)
    out = []
    for k in range(count):
        path = folder / f"{k + 1:02d}.{kind}"
        image = np.clip(np.roll(base, 100 * k, axis=1) + np.roll(grain, 777 * k), 0, 255).astype(np.uint8)
        if kind == "jpg":
            path.write_bytes(simplejpeg.encode_jpeg(image, quality=95, colorsubsampling="420"))
        else:
            tifffile.imwrite(path, image, photometric="rgb")
        out.append(path)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--work", type=Path)
    args = parser.parse_args()
    work = args.work or Path(tempfile.mkdtemp(prefix="dryside-contact-"))
    for kind in ("jpg", "tif"):
        paths = pictures(work / kind, 36, kind)
        frames = [FramePicture(str(k + 1), "Harbour at low tide · 1/125 f/8", path) for k, path in enumerate(paths)]
        for with_jpeg in (False, True):
            seconds = []
            for _ in range(args.rounds):
                start = time.perf_counter()
                make_contact_sheet(frames, title="26-014-K", line="Marram 400", format_key="135", with_jpeg=with_jpeg)
                seconds.append(time.perf_counter() - start)
            what = "PDF and JPEG" if with_jpeg else "PDF"
            print(f"36 {kind} of 24 MP, {what}: {statistics.median(seconds):.2f} s (set: 3.00)")
    if args.work is None:
        shutil.rmtree(work)


if __name__ == "__main__":
    main()
