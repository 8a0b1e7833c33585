"""The pages of a printing record as files: PDF, SVG and PNG by Matplotlib.

What must live here: how what is laid out becomes ink. Black on white alone, greys only where the picture of
the print is; letters embedded; and nothing of when or where it was made, so that the same record gives the
same bytes. It may not know what is laid out, nor where files go.
"""

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lampblack.record.lettering import font_file
from lampblack.record.page_layout import Block, Item, Line, Page, Picture, Words

KINDS = ("pdf", "svg", "png")
DPI = 300
"""Of a PNG: as fine as a printer makes letters without greys."""
_MM_PER_INCH = 25.4
_PT_PER_MM = 72 / _MM_PER_INCH
_DASHES = (0, (5, 3))
"""In widths of the line, dark and light."""
_SETTINGS: dict[Any, Any] = {
    "pdf.fonttype": 42,
    "svg.fonttype": "path",
    "svg.hashsalt": "lampblack",
    "text.hinting": "no_hinting",
    "path.simplify": False,
}


def drawn(pages: Sequence[Page], kind: str, picture: NDArray[np.uint8] | None, title: str) -> list[bytes]:
    """The files of `pages`: one PDF, or an SVG or PNG for each page. `picture` is the print in greys, where a
    page has a Picture. CommandError where Matplotlib is missing."""
    font_file(False)
    import matplotlib

    with matplotlib.rc_context():
        # Whatever a person has set for their own figures.
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_SETTINGS)
        if kind == "pdf":
            return [_pdf(pages, picture, title)]
        make = _svg if kind == "svg" else _png
        return [make(page, picture, title) for page in pages]


def _pdf(pages: Sequence[Page], picture: Any, title: str) -> bytes:
    from matplotlib.backends.backend_pdf import PdfPages

    file = io.BytesIO()
    with PdfPages(file, metadata={"Title": title, "Creator": "Lampblack", "CreationDate": None}) as pdf:
        for page in pages:
            pdf.savefig(_figure(page, picture))
    return file.getvalue()


def _svg(page: Page, picture: Any, title: str) -> bytes:
    file = io.BytesIO()
    metadata = {"Title": title, "Creator": "Lampblack", "Date": None}
    _figure(page, picture).savefig(file, format="svg", metadata=metadata)
    return file.getvalue()


def _png(page: Page, picture: Any, title: str) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from PIL import Image

    figure = _figure(page, picture)
    figure.set_dpi(DPI)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    greys = np.asarray(canvas.buffer_rgba())[:, :, 0]
    # The edges of letters and lines are smoothed; ink is there or it is not.
    inked = np.where(greys < 128, 0, 255).astype(np.uint8)
    for item in page.items:
        if isinstance(item, Picture):
            rows, columns = _pixels(item, page)
            inked[rows, columns] = greys[rows, columns]
    file = io.BytesIO()
    Image.fromarray(inked).save(file, "PNG", dpi=(DPI, DPI))
    return file.getvalue()


def _pixels(item: Picture, page: Page) -> tuple[slice, slice]:
    per_mm = DPI / _MM_PER_INCH
    rect = item.rect
    return (
        slice(round(rect.top * per_mm), round(rect.bottom * per_mm)),
        slice(round(rect.left * per_mm), round(rect.right * per_mm)),
    )


def _figure(page: Page, picture: Any) -> Any:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(page.wide / _MM_PER_INCH, page.high / _MM_PER_INCH), facecolor="white")
    for order, item in enumerate(page.items):
        _put(figure, page, item, order, picture)
    return figure


def _put(figure: Any, page: Page, item: Item, order: int, picture: Any) -> None:
    from matplotlib.font_manager import FontProperties
    from matplotlib.lines import Line2D
    from matplotlib.patches import Rectangle

    def place(x: float, y: float) -> tuple[float, float]:
        return x / page.wide, 1 - y / page.high

    if isinstance(item, Words):
        x, y = place(item.left, item.base)
        font = FontProperties(fname=str(font_file(item.bold)), size=item.size_pt)
        # A dollar is a dollar.
        figure.text(
            x, y, item.text, fontproperties=font, color="black", va="baseline", zorder=order, parse_math=False
        )
        return
    if isinstance(item, Line):
        xs, ys = zip(*(place(*point) for point in item.points))

        def stroke(wide_mm: float, color: str, style: Any) -> None:
            line = Line2D(
                xs,
                ys,
                color=color,
                linewidth=wide_mm * _PT_PER_MM,
                linestyle=style,
                solid_capstyle="butt",
                dash_capstyle="butt",
                zorder=order,
                transform=figure.transFigure,
            )
            figure.add_artist(line)

        if item.on_picture:
            stroke(3 * item.wide_mm, "white", "-")
        stroke(item.wide_mm, "black", _DASHES if item.dashed else "-")
        return
    rect = item.rect
    x, y = place(rect.left, rect.bottom)
    size = (rect.wide / page.wide, rect.high / page.high)
    if isinstance(item, Block):
        block = Rectangle(
            (x, y),
            *size,
            facecolor="black" if item.black else "white",
            edgecolor="black",
            linewidth=item.line_mm * _PT_PER_MM,
            zorder=order,
            transform=figure.transFigure,
        )
        figure.add_artist(block)
        return
    axes = figure.add_axes((x, y, *size), frameon=False, zorder=order)
    axes.set_axis_off()
    greys = np.repeat(picture[:, :, None], 3, axis=2)
    axes.imshow(greys, aspect="auto", interpolation="none")
