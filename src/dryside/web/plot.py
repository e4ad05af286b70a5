"""Plots as SVG drawn by the server: points and lines from data, their looks from the stylesheet, words for readers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from markupsafe import Markup

WIDTH, HEIGHT = 720, 420
BARS_HEIGHT = 280
LEFT, RIGHT, TOP, BOTTOM = 78, 26, 24, 54


@dataclass(frozen=True)
class Dot:
    """A point: day, value, a short name beside it, where a press leads, what a reader is told."""

    day: date
    value: float
    name: str
    href: str
    told: str
    is_chosen: bool = False


@dataclass(frozen=True)
class Line:
    """Values over days; `kind` chooses its colour in the stylesheet, `limits` are drawn as quiet dashes."""

    name: str
    kind: str
    points: tuple[tuple[date, float], ...]
    limits: tuple[float, ...] = ()


def steps(dots: Sequence[Dot], *, unit: str, title: str) -> Markup:
    """Dots from left to right with steps between: what waiting saves."""
    frame = _Frame([dot.day for dot in dots], [dot.value for dot in dots])
    places = [(frame.x(dot.day), frame.y(dot.value)) for dot in dots]
    parts = [frame.axes(unit)]
    if len(places) > 1:
        ordered = sorted(places)
        path = f"M{ordered[0][0]:.1f} {ordered[0][1]:.1f}" + "".join(f"H{x:.1f}V{y:.1f}" for x, y in ordered[1:])
        parts.append(Markup('<path class="plot-line" d="{}"/>').format(path))
    for dot, (x, y) in zip(dots, places, strict=True):
        parts.append(
            Markup(
                '<a href="{}" aria-label="{}"{}><circle class="plot-dot{}" cx="{:.1f}" cy="{:.1f}" r="15"/>'
                '<text class="plot-name" x="{:.1f}" y="{:.1f}">{}</text></a>'
            ).format(
                dot.href, dot.told, Markup(' aria-current="true"') if dot.is_chosen else "",
                " chosen" if dot.is_chosen else "", x, y, x, y + 5, dot.name,
            )
        )  # fmt: skip
    return _svg(parts, title)


def lines(several: Sequence[Line], *, unit: str, title: str) -> Markup:
    """Values over time, a line each."""
    frame = _Frame([day for one in several for day, _ in one.points], _values(several))
    parts = [frame.axes(unit)]
    for one in several:
        places = [(frame.x(day), frame.y(value)) for day, value in one.points]
        parts += [
            Markup('<path class="plot-limit {}" d="M{} {:.1f}H{}"/>').format(
                one.kind, LEFT, frame.y(limit), WIDTH - RIGHT
            )
            for limit in one.limits
        ]
        path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places)
        parts.append(Markup('<path class="plot-line {}" d="{}"/>').format(one.kind, path))
        if one.name:
            x, y = places[-1]
            parts.append(
                Markup('<text class="plot-end" x="{:.1f}" y="{:.1f}">{}</text>').format(x - 6, y - 10, one.name)
            )
        parts += [Markup('<circle class="plot-point {}" cx="{:.1f}" cy="{:.1f}" r="4"/>').format(one.kind, x, y)
                  for x, y in places]  # fmt: skip
    return _svg(parts, title)


def _values(several: Sequence[Line]) -> list[float]:
    return [value for one in several for value in (*(value for _, value in one.points), *one.limits)]


def bars(values: Sequence[tuple[str, float, str]], *, title: str) -> Markup:
    """Named values as bars from left to right, each with its amount in words."""
    top = max((value for _, value, _ in values), default=1.0) or 1.0
    step = min(90.0, (WIDTH - 20) / max(1, len(values)))
    parts = []
    for place, (name, value, said) in enumerate(values):
        height = (BARS_HEIGHT - TOP - BOTTOM) * max(0.0, value) / top
        x, y = 10 + place * step, BARS_HEIGHT - BOTTOM - height
        middle = x + step / 2
        parts.append(
            Markup(
                '<rect class="plot-bar" x="{:.1f}" y="{:.1f}" width="{:.1f}" height="{:.1f}"/>'
                '<text class="plot-value" x="{:.1f}" y="{:.1f}">{}</text>'
                '<text class="plot-tick" x="{:.1f}" y="{:.1f}">{}</text>'
            ).format(
                x + step * 0.14, y, step * 0.72, height, middle, y - 8, said, middle, BARS_HEIGHT - BOTTOM + 22, name
            )
        )
    return _svg(parts, title, BARS_HEIGHT)


class _Frame:
    """Where days and values lie in the picture."""

    def __init__(self, days: Sequence[date], values: Sequence[float]) -> None:
        self.days = sorted(set(days))
        first, last = self.days[0].toordinal(), self.days[-1].toordinal()
        pad_x = max(1.0, (last - first) * 0.08)
        self.left, self.right = first - pad_x, last + pad_x
        low, high = min(values), max(values)
        pad_y = (high - low) * 0.18 or max(abs(high) * 0.1, 0.05)
        self.low, self.high = low - pad_y, high + pad_y

    def x(self, day: date) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (day.toordinal() - self.left) / (self.right - self.left)

    def y(self, value: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (self.high - value) / (self.high - self.low)

    def axes(self, unit: str) -> Markup:
        """Quiet rules at round values, days below."""
        parts = []
        for value, words in _round_values(self.low, self.high):
            y = self.y(value)
            parts.append(
                Markup(
                    '<path class="plot-rule" d="M{} {:.1f}H{}"/><text class="plot-number" x="{}" y="{:.1f}">{}</text>'
                ).format(LEFT, y, WIDTH - RIGHT, LEFT - 10, y + 5, words)
            )  # fmt: skip
        shown = self.days if len(self.days) <= 6 else self.days[:: -(-len(self.days) // 6)]
        for day in shown:
            parts.append(
                Markup('<text class="plot-tick" x="{:.1f}" y="{}">{}</text>')
                .format(self.x(day), HEIGHT - BOTTOM + 26, f"{day.day} {day:%b}")
            )  # fmt: skip
        parts.append(Markup('<text class="plot-unit" x="{}" y="{}">{}</text>').format(LEFT, TOP - 8, unit))
        return Markup("").join(parts)


def _round_values(low: float, high: float) -> list[tuple[float, str]]:
    span = high - low
    power = 10.0 ** len(str(int(span))) if span >= 1 else 1.0
    while power > span:
        power /= 10
    step = next(one for one in (power / 5, power / 2, power, 2 * power, 5 * power) if span / one <= 6)
    places = max(0, min(4, len(f"{step:.4f}".rstrip("0").partition(".")[2])))
    first = int(low // step) + 1
    count = int((high - first * step) // step) + 1
    return [(n * step, f"{n * step:.{places}f}") for n in range(first, first + count)]


def _svg(parts: Sequence[Markup], title: str, height: int = HEIGHT) -> Markup:
    return Markup('<svg class="plot" viewBox="0 0 {} {}" role="group" aria-label="{}">{}</svg>').format(
        WIDTH, height, title, Markup("").join(parts)
    )
