"""A roll's recipes from its frames alone."""

import numpy as np
import pytest

from chart_film import base_of, chart_difference, chart_frame, chart_patches, film, log_exposure
from dryside.negatives.base import FilmBase
from dryside.negatives.layers import recipe_of
from dryside.negatives.prior import colour_prior
from dryside.negatives.profile import Profile
from dryside.negatives.recipe import apply_reference, density_log2, layer_exposures
from dryside.negatives.roll import FrameSamples, recipe_for_roll
from dryside.negatives.spaces import print_rendering


def chart_only(stock, stops=0.0):
    return [FrameSamples(chart_frame(stock, stops), base_of(stock))]


def scene_of(recipe, through):
    return layer_exposures(recipe, density_log2(through, np.ones(3))) @ np.asarray(recipe.colour_matrix).T


def picture(stock, seed, stops=0.0, tint=(1.0, 1.0, 1.0), rows=48, columns=72):
    """A made-up scene of patches, half of them nearly grey."""
    random = np.random.default_rng(seed)
    light = 0.25 * 2.0 ** random.normal(0, 1.2, (rows // 8, columns // 8, 1))
    colour = 2.0 ** (
        random.normal(0, 0.7, (rows // 8, columns // 8, 3)) * (random.random((rows // 8, columns // 8, 1)) < 0.5)
    )
    scene = np.kron(light * colour, np.ones((8, 8, 1))) * np.asarray(tint) * 2.0**stops
    return FrameSamples(np.asarray(stock(scene)), base_of(stock))


@pytest.mark.parametrize(("process", "most"), [("c41", 5.5), ("ecn2", 5.5), ("e6", 7.0)])
def test_charts_come_out_true_with_nothing_known_but_the_process(process, most):
    """Charts are not looked for here: prior and tones alone, on the measured camera."""
    medians = []
    for seed in (11, 12, 13, 14, 15):
        stock = film(process, seed, led=("LED-B2", "LED-B3", "LED-V1")[seed % 3])
        roll = recipe_for_roll(chart_only(stock, 0.2), process=process, use_charts=False)
        assert roll.rests_on == "pictures"
        medians.append(np.median(chart_difference(scene_of(roll.recipes[0], chart_patches(stock, 0.2)))))
    assert np.median(medians) <= most


def test_a_chart_seen_on_the_roll_is_used():
    stock = film("c41", 21)
    frames = [*chart_only(stock), picture(stock, 1), picture(stock, 2)]
    roll = recipe_for_roll(frames, process="c41")
    assert roll.rests_on == "chart"
    assert np.median(chart_difference(scene_of(roll.recipes[0], chart_patches(stock)))) <= 3.0


@pytest.mark.parametrize("chart", [False, True])
@pytest.mark.parametrize("process", ["c41", "e6"])
def test_a_wedge_on_the_roll_comes_out_neutral_over_six_stops(process, chart):
    """CIEDE2000 of the wedge's own lightness against what is rendered: chroma part at most 3 from -3 to +3 stops."""
    from skimage.color import deltaE_ciede2000

    from dryside.negatives.chart_values import lab_of_srgb

    stock = film(process, 31)
    span = 3.0 if process == "c41" else 2.0
    stops = np.linspace(-span, span, 13)
    wedge = stock.by_log_exposure(log_exposure(stock, np.full((13, 71), 0.18)) + 0.30103 * stops[:, None])
    frame = np.broadcast_to(np.repeat(wedge, 7, axis=0), (64, 91, 3))
    roll = recipe_for_roll(
        [FrameSamples(frame, base_of(stock)), *(chart_only(stock) if chart else [])], process=process
    )
    rgb = scene_of(roll.recipes[0], wedge)
    rgb *= 0.18 / rgb[6].mean()
    lab = lab_of_srgb(rgb)
    chroma = deltaE_ciede2000(lab, lab * (1, 0, 0))
    assert chroma.max() <= 3.0


def test_a_roll_has_one_balance_and_each_frame_its_exposure():
    stock = film("c41", 41)
    frames = [picture(stock, seed, stops) for seed, stops in ((1, -0.5), (1, 0.0), (1, 1.0))]
    roll = recipe_for_roll(frames, process="c41", rendering=print_rendering())
    assert len({(one.density_matrix, one.offset, one.toe) for one in roll.recipes}) == 1
    np.testing.assert_allclose(np.diff(roll.exposure_stops), [0.5, 1.0], atol=0.12)
    shown = [apply_reference(one, frame.picture, np.ones(3)) for one, frame in zip(roll.recipes, frames, strict=True)]
    np.testing.assert_allclose(shown[0].mean(axis=(0, 1)), shown[2].mean(axis=(0, 1)), atol=0.04)


def test_a_frame_under_lamps_is_told_from_the_rest():
    stock = film("c41", 42)
    frames = [picture(stock, seed) for seed in range(4)] + [picture(stock, 9, tint=(2.0, 1.0, 0.32))]
    roll = recipe_for_roll(frames, process="c41", use_charts=False)
    assert any("warmer light" in note for note in roll.frame_warnings[4])
    assert not any("light than the rest" in note for notes in roll.frame_warnings[:4] for note in notes)


def test_black_and_white_is_grey():
    stock = film("bw", 2)
    frames = [picture(stock, seed) for seed in range(2)]
    roll = recipe_for_roll(frames, process="bw", rendering=print_rendering())
    out = apply_reference(roll.recipes[0], frames[0].picture, np.ones(3))
    assert np.ptp(out, axis=-1).max() < 1e-6
    assert out.max() - out.min() > 0.5


def test_under_and_over_exposure_are_said():
    stock = film("c41", 43)
    frames = [picture(stock, 1, stops) for stops in (-4.5, 0.0, 5.5)]
    notes = recipe_for_roll(frames, process="c41", use_charts=False).frame_warnings
    assert any("Under-exposed" in note for note in notes[0])
    assert not notes[1]
    assert any("Over-exposed" in note for note in notes[2])


def test_fog_is_said():
    stock = film("c41", 44)
    clear = picture(stock, 1)
    notes = recipe_for_roll([FrameSamples(clear.picture * 0.4, clear.base)], process="c41").frame_warnings[0]
    assert any("fog" in note for note in notes)


def test_a_base_without_a_mask_is_said():
    stock = film("c41", 45)
    frame = FrameSamples(picture(stock, 1).picture, FilmBase((0.30, 0.30, 0.31), 0.01, 50))
    notes = recipe_for_roll([frame], process="c41").frame_warnings[0]
    assert any("no orange mask" in note for note in notes)


def test_a_capture_with_a_displays_tone_curve_is_told_and_tamed():
    stock = film("c41", 46)
    frame = picture(stock, 1, 1.0)
    base = 10 ** -np.asarray(frame.base.density)
    steep = FrameSamples(base * (frame.picture / base) ** 2.2, frame.base)
    roll = recipe_for_roll([steep], process="c41", rendering=print_rendering())
    assert "steeper than film" in roll.warnings[0]
    out = apply_reference(roll.recipes[0], steep.picture, np.ones(3))
    assert 0.2 < out.mean() < 0.8


def test_a_profile_is_taken_as_it_is():
    stock = film("c41", 47)
    base = base_of(stock)
    vector = colour_prior("c41").mean(base.density) + 0.01
    profile = Profile("c41", "chart", base.density, tuple(vector.tolist()))
    roll = recipe_for_roll([picture(stock, 1)], process="c41", profile=profile)
    assert roll.rests_on == "profile"
    expected = recipe_of(vector, base.density_log2)
    np.testing.assert_allclose(roll.recipes[0].density_matrix, expected.density_matrix)
    np.testing.assert_allclose(roll.recipes[0].offset, expected.offset)


def test_a_profile_of_another_process_is_misuse():
    profile = Profile("e6", "chart", (0.1, 0.1, 0.1), (0.0,) * 23)
    with pytest.raises(ValueError, match="profile is for 'e6', process is 'c41'"):
        recipe_for_roll([], process="c41", profile=profile)


def test_an_unknown_process_is_misuse():
    with pytest.raises(ValueError, match="process is 'c22'"):
        recipe_for_roll([], process="c22")


@pytest.mark.parametrize("process", ["c41", "ecn2", "e6", "bw"])
def test_a_roll_without_frames_has_no_recipes(process):
    assert recipe_for_roll([], process=process).recipes == ()
