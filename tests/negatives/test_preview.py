import numpy as np
import tifffile

from dryside.negatives.invert import InvertOptions, invert
from dryside.negatives.measure import MeasureOptions, measure_capture
from dryside.negatives.preview import load_preview, preview
from dryside.negatives.roll import recipe_for_roll
from dryside.negatives.spaces import print_rendering
from negatives.drawn_roll import write_frames


def test_a_preview_looks_like_the_positive_made_smaller(tmp_path):
    (path,) = write_frames(tmp_path / "in", 1, rows=600, columns=880)
    made = invert([path], InvertOptions("c41", "135", print_rendering(), whole=True), tmp_path / "out")
    positive = tifffile.imread(made.captures[0].frames[0].positive).astype(float) / 257
    measured = measure_capture(path, MeasureOptions("135", whole=True))
    recipe = recipe_for_roll(measured.samples, process="c41", rendering=print_rendering()).recipes[0]
    state = load_preview(path, measured.frames[0].corners, measured.flat, max_side=220)
    seen = preview(state, recipe)
    assert seen.shape == (150, 220, 3)
    small = positive.reshape(150, 4, 220, 4, 3).mean(axis=(1, 3))
    # Means before and after the curve differ a little where there is grain.
    assert np.abs(seen - small)[3:-3, 3:-3].mean() < 2
    assert preview(state, recipe, max_side=110).shape == (75, 110, 3)
