"""Where everything stands on the pages of a printing record, in mm from the upper left corner.

What must live here: places and sizes, found from how wide the texts are. Nothing stands on anything else but
labels on the picture, nothing leaves the page, and what has no room goes on the next. It may not know what
the words mean, nor how a page becomes a file.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from lampblack.record.contents import COVERED, TRAY_HEADS, Bar, Contents, Row, Shape
from lampblack.record.lettering import (
    ASCENT,
    DESCENT,
    LEADING,
    PT_MM,
    drawable,
    fitted,
    width_mm,
    wrapped,
)

PAPER_SIZES_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
MARGIN_MM = 15.0
TITLE_PT, HEAD_PT, TEXT_PT, SMALL_PT, LEAST_PT = 16.0, 9.5, 8.5, 7.0, 5.0
TABLE_PTS = (8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5)
"""Sizes of the run's letters: the first at which the bars have room."""
LABEL_PT = 6.5

FINE_MM, LINE_MM, BOLD_MM = 0.1, 0.2, 0.5
GAP_MM = 3.0
BARS_LEAST_MM = 38.0
_TICK_LEAST_MM = 12.0
PICTURE_PART = 0.6
"""Of the width, and of the height below the title, that the picture may have."""
PICTURE_TALL_PART = 0.38
FRAME = (5, 4)
"""The shape of the empty frame that outlines are drawn in where there is no picture of the print."""
_STEP_MM = 2.5
_NEAR_MM = 30.0
"""How far off its area a whole label may stand; further off its number alone does."""
_SMALL_LABELS = 4
"""An area is small where its label would cover more than one part in so many of it."""
_LABELS_PART = 0.3
"""Where whole labels would cover more of the picture, there are numbers alone: the run says the rest."""


class Rect(NamedTuple):
    left: float
    top: float
    wide: float
    high: float

    @property
    def right(self) -> float:
        return self.left + self.wide

    @property
    def bottom(self) -> float:
        return self.top + self.high

    def meets(self, other: "Rect") -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def holds(self, other: "Rect") -> bool:
        return (
            self.left <= other.left + 1e-6
            and other.right <= self.right + 1e-6
            and self.top <= other.top + 1e-6
            and other.bottom <= self.bottom + 1e-6
        )


class Words(NamedTuple):
    """One line of text, from `left`, on a line at `base`."""

    left: float
    base: float
    text: str
    size_pt: float
    bold: bool = False

    @property
    def rect(self) -> Rect:
        size_mm = self.size_pt * PT_MM
        wide = width_mm(self.text, self.size_pt, self.bold)
        return Rect(self.left, self.base - ASCENT * size_mm, wide, (ASCENT + DESCENT) * size_mm)


class Line(NamedTuple):
    points: list[tuple[float, float]]
    wide_mm: float
    dashed: bool = False
    on_picture: bool = False
    """Then it is seen on black and on white."""


class Block(NamedTuple):
    """A rectangle with an outline, black or white inside."""

    rect: Rect
    black: bool
    line_mm: float = LINE_MM


class Picture(NamedTuple):
    rect: Rect


Item = Words | Line | Block | Picture


@dataclass
class Page:
    """What is drawn first comes first."""

    wide: float
    high: float
    items: list[Item] = field(default_factory=list)


class _Pages:
    """Pages that are filled from the top; `y` is where the next thing goes."""

    def __init__(self, paper: str, title: str) -> None:
        self._size = PAPER_SIZES_MM[paper]
        self._title = title
        self.left, self.wide = MARGIN_MM, self._size[0] - 2 * MARGIN_MM
        self.bottom = self._size[1] - MARGIN_MM - _line_mm(SMALL_PT) - GAP_MM
        self.pages: list[Page] = []
        self.begin()

    @property
    def right(self) -> float:
        return self.left + self.wide

    @property
    def high(self) -> float:
        """Of the room between the margins."""
        return self.bottom - MARGIN_MM

    def begin(self) -> None:
        self.pages.append(Page(*self._size))
        self.y = MARGIN_MM
        if len(self.pages) > 1:
            text, size_pt = fitted(self._title, self.wide, HEAD_PT, LEAST_PT, True)
            self.words(self.left, text, size_pt, True)
            self.y += _line_mm(HEAD_PT) + GAP_MM

    def take(self, high: float) -> bool:
        """Make sure of `high` mm. True if that began a page."""
        if self.y + high <= self.bottom:
            return False
        self.begin()
        return True

    def put(self, item: Item) -> None:
        self.pages[-1].items.append(item)

    def words(self, left: float, text: str, size_pt: float, bold: bool = False) -> None:
        """Text whose line begins at `y`, which stays."""
        if text:
            self.put(Words(left, _base(self.y, size_pt), text, size_pt, bold))

    def words_right(self, right: float, text: str, size_pt: float, bold: bool = False) -> None:
        self.words(right - width_mm(text, size_pt, bold), text, size_pt, bold)

    def rule(self, wide_mm: float) -> None:
        self.put(Line([(self.left, self.y), (self.right, self.y)], wide_mm))


