"""Keeping film: cold and dry, warmed before it is opened, away from scanners, and what to do with nitrate.

Advice, not a rule: for film that matters, the standards themselves, local rules and licensed practice come first.
Sources stand beside each row; 'from memory' marks what no page was read for.
"""

from __future__ import annotations

from dataclasses import dataclass

from dryside.film.processes import Stock
from dryside.film.refusal import Refusal


@dataclass(frozen=True)
class StorageAdvice:
    """A pair of temperature and humidity that keeps a material.

    Attributes
    ----------
    material : str
        `silver on acetate`, `silver on polyester`, `colour`, `processed safety film`, `nitrate or acetate holdings`,
        `unexposed film, six months`, `unexposed film, longer`, `unexposed film, sealed`.
    term : str
        `extended` (permanent value), `medium` (at least 10 years) or `advice`.
    max_temperature_c : float
        Degrees Celsius at most.
    humidity_pct : tuple of float or None
        Relative humidity from and to; None where the source gives none.
    source : str
        Where it was published.
    """

    material: str
    term: str
    max_temperature_c: float
    humidity_pct: tuple[float, float] | None
    source: str

    @property
    def text(self) -> str:
        """As a sentence shows it: `at most -3 °C at 20 to 40 % relative humidity`."""
        humidity = (
            "" if self.humidity_pct is None else " at {:g} to {:g} % relative humidity".format(*self.humidity_pct)
        )
        return f"at most {self.max_temperature_c:g} °C{humidity}".replace("-", "−")


_ISO_READ = "ISO 18911:2000, quoted in a museum's table, read"
_ISO_MEMORY = "ISO 18911, from memory"
_SHEET = "ISO 18911, from memory; the same pair read in a maker's data sheet citing its predecessor"
_MAKER = "a film maker's advice, read"

STORAGE_ADVICE: tuple[StorageAdvice, ...] = (
    StorageAdvice("silver on acetate", "extended", 2, (20, 50), _ISO_READ),
    StorageAdvice("silver on acetate", "extended", 5, (20, 40), _ISO_READ),
    StorageAdvice("silver on acetate", "extended", 7, (20, 30), _ISO_READ),
    StorageAdvice("silver on polyester", "extended", 21, (20, 50), _ISO_READ),
    StorageAdvice("colour", "extended", -10, (20, 50), _ISO_MEMORY),
    StorageAdvice("colour", "extended", -3, (20, 40), _ISO_MEMORY),
    StorageAdvice("colour", "extended", 2, (20, 30), _SHEET),
    StorageAdvice("colour", "medium", 10, (20, 30), "a maker's data sheet, read"),
    StorageAdvice("processed safety film", "medium", 25, (20, 50), f"{_ISO_MEMORY}; short peaks to 32 °C"),
    StorageAdvice("nitrate or acetate holdings", "advice", 1.7, None, "a national archive's advice (35 °F), read"),
    StorageAdvice("unexposed film, six months", "advice", 13, (0, 50), _MAKER),
    StorageAdvice("unexposed film, longer", "advice", -18, (0, 50), _MAKER),
    StorageAdvice("unexposed film, sealed", "advice", 21, None, _MAKER),
)
"""All rows; where a material has several, the colder goes with the damper: choose the pair you can keep steady."""


def storage_material(stock: Stock) -> str:
    """Which material of `STORAGE_ADVICE` the processed film of a stock is; an unknown base counts as acetate."""
    if stock.may_be_nitrate:
        return "nitrate or acetate holdings"
    if not stock.is_silver:
        return "colour"  # chromogenic black-and-white is dye as well
    return "silver on polyester" if stock.base == "polyester" else "silver on acetate"


def storage_advice(material: str, *, term: str | None = None) -> tuple[StorageAdvice, ...]:
    """The rows for a material, and for one term if given.

    Raises
    ------
    Refusal
        If there are none.
    """
    rows = tuple(row for row in STORAGE_ADVICE if row.material == material and term in (None, row.term))
    if not rows:
        known = ", ".join(dict.fromkeys(row.material for row in STORAGE_ADVICE))
        raise Refusal(f"material {material!r}", "no storage advice for it", f"Known are: {known}.")
    return rows


def storage_band(mean_temperature_c: float) -> str:
    """What archives call such a store: `room`, `cool`, `cold` or `frozen`.

    At or below 0 °C on average is frozen (read); 8 and 16 °C between the others are from memory.
    """
    for limit_c, name in ((0, "frozen"), (8, "cold"), (16, "cool")):
        if mean_temperature_c <= limit_c:
            return name
    return "room"


# --- Before it is opened ----------------------------------------------------------------------------------------------

_CINE_CAN_HOURS = ((14.0, 3.0), (55.0, 5.0))


