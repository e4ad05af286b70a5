"""Whatever is typed, every reader of film's words gives an answer or a refusal in words."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import (
    dx,
    exposure,
    formats,
    frame_labels,
    printsizes,
    processes,
    reciprocity,
    sleeves,
    speed,
)
from dryside.film.refusal import Refusal

READERS = [
    formats.parse_format,
    formats.film_format,
    formats.family,
    processes.parse_process,
    processes.process,
    speed.parse_speed,
    speed.parse_push,
    exposure.parse_shutter,
    exposure.parse_aperture,
    dx.parse_cassette_number,
    dx.parse_dx_number,
    dx.parse_edge_code,
    frame_labels.parse_label,
    printsizes.print_size,
    sleeves.sleeve_page,
    reciprocity.reciprocity_law,
]
ALMOST = ["1/250", "f/5.6", "10x15cm", "2026-03-14T14:05:30+01:00", "14 Mar 2026 2pm", "+1 2/3", "400/27°",
          "115-10/11A", "017563", "12A", "6x7", "ecn 2", "7x5", "power 1.3", "B 45s", "2m30s", "A4"]  # fmt: skip
# Digits of other scripts, superscripts and endless text have each broken a reader of this kind.
signs = st.sampled_from("0123456789/.,-+:x\"' fsmhapbtTUZ°²٣½×−\n\x00é")
slips = st.builds(
    lambda word, place, sign, kept: word[: place % (len(word) + 1)] + sign + word[place % (len(word) + 1) + kept :],
    st.sampled_from(ALMOST), st.integers(0, 40), signs, st.integers(0, 1),
)  # fmt: skip
texts = st.one_of(st.text(max_size=12), st.text(signs, max_size=10), slips, signs.map(lambda sign: sign * 6000))


@pytest.mark.parametrize("read", READERS, ids=lambda read: read.__name__)
@given(text=texts)
def test_every_reader_answers_or_refuses(read, text):
    try:
        read(text)
    except Refusal as refusal:
        assert refusal.thing
        assert refusal.found
