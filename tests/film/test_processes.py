"""What may go into which process, and how people write the names."""

import itertools
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryside.film import processes as p
from dryside.film.process_steps import c41_developer_seconds
from dryside.film.refusal import Refusal

# Invented stocks.
DAYLIGHT = p.Stock("Harbour 200", "c41", 200, "colour negative")
CINE = p.Stock("Lantern 500", "ecn2", 500, "colour negative", remjet="yes")
CINE_UNKNOWN = p.Stock("Lantern 500, new batch", "ecn2", 500, "colour negative", remjet="unknown")
CINE_BARE = p.Stock("Lantern 250 U", "ecn2", 250, "colour negative", remjet="no")
SILVER = p.Stock("Slate 400", "bw", 400, "black-and-white")
CHROMOGENIC = p.Stock("Ash 400 C", "c41", 400, "chromogenic black-and-white")
SLIDE = p.Stock("Meadow 100", "e6", 100, "slide")
K14 = p.Stock("Attic 64", "k14", 64, "slide")
C22 = p.Stock("Attic 80", "c22", 80, "colour negative")
NITRATE = p.Stock("Trunk reel", "bw", 25, "black-and-white", base="nitrate")
OLD_UNKNOWN = p.Stock("Found roll", "bw", 25, "black-and-white", year_made=1938)
POLYESTER = p.Stock("Survey 200", "c41", 200, "colour negative", base="polyester")


def codes(stock, process, **how):
    return [(one.code, one.is_refusal) for one in p.process_warnings(stock, process, **how)]


# --- Published numbers


@pytest.mark.parametrize(
    ("key", "name", "seconds", "temperature_c"),
    [
        ("c41", "C-41", 195, 37.8),  # a maker's minilab manual, table 4-1 (read)
        ("e6", "E-6", 360, 37.8),  # encyclopedia article 'E-6 process' (read)
        ("ecn2", "ECN-2", 180, 41.1),  # from memory
    ],
)
def test_key_steps(key, name, seconds, temperature_c):
    step = p.process(key).key_step
    assert (p.process(key).name, step.seconds, step.temperature_c) == (name, seconds, temperature_c)


def test_black_and_white_has_no_common_time():
    assert p.process("bw").key_step is None


@pytest.mark.parametrize(("stops", "minutes", "seconds"), [(-1, 2, 45), (0, 3, 15), (1, 3, 45), (2, 4, 15)])
def test_c41_push_and_pull_times(stops, minutes, seconds):
    # A published home page on C-41 (read): half a minute a stop.
    assert c41_developer_seconds(stops) == 60 * minutes + seconds


def test_no_time_is_made_up_beyond_the_published_ones():
    with pytest.raises(ValueError, match=r"push_stops is 3; times are published from -1 to \+2 stops"):
        c41_developer_seconds(3)


def test_c41_degrees_agree_with_the_fahrenheit_of_the_source():
    assert p.process("c41").key_step.temperature_c * 9 / 5 + 32 == pytest.approx(100.0, abs=0.09)


# --- What may go where. Sources of the rules: forum posts of labs and makers on rem-jet (read); the outcome of silver
# film in a bleach, of cross-processing and of old emulsions from memory.


@pytest.mark.parametrize("stock", [DAYLIGHT, CINE, CINE_UNKNOWN, CINE_BARE, SILVER, CHROMOGENIC, SLIDE])
def test_nothing_speaks_against_a_stocks_own_process(stock):
    assert p.process_warnings(stock, stock.process) == ()


@pytest.mark.parametrize("asked", [False, True])
@pytest.mark.parametrize("stock", [CINE, CINE_UNKNOWN])
@pytest.mark.parametrize("process", ["c41", "e6"])
def test_rem_jet_never_goes_down_another_line(stock, process, asked):
    found = codes(stock, process, cross_process_asked=asked)
    assert found == [("rem-jet", True)]


def test_rem_jet_may_go_through_black_and_white_by_hand_when_asked_for():
    assert codes(CINE, "bw") == [("rem-jet", True)]
    assert codes(CINE, "bw", cross_process_asked=True) == [("rem-jet", False), ("cross process", False)]


def test_cine_film_without_rem_jet_may_be_cross_processed():
    assert codes(CINE_BARE, "c41") == [("cross process", True)]
    assert codes(CINE_BARE, "c41", cross_process_asked=True) == [("cross process", False)]