def warm_up_hours(from_c: float, to_c: float = 21.0, *, cine_can: bool = False) -> float:
    """Hours that sealed film should warm before it is opened, so that no water settles on it.

    Rolls: about 1 h from a refrigerator, 1.5 h from -18 °C; cans of 35 mm cine film 3 h for a rise of 14 °C and 5 h for
    55 °C (makers' replies and storage pages, read). One package text asks for 2 to 3 h, so longer is never wrong.

    Parameters
    ----------
    from_c, to_c : float
        Temperature of the store and of the room, in degrees Celsius.
    cine_can : bool, optional
        Whether it is a can of cine film and not a roll.

    Returns
    -------
    float
        0 where the film is not colder than the room.
    """
    rise_c = to_c - from_c
    if rise_c <= 0:
        return 0.0
    if not cine_can:
        return 1.0 if from_c >= 0 else 1.5
    (rise_1, hours_1), (rise_2, hours_2) = _CINE_CAN_HOURS
    share = (rise_c - rise_1) / (rise_2 - rise_1)
    return max(hours_1, hours_1 + share * (hours_2 - hours_1))


# --- On the way -------------------------------------------------------------------------------------------------------

XRAY_HAND_CHECK_PASSES = 5
"""Passes of older low-dose machines above which a hand search is advised: doses add up (read)."""
MAIL_HEAT_CAUTION_C = 25.0
"""Above this, film should not lie in a letter box or a car (common practice)."""


def scanner_advice(*, processed: bool, iso: float | None = None, passes: int = 0, ct: bool = False) -> str:
    """What to do with film at a security check, in words; empty where nothing needs doing.

    Source: film makers' pages on CT and X-ray scanners (read).

    Parameters
    ----------
    processed : bool
        Developed film is not affected.
    iso : float, optional
        Exposure index; from 800 on the film is at risk sooner.
    passes : int, optional
        How often it went through older X-ray machines already.
    ct : bool, optional
        Whether the machine is known to be a CT scanner.
    """
    if processed:
        return ""
    if ct:
        return "Never let undeveloped film go through a CT scanner. Ask for a hand inspection; it is not guaranteed."
    text = "Carry undeveloped film in a clear bag as hand luggage and ask for a hand inspection: assume CT scanners."
    if passes >= XRAY_HAND_CHECK_PASSES or (iso or 0) >= 800:
        text += " This film has had its share: older machines add up, and fast film suffers first."
    return text


def latent_image_advice(days_since_exposed: int) -> str:
    """What waiting does to exposed film, in words; empty in the first week.

    Source: a maker's storage pages (read): develop promptly; a few days sealed in a refrigerator are acceptable;
    colour and contrast shift visibly from weeks on, markedly in a year.

    Raises
    ------
    ValueError
        If `days_since_exposed` is below 0.
    """
    if days_since_exposed < 0:
        raise ValueError(f"days_since_exposed is {days_since_exposed}; it must be 0 or more")
    if days_since_exposed <= 7:
        return ""
    if days_since_exposed <= 60:
        return (
            "Exposed film ages faster than fresh film: have it developed soon, or keep it sealed in the refrigerator."
        )
    if days_since_exposed <= 365:
        return "Exposed for more than 60 days: contrast and colour have begun to shift. Have it developed now."
    return (
        "Exposed for more than a year: expect marked loss of contrast and a colour cast. Tell the lab, and do not push."
    )


def expiry_advice(days_past_expiry: int, *, iso: float | None = None) -> str:
    """What to expect of film past the date on its box, in words; empty before that date.

    Common practice, no source: film kept cold ages far slower; fog rises, speed and contrast fall, fast film first
    (read: background radiation ages film of EI 800 about three times as fast as EI 200, and cold does not stop it).

    Parameters
    ----------
    days_past_expiry : int
        Days since the date on the box; 0 or below while it is good.
    iso : float, optional
        Speed on the box.
    """
    if days_past_expiry <= 0:
        return ""
    years = days_past_expiry / 365.25
    if years < 1:
        return "Just past its date: use it soon."
    fast = " Fast film ages sooner, cold or not." if (iso or 0) >= 800 else ""
    if years < 10:
        return (
            f"{int(years)} years past its date: expect some fog and lost speed unless it was kept cold.{fast}".replace(
                "1 years", "1 year"
            )
        )
    return f"{int(years)} years past its date: expect fog, lost speed and a cast. Expose one roll as a trial.{fast}"


# --- Nitrate ----------------------------------------------------------------------------------------------------------

NITRATE_SIGNS = (
    "It may be nitrate if it was made before about 1952, is not marked SAFETY on its edge, or smells sharp, is sticky, "
    "brown or powdery. A copied edge mark proves nothing."
)
NITRATE_CAUTION = (
    "Nitrate film burns fiercely, needs no air to burn and gives off poisonous gas; old film can catch fire from "
    "warmth alone. Stop: do not project it, scan it over a hot light, test it with a flame, seal it airtight, post it "
    "or throw it away. Keep it cool, ventilated and apart from other film, people and heat. Ask a film archive or the "
    "fire service how to store, carry and dispose of it: local fire and transport rules hold, and disposal is for "
    "licensed firms."
)
"""For every place where nitrate-era film appears (sources: a maker's page and an archive's policy, read)."""
ACETATE_CAUTION = (
    "A smell of vinegar means that the acetate base is decaying, and it spreads: keep such film apart, cool, dry and "
    "aired, and copy it soon."
)
"""For acetate film (source: a film preservation guide, read)."""