def _line_mm(size_pt: float) -> float:
    return LEADING * size_pt * PT_MM


def _base(top: float, size_pt: float) -> float:
    """Where letters stand in a line that begins at `top`."""
    return top + (LEADING - DESCENT - 0.02) * size_pt * PT_MM


def laid_out(contents: Contents, paper: str, picture_px: tuple[int, int] | None) -> list[Page]:
    """The pages of a record on `paper`, one of PAPER_SIZES_MM; `picture_px` is the width and height of the
    picture of the print, None where there is none."""
    pages = _Pages(paper, drawable(", ".join([contents.title, *contents.about])))
    _lay_title(pages, contents)
    shape = picture_px or (FRAME if contents.shapes else None)
    if shape:
        _lay_picture_and_facts(pages, contents, shape, picture_px is not None)
    else:
        _lay_facts_alone(pages, contents)
    _RunTable(pages, contents).lay()
    if contents.trays:
        _lay_trays(pages, contents)
    if contents.notes:
        _lay_notes(pages, contents.notes)
    for remark in contents.remarks:
        _lay_lines(pages, remark, SMALL_PT)
    _lay_feet(pages, contents.foot)
    return pages.pages


def _lay_title(pages: _Pages, contents: Contents) -> None:
    about, about_pt = fitted(drawable("   ".join(contents.about)), pages.wide / 2, HEAD_PT, LEAST_PT)
    about_wide = width_mm(about, about_pt)
    room = pages.wide - about_wide - (GAP_MM if about else 0)
    text, size_pt = fitted(drawable(contents.title), room, TITLE_PT, SMALL_PT, True)
    high = _line_mm(TITLE_PT)
    base = _base(pages.y, TITLE_PT)
    pages.put(Words(pages.left, base, text, size_pt, True))
    if about:
        pages.put(Words(pages.right - about_wide, base, about, about_pt))
    pages.y += high + 1.0
    pages.rule(BOLD_MM)
    pages.y += GAP_MM


# --- the picture, and what the print was made with


def _lay_picture_and_facts(
    pages: _Pages, contents: Contents, shape: tuple[int, int], is_picture: bool
) -> None:
    wide = PICTURE_PART * pages.wide
    high = wide * shape[1] / shape[0]
    most = PICTURE_TALL_PART * pages.high
    if high > most:
        wide, high = wide * most / high, most
    rect = Rect(pages.left, pages.y, wide, high)
    if is_picture:
        pages.put(Picture(rect))
    for item in outlined(contents.shapes, rect):
        pages.put(item)
    pages.put(_frame(rect))
    facts_left = pages.left + PICTURE_PART * pages.wide + 2 * GAP_MM
    facts_left = min(facts_left, rect.right + 2 * GAP_MM)
    end = _lay_facts(pages, contents.facts, facts_left, pages.right - facts_left)
    pages.y = max(rect.bottom, end) + GAP_MM


def _frame(rect: Rect) -> Line:
    corners = [
        (rect.left, rect.top),
        (rect.right, rect.top),
        (rect.right, rect.bottom),
        (rect.left, rect.bottom),
    ]
    return Line([*corners, corners[0]], LINE_MM)


