"""Money: a decimal amount with its ISO 4217 currency; parsed strictly, split without loss."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from dryside.film.refusal import Refusal

# Minor units that are not 2, from ISO 4217 list one (active codes).
_DECIMALS = {
    **dict.fromkeys(("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND"), 0),
    **dict.fromkeys(("VUV", "XAF", "XOF", "XPF"), 0),
    **dict.fromkeys(["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"], 3),
    "CLF": 4,
    "UYW": 4,
}
_AMOUNT = re.compile(r"[+-]?\d+(?:\.\d+)?")
_CURRENCY = re.compile(r"[A-Z]{3}")


def decimals(currency: str) -> int:
    """Digits after the point that `currency` has (JPY 0, EUR 2, KWD 3); 2 for a code not in the list of exceptions.

    Raises
    ------
    Refusal
        If `currency` is not three capital letters.
    """
    if not _CURRENCY.fullmatch(currency):
        raise Refusal(currency or "currency", "this is no currency code of ISO 4217", "Write three letters, like EUR.")
    return _DECIMALS.get(currency, 2)


def quantum(currency: str) -> Decimal:
    """The smallest amount of `currency`: 0.01 for EUR, 1 for JPY."""
    return Decimal(1).scaleb(-decimals(currency))


@dataclass(frozen=True, order=False)
class Money:
    """An exact amount.

    Attributes
    ----------
    amount : Decimal
        May be negative (a refund). Kept at the currency's own number of digits; an amount that has more is refused.
    currency : str
        ISO 4217.
    """

    amount: Decimal
    currency: str

    def __post_init__(self) -> None:
        """Bring the amount to the currency's digits."""
        unit = quantum(self.currency)
        if not self.amount.is_finite() or self.amount != self.amount.quantize(unit):
            raise Refusal(
                f"{self.amount} {self.currency}",
                f"{self.currency} has {decimals(self.currency)} digits after the point",
                "Round it first.",
            )
        object.__setattr__(self, "amount", self.amount.quantize(unit) + 0)  # + 0: no negative zero

    @classmethod
    def parse(cls, text: str, currency: str) -> Money:
        """Money from an amount as one types it: '7', '7.00', '-3.50'.

        Raises
        ------
        Refusal
            If it is not digits with at most one point (7.0.0, 7,00, 1e3), or has more digits than the currency.
        """
        stripped = text.strip()
        if not _AMOUNT.fullmatch(stripped) or not stripped.isascii():
            raise Refusal(text, "this is no amount of money", "Write digits with one decimal point, like 7.00.")
        return cls(Decimal(stripped), currency)

    @classmethod
    def zero(cls, currency: str) -> Money:
        """Nothing, in `currency`."""
        return cls(Decimal(0), currency)

    @classmethod
    def rounded(cls, amount: Decimal, currency: str) -> Money:
        """An amount rounded to the currency, half away from zero as on a receipt."""
        return cls(amount.quantize(quantum(currency), rounding=ROUND_HALF_UP), currency)

    def __add__(self, other: Money) -> Money:
        return Money(self.amount + self._same(other).amount, self.currency)

    def __sub__(self, other: Money) -> Money:
        return Money(self.amount - self._same(other).amount, self.currency)

    def __neg__(self) -> Money:
        return Money(-self.amount, self.currency)

    def __mul__(self, count: int) -> Money:
        return Money(self.amount * count, self.currency)

    def __lt__(self, other: Money) -> bool:
        return self.amount < self._same(other).amount

    def __le__(self, other: Money) -> bool:
        return self.amount <= self._same(other).amount

    def __gt__(self, other: Money) -> bool:
        return self.amount > self._same(other).amount

    def __ge__(self, other: Money) -> bool:
        return self.amount >= self._same(other).amount

    def __bool__(self) -> bool:
        return bool(self.amount)

    def __str__(self) -> str:
        return f"{self.amount} {self.currency}"

    def as_dict(self) -> dict[str, str]:
        """For JSON: amount and currency, both text."""
        return {"amount": str(self.amount), "currency": self.currency}

    def split(self, weights: Sequence[int | Fraction | Decimal]) -> list[Money]:
        """Shares in proportion to `weights` that add up to this amount exactly (see `split_cents`)."""
        unit = quantum(self.currency)
        cents = int(self.amount / unit)
        return [Money(share * unit, self.currency) for share in split_cents(cents, weights)]

    def _same(self, other: Money) -> Money:
        if other.currency != self.currency:
            raise ValueError(f"{self} and {other} are two currencies; no rate is known here")
        return other


def total(amounts: Iterable[Money], currency: str) -> Money:
    """The sum; nothing in `currency` for no amounts."""
    result = Money.zero(currency)
    for amount in amounts:
        result = result + amount
    return result


def split_cents(cents: int, weights: Sequence[int | Fraction | Decimal]) -> list[int]:
    """Divide a whole number of smallest coins in proportion to `weights` without loss, by the largest remainder.

    Each share differs from its exact proportion by less than one coin; at equal remainders the earlier share gets the
    coin. All weights 0: equal shares. A negative number is split like its positive and turned round.

    Parameters
    ----------
    cents : int
        Whole smallest coins; may be negative.
    weights : sequence of numbers
        At least one, none negative.

    Raises
    ------
    ValueError
        If there are no weights or one is negative.
    """
    if not weights:
        raise ValueError("weights is empty; something must take the money")
    exact = [Fraction(weight) for weight in weights]
    if min(exact) < 0:
        raise ValueError(f"weights has {float(min(exact))}; each must be at least 0")
    if cents < 0:
        return [-share for share in split_cents(-cents, weights)]
    whole = sum(exact)
    if whole == 0:
        exact, whole = [Fraction(1)] * len(exact), Fraction(len(exact))
    ideal = [cents * weight / whole for weight in exact]
    shares = [int(value) for value in ideal]
    by_remainder = sorted(range(len(ideal)), key=lambda i: (shares[i] - ideal[i], i))
    for i in by_remainder[: cents - sum(shares)]:
        shares[i] += 1
    return shares
