"""Chart values: the published table, a person's file, and the arithmetic between."""

import numpy as np
import pytest

from chart_film import colour, reference_rgb
from dryside.film.refusal import Refusal
from dryside.negatives.chart_values import PUBLISHED, adapted_to_d65, lab_of_srgb, read_reference


def test_the_table_is_the_published_averages():
    np.testing.assert_allclose(PUBLISHED.linear_srgb, reference_rgb(), atol=6e-4)
    assert PUBLISHED.patches[0] == "dark skin"
    assert PUBLISHED.patches[18].startswith("white")


def test_adaptation_is_bradfords():
    xyz = np.random.default_rng(1).uniform(0.05, 1, (10, 3))
    whites = [colour.xy_to_XYZ(xy) for xy in ((0.3457, 0.3585), (0.3127, 0.3290))]
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(*whites, "Bradford")
    np.testing.assert_allclose(adapted_to_d65(xyz), xyz @ matrix.T, atol=6e-4)


def test_lab_of_srgb_is_colour_sciences():
    rgb = np.random.default_rng(2).uniform(0, 1, (20, 3))
    xyz = colour.RGB_to_XYZ(rgb, "sRGB")
    np.testing.assert_allclose(lab_of_srgb(rgb), colour.XYZ_to_Lab(xyz, (0.3127, 0.3290)), atol=0.02)


def write(path, header, rows):
    path.write_text("# measured\n" + header + "\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_file_of_lab_says_the_same_as_one_of_xyy(tmp_path):
    chart = colour.CCS_COLOURCHECKERS["BabelColor Average"]
    xyy = list(chart.data.values())
    lab = [colour.XYZ_to_Lab(colour.xyY_to_XYZ(value), chart.illuminant) for value in xyy]
    first = write(tmp_path / "a.csv", "patch,x,y,Y", [f"p,{x},{y},{Y}" for x, y, Y in xyy])
    second = write(tmp_path / "b.csv", "patch,L,a,b", [f"p,{L},{a},{b}" for L, a, b in lab])
    one, other = read_reference(first).linear_srgb, read_reference(second).linear_srgb
    np.testing.assert_allclose(one, other, atol=1e-3)
    np.testing.assert_allclose(one, PUBLISHED.linear_srgb, atol=1e-5)


@pytest.mark.parametrize(
    ("header", "rows", "message"),
    [
        ("patch,x,y,Y", ["p,0.3,0.3,0.5"] * 23, "23 patches, 24 are needed"),
        ("patch,u,v,w", ["p,0.3,0.3,0.5"] * 24, "It needs x, y, Y or L, a, b"),
        ("patch,x,y,Y", ["p,0.3,zero,0.5"] * 24, "a value is no number"),
    ],
)
def test_a_file_that_is_no_chart_is_refused_in_words(tmp_path, header, rows, message):
    with pytest.raises(Refusal, match=message):
        read_reference(write(tmp_path / "c.csv", header, rows))


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(Refusal, match="it cannot be read"):
        read_reference(tmp_path / "none.csv")