def _lay_facts_alone(pages: _Pages, contents: Contents) -> None:
    half = -(-len(contents.facts) // 2)
    wide = (pages.wide - 2 * GAP_MM) / 2
    ends = [
        _lay_facts(pages, facts, pages.left + at * (wide + 2 * GAP_MM), wide)
        for at, facts in enumerate((contents.facts[:half], contents.facts[half:]))
    ]
    pages.y = max(ends) + GAP_MM


def _lay_facts(pages: _Pages, facts: Sequence[tuple[str, str]], left: float, wide: float) -> float:
    """Labels with texts beside them, from `y` down. Returns where they end; `y` stays."""
    top = pages.y
    label_wide = max((width_mm(label, SMALL_PT) for label, _ in facts), default=0.0)
    room = wide - label_wide - GAP_MM
    for label, text in facts:
        base = _base(pages.y, TEXT_PT)
        pages.put(Words(left, base, label, SMALL_PT))
        for line in wrapped(drawable(text), room, TEXT_PT):
            pages.words(left + label_wide + GAP_MM, line, TEXT_PT)
            pages.y += _line_mm(TEXT_PT)
        pages.y += 0.8
    end, pages.y = pages.y, top
    return end


# --- areas on the picture


def outlined(shapes: Sequence[Shape], rect: Rect) -> list[Item]:
    """Outlines of areas on a picture that lies in `rect`, dodges dashed, and a label for each: by its area
    where there is room, or its number, or none where the picture is full. What is outlined stays to be seen:
    a label stands beside a small area, not on it."""
    found: list[Item] = []
    labels: list[Item] = []
    taken: list[Rect] = []
    sizes = [_label_size([drawable(line) for line in shape.label]) for shape in shapes]
    near = (
        _NEAR_MM if sum(wide * high for wide, high in sizes) <= _LABELS_PART * rect.wide * rect.high else -1
    )
    drawn = [
        [
            [(rect.left + x * rect.wide, rect.top + y * rect.high) for x, y in outline]
            for outline in shape.outlines
        ]
        for shape in shapes
    ]
    small = [
        around
        for (wide, high), outlines in zip(sizes, drawn, strict=True)
        for around in map(_around, outlines)
        if around.wide * around.high < _SMALL_LABELS * wide * high
    ]
    for shape, outlines in zip(shapes, drawn, strict=True):
        for points in outlines:
            found.append(Line([*points, points[0]], LINE_MM, dashed=shape.dodged, on_picture=True))
        middle = _middle(max(outlines, key=lambda points: abs(_twice_area(points))))
        far = rect.wide + rect.high
        for text, reach, clear in (
            (shape.label, near, small),
            ([shape.number], far, small),
            ([shape.number], far, []),
        ):
            lines = [drawable(line) for line in text]
            place = _free(rect, [*taken, *clear], middle, _label_size(lines), reach)
            if place:
                taken.append(place)
                if not place.holds(Rect(*middle, 0, 0)):
                    found.append(Line([_near(place, middle), middle], FINE_MM, on_picture=True))
                labels += _label(place, lines)
                break
    return found + labels


def _label_size(lines: Sequence[str]) -> tuple[float, float]:
    wide = max(width_mm(line, LABEL_PT, at == 0) for at, line in enumerate(lines))
    return wide + 1.6, len(lines) * _line_mm(LABEL_PT) + 0.6


def _label(place: Rect, lines: Sequence[str]) -> list[Item]:
    found: list[Item] = [Block(place, black=False, line_mm=FINE_MM)]
    for at, line in enumerate(lines):
        base = _base(place.top + 0.3 + at * _line_mm(LABEL_PT), LABEL_PT)
        found.append(Words(place.left + 0.8, base, line, LABEL_PT, bold=at == 0))
    return found


def _free(
    rect: Rect, taken: Sequence[Rect], middle: tuple[float, float], size: tuple[float, float], reach: float
) -> Rect | None:
    """The place of this size nearest to `middle` that is inside `rect` and clear of all that is taken."""
    wide, high = size
    if reach < 0:
        return None
    left, top = rect.left + 0.5, rect.top + 0.5
    right, bottom = rect.right - 0.5 - wide, rect.bottom - 0.5 - high
    if right < left or bottom < top:
        return None
    at = (min(max(middle[0] - wide / 2, left), right), min(max(middle[1] - high / 2, top), bottom))
    places = {at}
    for x in _steps(at[0], left, right):
        for y in _steps(at[1], top, bottom):
            if abs(x - at[0]) <= reach and abs(y - at[1]) <= reach:
                places.add((x, y))
    for x, y in sorted(places, key=lambda own: ((own[0] - at[0]) ** 2 + (own[1] - at[1]) ** 2, own)):
        place = Rect(x, y, wide, high)
        if not any(place.meets(other) for other in taken):
            return place
    return None


def _around(points: Sequence[tuple[float, float]]) -> Rect:
    xs, ys = zip(*points, strict=True)
    return Rect(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))