def test_a_rem_jet_respooled_as_c41_is_still_refused():
    respooled = p.Stock("Respooled 500", "c41", 500, "colour negative", remjet="yes")
    assert ("rem-jet", True) in codes(respooled, "c41")


def test_silver_film_with_rem_jet_goes_through_black_and_white_with_a_warning():
    reel = p.Stock("Reel 200", "bw", 200, "black-and-white", remjet="yes")
    assert codes(reel, "bw") == [("rem-jet", False)]
    assert codes(reel, "c41") == [("rem-jet", True), ("silver", True)]
    assert "takes the backing off before B&W" in p.process_warnings(reel, "c41")[0].remedy


def test_a_silver_slide_is_silver():
    slide = p.Stock("Slate slide", "bw", 100, "slide")
    assert codes(slide, "e6", cross_process_asked=True) == [("silver", True)]
    assert slide.blocks_infrared


def test_unknown_rem_jet_of_still_film_is_no_rem_jet():
    assert codes(p.Stock("Harbour 100", "c41", 100, "colour negative", remjet="unknown"), "c41") == []


@pytest.mark.parametrize("asked", [False, True])
@pytest.mark.parametrize("process", ["c41", "ecn2", "e6"])
def test_silver_film_comes_out_of_colour_lines_blank(process, asked):
    assert codes(SILVER, process, cross_process_asked=asked) == [("silver", True)]
    assert "blank" in p.process_warnings(SILVER, process)[0].text


def test_chromogenic_black_and_white_is_c41():
    assert codes(CHROMOGENIC, "c41") == []
    assert codes(CHROMOGENIC, "bw") == [("cross process", True)]
    assert codes(CHROMOGENIC, "bw", cross_process_asked=True) == [("cross process", False)]


@pytest.mark.parametrize(("stock", "process"), [(SLIDE, "c41"), (DAYLIGHT, "e6"), (DAYLIGHT, "bw"), (DAYLIGHT, "ecn2")])
def test_cross_processing_only_when_asked_for_and_with_a_warning(stock, process):
    assert codes(stock, process) == [("cross process", True)]
    assert codes(stock, process, cross_process_asked=True) == [("cross process", False)]


@pytest.mark.parametrize("stock", [K14, C22])
def test_old_film_goes_down_no_line_of_today(stock):
    for process, asked in itertools.product(("c41", "ecn2", "e6"), (False, True)):
        assert codes(stock, process, cross_process_asked=asked) == [("old process", True)]
    assert codes(stock, "bw") == [("old process", True)]
    assert codes(stock, "bw", cross_process_asked=True) == [("old process", False)]


@pytest.mark.parametrize("stock", [NITRATE, OLD_UNKNOWN])
@pytest.mark.parametrize("process", ["bw", "c41"])
def test_nitrate_is_stopped_and_left_to_those_who_may(stock, process):
    first = p.process_warnings(stock, process, cross_process_asked=True)[0]
    assert (first.code, first.is_refusal) == ("nitrate", True)
    assert first.remedy.startswith("Stop: ")
    assert "local fire and transport rules hold" in first.remedy


def test_old_film_on_a_known_base_is_not_taken_for_nitrate():
    safety = p.Stock("Found roll", "bw", 25, "black-and-white", base="acetate", year_made=1938)
    assert not safety.may_be_nitrate
    assert not p.Stock("Found roll", "bw", 25, "black-and-white", year_made=1952).may_be_nitrate


def test_polyester_is_told_to_the_lab():
    assert codes(POLYESTER, "c41") == [("polyester", False)]


def test_refusals_come_first():
    found = codes(p.Stock("Survey slide", "e6", 100, "slide", base="polyester"), "c41", push_stops=1)
    assert found == [("cross process", True), ("polyester", False), ("push", False)]
    assert p.is_refused(p.process_warnings(SILVER, "c41"))
    assert not p.is_refused(p.process_warnings(POLYESTER, "c41"))


def test_a_warning_becomes_a_refusal_of_what_was_named():
    refusal = p.process_warnings(SILVER, "c41")[0].as_refusal("roll 7")
    assert str(refusal) == "roll 7: C-41 bleaches the silver away and the film comes out blank. Ask for B&W."


kinds = st.sampled_from(p.KINDS)
stocks = st.builds(
    p.Stock, st.just("Any"), st.sampled_from([*p.PROCESSES, *p.OLD_PROCESSES]), st.just(100), kinds,
    st.sampled_from(p.REMJET), st.sampled_from(p.BASES),
)  # fmt: skip


