"""The picture of a paper's curves while its strips are read: what is typed, and the curves that it makes.

What must live here: how an unfinished set of strips looks. The picture of a finished record is
`lampblack.lab.pictures`.
"""

import io
from collections.abc import Sequence
from typing import NamedTuple

from matplotlib import rc_context
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from lampblack.lab.curves import Curve
from lampblack.lab.strips import Strip

_DASHES = ("-", "--", "-.", ":")
_MARKS = ("o", "s", "^", "D", "v", "x", "+")


class Growing(NamedTuple):
    """A strip as far as it is read, with its curve once it makes one."""

    strip: Strip
    curve: Curve | None


class Inks(NamedTuple):
    """The colours of a picture, as a page has them."""

    ink: str
    line: str
    ground: str


def growing_picture(strips: Sequence[Growing], inks: Inks) -> str:
    """An SVG of the readings above their base, where one is known, and of the curves. Deterministic."""
    figure = Figure(figsize=(7.2, 4.6), facecolor=inks.ground)
    axes = figure.add_axes((0.09, 0.12, 0.89, 0.85), facecolor=inks.ground)
    for at, (strip, curve) in enumerate(strips):
        base = sum(strip.base) / len(strip.base) if strip.base else 0.0
        lights = [light for light, _ in strip.readings]
        densities = [density - base for _, density in strip.readings]
        name = strip.filter or "none"
        axes.plot(
            lights,
            densities,
            _MARKS[at % len(_MARKS)],
            color=inks.ink,
            markersize=5,
            fillstyle="none",
            label=name,
        )
        if curve is not None:
            low, high = curve.logs[0], curve.logs[-1]
            logs = [low + (high - low) * step / 200 for step in range(201)]
            dashes = _DASHES[at % len(_DASHES)]
            axes.plot([10**log for log in logs], curve.density(logs), dashes, color=inks.ink, linewidth=1.3)
    axes.set_xscale("log")
    if not any(strip.readings for strip, _ in strips):
        axes.set_xlim(1, 100)
        axes.set_ylim(0, 2.2)
    axes.set_ylim(bottom=min(0.0, axes.get_ylim()[0]))
    axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda light, _: f"{light:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("light, s", color=inks.ink)
    axes.set_ylabel("density above base", color=inks.ink)
    axes.tick_params(which="both", colors=inks.ink, labelcolor=inks.ink)
    for spine in axes.spines.values():
        spine.set_color(inks.line)
    axes.grid(visible=True, which="major", color=inks.line, linewidth=0.6)
    if any(strip.readings for strip, _ in strips):
        legend = axes.legend(loc="upper left", frameon=False, labelcolor=inks.ink, title="filter")
        legend.get_title().set_color(inks.ink)
    out = io.StringIO()
    with rc_context({"svg.hashsalt": "lampblack", "svg.fonttype": "path"}):
        FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None})
    text = out.getvalue()
    return text[text.index("<svg") :]