def _steps(start: float, low: float, high: float) -> list[float]:
    below, above = int((start - low) / _STEP_MM), int((high - start) / _STEP_MM)
    return [start + count * _STEP_MM for count in range(-below, above + 1)]


def _near(place: Rect, point: tuple[float, float]) -> tuple[float, float]:
    return min(max(point[0], place.left), place.right), min(max(point[1], place.top), place.bottom)


def _twice_area(points: Sequence[tuple[float, float]]) -> float:
    return sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(points, [*points[1:], points[0]], strict=True))


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """The centre of what is outlined; of its corners, where it has no area."""
    whole = _twice_area(points)
    if abs(whole) < 1e-6:
        return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)
    x_sum = y_sum = 0.0
    for (x1, y1), (x2, y2) in zip(points, [*points[1:], points[0]], strict=True):
        piece = x1 * y2 - x2 * y1
        x_sum += (x1 + x2) * piece
        y_sum += (y1 + y2) * piece
    # An outline that crosses itself may have its centre anywhere.
    return _near(_around(points), (x_sum / (3 * whole), y_sum / (3 * whole)))


# --- the run


class _Column(NamedTuple):
    head: str
    cell: Callable[[Row], str]
    right: bool = False


_COLUMNS = (
    _Column("", lambda row: row.number, True),
    _Column("run", lambda row: row.what),
    _Column("filter", lambda row: row.filter),
    _Column("stops", lambda row: row.stops, True),
    _Column("s", lambda row: row.shown, True),
    _Column("light s", lambda row: row.light, True),
    _Column("shade in, s of light", lambda row: row.window),
)
_ROW_MORE_MM = 0.9


class _RunTable:
    """The run, a line for each stage and mark, with bars of time at the right."""

    def __init__(self, pages: _Pages, contents: Contents) -> None:
        self._pages, self._rows = pages, contents.rows
        self._columns = [own for own in _COLUMNS if self._is_wanted(own, contents)]
        self._longest_ms = contents.longest_ms
        for self._pt in TABLE_PTS:
            self._widths = [self._width(own) for own in self._columns]
            bars = pages.wide - sum(self._widths) - GAP_MM * len(self._widths)
            if bars >= BARS_LEAST_MM:
                break
        else:
            # The names give way: each is made to fit its column.
            self._widths[1] -= BARS_LEAST_MM - bars
            bars = BARS_LEAST_MM
        self._bars_left, self._bars_wide = pages.right - bars, bars
        self._high = _line_mm(self._pt) + _ROW_MORE_MM

    @staticmethod
    def _is_wanted(column: _Column, contents: Contents) -> bool:
        if column.head == "light s":
            return contents.dries_down
        return column.head == "run" or any(column.cell(row) for row in contents.rows)

    def _width(self, column: _Column) -> float:
        head = width_mm(column.head, SMALL_PT)
        return max(head, *(self._cell_width(column, row) for row in self._rows))

    def _cell_width(self, column: _Column, row: Row) -> float:
        return width_mm(drawable(column.cell(row)), self._pt, row.begins)

    def lay(self) -> None:
        self._pages.take(_line_mm(SMALL_PT) + 4 * self._high)
        self._lay_heads()
        for at, row in enumerate(self._rows):
            with_next = 2 if row.begins and at + 1 < len(self._rows) else 1
            is_first = at == 0
            if self._pages.take(with_next * self._high):
                self._lay_heads()
                is_first = True
            self._lay_row(row, is_first)
        self._pages.y += GAP_MM

    def _lay_heads(self) -> None:
        pages = self._pages
        left = pages.left
        for column, wide in zip(self._columns, self._widths, strict=True):
            if column.right:
                pages.words_right(left + wide, column.head, SMALL_PT)
            else:
                pages.words(left, column.head, SMALL_PT)
            left += wide + GAP_MM
        pages.y += _line_mm(SMALL_PT) + 1.2
        for ms in ticks(self._longest_ms, self._bars_wide):
            x = self._at(ms)
            text = f"{ms / 1000:g} s" if ms else "0"
            wide = width_mm(text, SMALL_PT)
            start = min(x - wide / 2, pages.right - wide) if ms else x
            pages.put(Words(start, _base(pages.y - _line_mm(SMALL_PT) - 1.2, SMALL_PT), text, SMALL_PT))
            pages.put(Line([(x, pages.y - 1.0), (x, pages.y)], FINE_MM))
        pages.rule(LINE_MM)
        pages.y += 0.4

    def _lay_row(self, row: Row, is_first: bool) -> None:
        pages = self._pages
        if row.begins and not is_first:
            pages.rule(FINE_MM)
        left = pages.left
        top, pages.y = pages.y, pages.y + _ROW_MORE_MM / 2
        for column, wide in zip(self._columns, self._widths, strict=True):
            text, size_pt = fitted(drawable(column.cell(row)), wide + 1e-6, self._pt, LEAST_PT, row.begins)
            if column.right:
                pages.words_right(left + wide, text, size_pt, row.begins)
            else:
                pages.words(left, text, size_pt, row.begins)
            left += wide + GAP_MM
        if row.bar:
            self._lay_bar(row.bar, top)
        pages.y = top + self._high

    def _lay_bar(self, bar: Bar, top: float) -> None:
        start, end = self._at(bar.start_ms), self._at(bar.end_ms)
        high = (0.35 if bar.kind == COVERED else 0.55) * self._high
        rect = Rect(start, top + (self._high - high) / 2, max(end - start, LINE_MM), high)
        self._pages.put(Block(rect, black=bar.kind == COVERED))

    def _at(self, ms: int) -> float:
        # The outline of the longest bar stays inside.
        return self._bars_left + LINE_MM + (self._bars_wide - 2 * LINE_MM) * ms / self._longest_ms