@given(stocks, st.sampled_from(sorted(p.PROCESSES)), st.integers(-4, 4))
def test_asking_for_cross_processing_never_adds_a_refusal(stock, process, stops):
    plain = p.process_warnings(stock, process, push_stops=stops)
    asked = p.process_warnings(stock, process, push_stops=stops, cross_process_asked=True)
    assert sum(one.is_refusal for one in asked) <= sum(one.is_refusal for one in plain)
    for one in (*plain, *asked):
        assert one.remedy.endswith(".")
        assert not one.found.endswith(".")


@given(stocks.filter(lambda one: one.remjet == "yes"), st.booleans())
def test_no_stock_with_rem_jet_ever_passes_c41(stock, asked):
    assert p.is_refused(p.process_warnings(stock, "c41", cross_process_asked=asked))


# --- Push


@pytest.mark.parametrize(("process", "stops"), [("c41", 3), ("c41", -2), ("e6", 3), ("bw", 4), ("ecn2", -2)])
def test_more_push_than_labs_do_is_said(process, stops):
    (found,) = p.push_warnings(process, stops)
    assert (found.code, found.is_refusal) == ("push", False)
    assert "more than labs usually do" in found.found


def test_a_usual_push_says_what_it_does():
    (found,) = p.push_warnings("c41", Fraction(2, 3))
    assert found.text.startswith("pushed in C-41. The developer runs 30 s longer or shorter a stop.")
    assert p.push_warnings("bw", -1)[0].found == "pulled in B&W"
    assert p.push_warnings("c41", 0) == ()


# --- As people write them


@pytest.mark.parametrize(
    ("written", "key"),
    [("C-41", "c41"), ("c41", "c41"), ("C 41", "c41"), ("c–41", "c41"), ("C-41 process", "c41"), ("ecn 2", "ecn2"),
     ("ECN-2", "ecn2"), ("ECN II", "ecn2"), ("b&w", "bw"), ("B/W", "bw"), ("B+W", "bw"), ("Black and white", "bw"),
     ("black-and-white", "bw"), ("E6", "e6"), ("e-6", "e6"), ("slide film", "e6"), (" bw ", "bw")],
)  # fmt: skip
def test_processes_are_read_as_people_write_them(written, key):
    assert p.parse_process(written) == key


@pytest.mark.parametrize(
    ("written", "message"),
    [("colour", "C-41 and ECN-2 both make colour negatives. Write c41 or ecn2"), ("K-14", "K-14 is run no more"),
     ("c42", r"it must be c41, ecn2, bw or e6\. Did you mean c41\?"), ("", "it must be c41")],
)  # fmt: skip
def test_what_is_no_process_is_refused(written, message):
    with pytest.raises(Refusal, match=message):
        p.parse_process(written)


def test_old_processes_are_read_where_stocks_are_entered():
    assert p.parse_process("K-14", allow_old=True) == "k14"
    assert p.process_name("k14") == "K-14"


def test_an_unknown_key_is_refused():
    with pytest.raises(Refusal, match=r"process 'C-41': it must be c41, ecn2, bw or e6"):
        p.process("C-41")
    with pytest.raises(Refusal, match="K-14 is run no more"):
        p.process("k14")


@pytest.mark.parametrize("key", sorted(p.PROCESSES))
def test_shown_names_read_back(key):
    assert p.parse_process(p.process_name(key)) == key


# --- Stocks


@pytest.mark.parametrize(
    ("changed", "message"),
    [({"process": "d76"}, "process is 'd76'; it must be one of c41"), ({"kind": "colour"}, "kind is 'colour'"),
     ({"remjet": True}, "remjet is True; it must be one of yes, no, unknown"), ({"base": "film"}, "base is 'film'"),
     ({"iso": 0}, "iso is 0; it must be above 0")],
)  # fmt: skip
def test_stocks_of_no_sense_are_refused(changed, message):
    fields = {"name": "x", "process": "c41", "iso": 100, "kind": "colour negative"} | changed
    with pytest.raises(ValueError, match=message):
        p.Stock(**fields)


def test_silver_blocks_infrared_and_dyes_do_not():
    assert SILVER.blocks_infrared
    assert K14.blocks_infrared
    assert not CHROMOGENIC.blocks_infrared
    assert not SLIDE.blocks_infrared
