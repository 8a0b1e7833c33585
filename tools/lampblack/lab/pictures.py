"""A picture of a paper's curves, black on white, as SVG or PNG.

What must live here: how curves and readings look. Filters are told apart by their names at the curves and by
dashes, not by colour.
"""

import io
from collections.abc import Sequence

from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

from lampblack.lab.curves import densities_of
from lampblack.lab.paper import Made, named, told
from lampblack.lab.strips import Strip

_DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 3)))
_MARKS = ("o", "s", "^", "D", "v", "x", "+")
_POINTS = "T", "A", "m", "S"


def curves_picture(made: Made, strips: Sequence[Strip], kind: str) -> bytes:
    """The curves of a record with the readings of its strips and the points T, A, m and S. `kind` is .svg or
    .png."""
    figure = Figure(figsize=(8, 6), dpi=150, facecolor="white")
    axes = figure.add_subplot()
    for at, own in enumerate(made.filters):
        curve = own.curve
        if curve is None:
            continue
        strip = next(each for each in strips if each.filter == own.filter)
        base = sum(strip.base) / len(strip.base)
        mark = _MARKS[at % len(_MARKS)]
        lights, densities = zip(*strip.readings, strict=True)
        axes.plot(
            lights,
            [density - base for density in densities],
            mark,
            color="black",
            markersize=3,
            fillstyle="none",
        )
        logs = [curve.logs[0] + (curve.logs[-1] - curve.logs[0]) * step / 300 for step in range(301)]
        axes.plot(
            [10**log for log in logs],
            curve.density(logs),
            linestyle=_DASHES[at % len(_DASHES)],
            color="black",
            linewidth=1,
            label=f"{named(own.filter)}: {told(made, own)}",
        )
        for letter, log, density in zip(_POINTS, curve.points, densities_of(curve.top), strict=True):
            axes.plot([10**log], [density], "|", color="black", markersize=9)
            axes.annotate(letter, (10**log, density), xytext=(3, -9), textcoords="offset points", fontsize=7)
        end = curve.points.black
        axes.annotate(
            named(own.filter),
            (10**end, 0.9 * curve.top),
            xytext=(-4, 5),
            textcoords="offset points",
            ha="right",
            fontweight="bold",
        )
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(LogLocator(subs=(1, 2, 5)))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda light, _: f"{light:g}"))
    axes.xaxis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("light, s")
    axes.set_ylabel("density above base")
    axes.set_title(" ".join([made.record["name"], made.record["edition"]]).strip(), loc="left", fontsize=10)
    axes.grid(visible=True, which="both", color="0.85", linewidth=0.5)
    axes.legend(loc="upper left", fontsize=8, frameon=False)
    out = io.BytesIO()
    if kind == ".svg":
        # No date, and names that do not change from one run to the next.
        with rc_context({"svg.hashsalt": "lampblack"}):
            FigureCanvasSVG(figure).print_svg(out, metadata={"Date": None})
    else:
        FigureCanvasAgg(figure).print_png(out)
    return out.getvalue()