def ticks(longest_ms: int, wide_mm: float) -> list[int]:
    """Times in ms for the marks of a scale up to `longest_ms`, in round steps, with room for their labels."""
    for power in range(1, 8):
        for step in (10**power, 2 * 10**power, 5 * 10**power):
            if wide_mm * step / longest_ms >= _TICK_LEAST_MM:
                return list(range(0, longest_ms + 1, step))
    return [0]


# --- trays, notes, feet


def _lay_trays(pages: _Pages, contents: Contents) -> None:
    high = _line_mm(TEXT_PT) + _ROW_MORE_MM
    heads = [head if any(row[at] for row in contents.trays) else "" for at, head in enumerate(TRAY_HEADS)]
    wanted = [at for at, head in enumerate(heads) if head]
    widths = [
        max(width_mm(heads[at], SMALL_PT), *(width_mm(drawable(row[at]), TEXT_PT) for row in contents.trays))
        for at in wanted
    ]
    pages.take(_line_mm(HEAD_PT) + GAP_MM + len(contents.trays) * high + _line_mm(SMALL_PT))
    _lay_head(pages, contents.trays_title)
    for row, size_pt, row_high in [
        (heads, SMALL_PT, _line_mm(SMALL_PT) + _ROW_MORE_MM / 2),
        *((row, TEXT_PT, high) for row in contents.trays),
    ]:
        left = pages.left
        for at, wide in zip(wanted, widths, strict=True):
            pages.words(left, drawable(row[at]), size_pt)
            left += wide + 2 * GAP_MM
        pages.y += row_high
    pages.y += GAP_MM


def _lay_head(pages: _Pages, text: str) -> None:
    text, size_pt = fitted(drawable(text), pages.wide, HEAD_PT, LEAST_PT, True)
    pages.words(pages.left, text, size_pt, True)
    pages.y += _line_mm(HEAD_PT) + 0.8


def _lay_notes(pages: _Pages, notes: str) -> None:
    pages.take(_line_mm(HEAD_PT) + 2 * _line_mm(TEXT_PT))
    _lay_head(pages, "Notes")
    _lay_lines(pages, notes, TEXT_PT)
    pages.y += GAP_MM / 2


def _lay_lines(pages: _Pages, text: str, size_pt: float) -> None:
    for line in wrapped(drawable(text), pages.wide, size_pt):
        pages.take(_line_mm(size_pt))
        pages.words(pages.left, line, size_pt)
        pages.y += _line_mm(size_pt)
    pages.y += 0.8


def _lay_feet(pages: _Pages, foot: str) -> None:
    count = len(pages.pages)
    for number, page in enumerate(pages.pages, 1):
        base = page.high - MARGIN_MM - DESCENT * SMALL_PT * PT_MM
        page.items.append(Words(pages.left, base, drawable(foot), SMALL_PT))
        if count > 1:
            text = f"page {number} of {count}"
            page.items.append(Words(pages.right - width_mm(text, SMALL_PT), base, text, SMALL_PT))
