"""`dryside calibrate`: a profile of a stock, a light and a camera from a frame of a chart."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from dryside.cli.support import AsJson, print_json, say

app = typer.Typer(add_completion=False)


class Process(StrEnum):
    """How the film was developed."""

    C41 = "c41"
    ECN2 = "ecn2"
    BW = "bw"
    E6 = "e6"


class Assumed(StrEnum):
    """How files without a profile are encoded."""

    AUTO = "auto"
    LINEAR = "linear"
    SRGB = "srgb"


@app.command()
def calibrate(
    capture: Annotated[Path, typer.Argument(metavar="CAPTURE", help="Capture of the strip with the chart on it.")],
    process: Annotated[Process, typer.Option(help="How the film was developed.")],
    out: Annotated[Path, typer.Option(metavar="PROFILE", help="Where the profile goes (JSON).")],
    film_format: Annotated[str, typer.Option("--format", help="Frame size: 135, half, 120-6x6, ...")] = "135",
    flat: Annotated[Path | None, typer.Option(help="A capture of the bare light.")] = None,
    frame: Annotated[
        str | None, typer.Option(metavar="LABEL", help="The chart's frame; else it is looked for.")
    ] = None,
    reference: Annotated[
        Path | None, typer.Option(metavar="CSV", help="Your chart's values: patch,x,y,Y or patch,L,a,b in D50.")
    ] = None,
    wedge_step: Annotated[
        float | None, typer.Option(metavar="STOPS", help="A grey wedge instead of a chart; stops from step to step.")
    ] = None,
    assume: Annotated[Assumed, typer.Option(help="How files without a profile are encoded.")] = Assumed.AUTO,
    whole: Annotated[bool, typer.Option("--whole", help="The capture is one frame and nothing else.")] = False,
    as_json: AsJson = False,
) -> None:
    """Fit a profile from a frame of a 24-patch chart."""
    from dryside.film.formats import parse_format
    from dryside.negatives.chart_values import PUBLISHED, read_reference
    from dryside.negatives.fit_profile import CalibrationOptions, calibrate_capture
    from dryside.negatives.profile import write_profile

    values = read_reference(reference) if reference else PUBLISHED
    options = CalibrationOptions(
        process=process.value,
        film_format=parse_format(film_format),
        flat=flat,
        frame=frame,
        reference=values,
        wedge_step_stops=wedge_step,
        assume=assume.value,
        whole=whole,
    )
    profile = calibrate_capture(capture, options)
    write_profile(profile, out)
    document = _document(profile, out, values.patches)
    if as_json:
        print_json(document)
    else:
        say(_words(document))


def _document(profile: Any, out: Path, patches: tuple[str, ...]) -> dict[str, Any]:
    """What was fitted and how well."""
    from dryside.negatives.profile import summary

    names = patches if profile.target == "chart" else tuple(str(i + 1) for i in range(len(profile.differences)))
    return {"profile": str(out), **summary(profile, names)}


def _words(document: dict[str, Any]) -> str:
    head = f"{document['profile']}: {document['target']} in frame {document['frame']}"
    if not document["patches"]:
        return f"{head}, contrast {document['contrast']:.2f}"
    worst = ", ".join(f"{patch['name']} {patch['off']:.1f}" for patch in document["patches"][:3])
    return (
        f"{head}, {document['measure']}: median {document['median']:.1f}, 95 % {document['percentile_95']:.1f};"
        f" furthest off: {worst}"
    )
