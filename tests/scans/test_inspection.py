"""Verdicts: quiet on good pictures, plain on bad ones."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from dryside.film.formats import film_format
from dryside.film.refusal import Refusal
from dryside.scans.inspection import (
    GOOD,
    LOOK,
    POOR,
    Asked,
    inspect_image,
    inspect_roll,
    judge,
    read_thresholds,
    shipped_thresholds,
)
from scans.pictures import drawn, photographs

ASKED = Asked(film_format("135"))


def inspected(image, *, asked=ASKED, name="a.jpg"):
    return inspect_image(image, name=name, asked=asked, thresholds=shipped_thresholds())


def finding(found, name):
    return next(one for one in found.findings if one.name == name)


def test_none_of_it_cries_wolf_on_real_film_photographs():
    scans = [
        inspect_image(cv2.imread(str(path))[..., ::-1].copy(), name=path.name, asked=ASKED,
                      thresholds=shipped_thresholds(), file=path)
        for path in photographs()
    ]  # fmt: skip
    for scan in inspect_roll(scans, shipped_thresholds()):
        assert scan.verdict == GOOD, (scan.name, [f for f in scan.findings if f.verdict != GOOD])


def test_resolution_is_pixels_over_the_formats_inches():
    # FACTS of the trade: 6000 px along 36 mm are 4233 ppi.
    image = np.repeat(np.repeat(drawn(), 3, axis=0), 3, axis=1)
    found = finding(inspected(image), "resolution_ppi")
    assert found.value == pytest.approx(1080 / 36 * 25.4)
    assert finding(inspected(image, asked=Asked(film_format("120-6x6"))), "resolution_ppi").value == pytest.approx(
        1080 / 56 * 25.4
    )


def test_less_than_was_promised_is_poor_and_a_little_crop_is_not():
    image = drawn(width=600, height=400)
    assert (
        finding(inspected(image, asked=Asked(film_format("135"), promised_px=1800)), "promised_pixels_part").verdict
        == POOR
    )
    assert (
        finding(inspected(image, asked=Asked(film_format("135"), promised_px=610)), "promised_pixels_part").verdict
        == GOOD
    )


def test_a_blank_frame_is_named_and_not_measured():
    found = inspected(np.full((300, 450, 3), 12, np.uint8))
    assert [one.name for one in found.findings] == ["blank"]
    assert found.verdict == LOOK
    assert "nothing was exposed" in found.findings[0].says


def test_a_frame_that_was_cut_into_has_another_shape():
    assert finding(inspected(drawn(width=400, height=300)), "shape_apart").verdict == POOR
    assert finding(inspected(drawn(width=456, height=300)), "shape_apart").verdict == GOOD


def test_a_frame_sent_twice_and_a_cast_are_seen_over_the_roll():
    pictures = [drawn(seed) for seed in range(8)]
    pictures[5] = pictures[4]
    tinted = pictures[7].astype(float) * (1.0, 0.95, 0.45)
    pictures[7] = tinted.astype(np.uint8)
    scans = inspect_roll([inspected(p, name=f"{k}.jpg") for k, p in enumerate(pictures)], shipped_thresholds())
    assert finding(scans[5], "same_view").says == "shows the same as 4.jpg"
    assert not any(one.name == "same_view" for k, scan in enumerate(scans) if k != 5 for one in scan.findings)
    assert finding(scans[7], "cast_from_roll").verdict != GOOD
    assert "yellow" in finding(scans[7], "cast_from_roll").says


def test_every_threshold_has_a_reason_and_its_limits_in_order():
    for name, rule in shipped_thresholds().items():
        assert len(rule["why"]) > 20, name
        assert (rule["look"] > rule["poor"]) == bool(rule.get("low_is_bad")), name
        worse = rule["poor"]
        assert judge(name, worse, shipped_thresholds()) == POOR


def test_a_persons_thresholds_win_and_a_wrong_name_is_refused(tmp_path):
    own = tmp_path / "thresholds.toml"
    own.write_text("[jpeg_quality]\nlook = 95\n")
    assert judge("jpeg_quality", 90, read_thresholds(own)) == LOOK
    assert judge("jpeg_quality", 90, shipped_thresholds()) == GOOD
    own.write_text("[jpg_quality]\nlook = 95\n")
    with pytest.raises(Refusal, match="there is no measure 'jpg_quality'"):
        read_thresholds(own)
