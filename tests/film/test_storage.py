"""Advice for keeping film against standards and makers' pages."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import storage as s
from dryside.film.processes import Stock
from dryside.film.refusal import Refusal

COLOUR = Stock("Harbour 200", "c41", 200, "colour negative")
SILVER = Stock("Slate 400", "bw", 400, "black-and-white")

# ISO 18911:2000 as a museum's table quotes it (read); its colour rows from memory, the last confirmed by a data sheet.
ROWS = {
    "silver on acetate": [(2, (20, 50)), (5, (20, 40)), (7, (20, 30))],
    "silver on polyester": [(21, (20, 50))],
    "colour": [(-10, (20, 50)), (-3, (20, 40)), (2, (20, 30))],
}


@pytest.mark.parametrize(("material", "pairs"), ROWS.items())
def test_extended_term_rows(material, pairs):
    found = s.storage_advice(material, term="extended")
    assert [(row.max_temperature_c, row.humidity_pct) for row in found] == pairs
    assert all("ISO 18911" in row.source for row in found)


@pytest.mark.parametrize("material", ROWS)
def test_a_warmer_store_must_be_drier(material):
    rows = s.storage_advice(material, term="extended")
    temperatures, damp = [row.max_temperature_c for row in rows], [row.humidity_pct[1] for row in rows]
    assert temperatures == sorted(temperatures)
    assert damp == sorted(damp, reverse=True)


def test_advice_reads_as_a_sentence_part():
    assert s.storage_advice("colour")[1].text == "at most −3 °C at 20 to 40 % relative humidity"
    assert s.storage_advice("unexposed film, sealed")[0].text == "at most 21 °C"


def test_archives_keep_nitrate_and_acetate_at_35_fahrenheit():
    (row,) = s.storage_advice("nitrate or acetate holdings")  # a national archive's page (read)
    assert row.max_temperature_c * 9 / 5 + 32 == pytest.approx(35, abs=0.1)


@pytest.mark.parametrize(
    ("stock", "material"),
    [(COLOUR, "colour"), (SILVER, "silver on acetate"),
     (Stock("Ash", "c41", 400, "chromogenic black-and-white"), "colour"),
     (Stock("Slate P", "bw", 400, "black-and-white", base="polyester"), "silver on polyester"),
     (Stock("Trunk", "bw", 25, "black-and-white", year_made=1930), "nitrate or acetate holdings")],
)  # fmt: skip
def test_which_row_a_stock_belongs_to(stock, material):
    assert s.storage_material(stock) == material


def test_an_unknown_material_is_refused_with_the_known_ones():
    with pytest.raises(Refusal, match=r"material 'glass': no storage advice for it\. Known are: silver on acetate,"):
        s.storage_advice("glass")


@pytest.mark.parametrize(("mean_c", "band"), [(-18, "frozen"), (0, "frozen"), (4, "cold"), (12, "cool"), (20, "room")])
def test_archives_names_for_stores(mean_c, band):
    # At or below 0 degrees on average counts as frozen (a film archive's page, read); the other limits from memory.
    assert s.storage_band(mean_c) == band


# Makers' replies and storage pages (read): rolls about 1 h from a refrigerator and 1.5 h from -18; cans of 35 mm cine
# film 3 h for a rise of 14 degrees and 5 h for 55.
@pytest.mark.parametrize(("from_c", "hours"), [(5, 1.0), (-18, 1.5), (21, 0.0), (30, 0.0)])
def test_rolls_warm_up(from_c, hours):
    assert s.warm_up_hours(from_c) == hours


@pytest.mark.parametrize(("rise_c", "hours"), [(14, 3.0), (55, 5.0), (0, 0.0)])
def test_cine_cans_warm_up(rise_c, hours):
    assert s.warm_up_hours(20 - rise_c, 20, cine_can=True) == pytest.approx(hours)


@given(st.floats(-40, 20), st.floats(-40, 20), st.booleans())
def test_colder_film_never_warms_sooner(a, b, can):
    cold, warm = sorted((a, b))
    assert s.warm_up_hours(cold, cine_can=can) >= s.warm_up_hours(warm, cine_can=can)


def test_developed_film_has_nothing_to_fear_at_the_airport():
    assert s.scanner_advice(processed=True, ct=True, iso=3200) == ""


def test_undeveloped_film_never_goes_through_a_ct_scanner():
    assert s.scanner_advice(processed=False, ct=True).startswith("Never let undeveloped film go through a CT scanner")


@pytest.mark.parametrize(
    ("how", "warned"), [({"passes": 5}, True), ({"iso": 1600}, True), ({"passes": 1, "iso": 100}, False)]
)
def test_older_machines_add_up_and_fast_film_suffers_first(how, warned):
    assert ("older machines add up" in s.scanner_advice(processed=False, **how)) is warned


@pytest.mark.parametrize(
    ("days", "part"), [(0, ""), (7, ""), (30, "ages faster"), (61, "more than 60 days"), (400, "more than a year")]
)
def test_waiting_film_is_told_more_urgently_as_days_pass(days, part):
    assert part in s.latent_image_advice(days)
    assert bool(part) == bool(s.latent_image_advice(days))


def test_film_is_not_exposed_tomorrow():
    with pytest.raises(ValueError, match="days_since_exposed is -1; it must be 0 or more"):
        s.latent_image_advice(-1)


@pytest.mark.parametrize(
    ("days", "iso", "part"),
    [(-5, 100, ""), (0, 100, ""), (30, 100, "Just past its date"), (400, 100, "1 year past its date"),
     (800, 1600, "Fast film ages sooner"), (4500, 100, "12 years past its date: expect fog")],
)  # fmt: skip
def test_film_past_its_date_is_told_what_to_expect(days, iso, part):
    assert part in s.expiry_advice(days, iso=iso)
    assert bool(part) == bool(s.expiry_advice(days, iso=iso))


def test_the_nitrate_caution_stops_and_defers():
    for part in ("Stop", "hot light", "post it", "local fire and transport rules", "licensed", "archive"):
        assert part in s.NITRATE_CAUTION
    assert "SAFETY" in s.NITRATE_SIGNS
    assert "vinegar" in s.ACETATE_CAUTION
