"""The letters and figures, on MicroPython's `framebuf` where there is one, else on `host_sim.box.raster`."""

import gc
import sys

from timing_core.panel.letters import HEIGHT_PX, LARGE, Pen, clip, enlarge, in_letters, width

ON_MICROPYTHON = sys.implementation.name == "micropython"

if ON_MICROPYTHON:
    import micropython
    from framebuf import FrameBuffer
else:
    from host_sim.box.raster import FrameBuffer

WIDTH, HEIGHT = 128, 64
ASCII = "".join([chr(code) for code in range(32, 127)])
EXTRA = "½\u2212·…→\u00d7°▸▹"  # minus and times signs


def new_frame():
    buffer = bytearray(WIDTH * HEIGHT // 8)
    return buffer, FrameBuffer(buffer, WIDTH, HEIGHT, 0)


def pixels(frame, x, y, w, h):
    """The part of a frame as rows of "#" and "."."""
    return ["".join(["#" if frame.pixel(x + i, y + j) else "." for i in range(w)]) for j in range(h)]


def glyph(text):
    _, frame = new_frame()
    data = in_letters(text)
    Pen(FrameBuffer).text(frame, data, 0, 0)
    return pixels(frame, 0, 0, width(data), HEIGHT_PX)


def test_a_letter_stands_upright_and_the_right_way_round():
    assert glyph("F") == ["####", "#...", "#...", "###.", "#...", "#...", "#...", "...."]
    assert glyph("p")[2:] == ["###.", "#..#", "#..#", "###.", "#...", "#..."]
    assert glyph("/") == ["..#", "..#", ".#.", ".#.", ".#.", "#..", "#..", "..."]


def test_ascii_is_its_own_encoding_and_one_byte_a_glyph():
    assert in_letters(ASCII) == ASCII.encode()
    assert len(in_letters(EXTRA)) == len(EXTRA)


def test_a_fraction_is_written_with_its_figures_apart_from_a_whole():
    for sign, figures in (("\u00bc", "1/4"), ("\u00be", "3/4"), ("\u2153", "1/3"), ("\u215e", "7/8")):
        assert in_letters(sign) == figures.encode()
        assert in_letters("2" + sign) == b"2 " + figures.encode()


def test_no_two_glyphs_look_alike():
    seen = {}
    for sign in ASCII + EXTRA:
        look = tuple(glyph(sign))
        assert look not in seen, (sign, seen[look])
        seen[look] = sign


def distance(a, b):
    """Fewest pixels in which two glyphs differ, one shifted sideways against the other."""
    wide = max(len(a[0]), len(b[0])) + 4
    still = "".join([".." + row + "." * (wide - 2 - len(row)) for row in a])
    best = len(still)
    for shift in range(5):
        moved = "".join(["." * shift + row + "." * (wide - shift - len(row)) for row in b])
        best = min(best, sum([p != q for p, q in zip(still, moved)]))
    return best


CONFUSABLE = (
    "0123456789",
    "1lIi",
    "0OQD",
    "2Z",
    "5S",
    "8B",
    "6G",
    "4A",
    "uvy",
    "ce",
    ".,:;",
    "-+",
    "xX\u00d7",
)


def test_signs_that_are_easily_confused_differ_in_at_least_three_pixels():
    for group in CONFUSABLE:
        for i in range(len(group)):
            for j in range(i):
                assert distance(glyph(group[i]), glyph(group[j])) >= 3, group[i] + group[j]


def test_capitals_and_figures_are_seven_rows_high_on_the_base_line():
    for sign in "ABCDEFGHIJKLMNOPRSTUVWXYZ0123456789":
        rows = glyph(sign)
        assert "#" in rows[0], sign
        assert "#" in rows[6], sign
        assert "#" not in rows[7], sign


def test_ascenders_rise_and_descenders_fall():
    for sign in "bdfhkl":
        assert "#" in glyph(sign)[0], sign
    for sign in "gjpqy":
        assert "#" in glyph(sign)[7], sign
    for sign in "acemnorsuvwxz":
        assert "#" not in "".join(glyph(sign)[:2] + glyph(sign)[7:]), sign


def test_figures_are_equally_wide_so_that_a_running_number_stands_still():
    for figure in "0123456789":
        assert width(in_letters(figure)) == 4


def test_twenty_five_signs_fit_across_the_frame():
    for line in ("EXPOSE gives 16.0 s of li", "Left sky, burn by +11/12 ", "Fit filter 2½, then press"):
        assert len(line) == 25
        assert width(in_letters(line)) <= WIDTH, line


def test_accents_fall_off_and_the_unknown_becomes_a_question_mark():
    assert in_letters("Éclair, Łódź, naïve, Ångström, ČŽ ßœ") == b"Eclair, Lodz, naive, Angstrom, CZ so"
    assert in_letters("黒\n\x7f÷") == b"????"
    assert in_letters("“a”\u2013\u2018b\u2019") == b"\"a\"-'b'"


def test_fractions_without_a_glyph_are_spelt_out():
    assert in_letters("⅓") == b"1/3"
    assert in_letters("2¾ +⅛") == b"2 3/4 +1/8"
    assert len(in_letters("2½")) == 2


def three_bytes(point):
    """One sign from U+0800 on; `chr` would make MicroPython keep every one of them for ever."""
    return bytes((0xE0 | point >> 12, 0x80 | point >> 6 & 0x3F, 0x80 | point & 0x3F)).decode()


def check_drawable(pen, frame, text):
    data = in_letters(text)
    assert data
    for code in data:
        assert 23 <= code <= 126, text
    pen.text(frame, data, 0, 0)


def test_every_sign_can_be_drawn():
    _, frame = new_frame()
    pen = Pen(FrameBuffer)
    for point in range(0x250):
        check_drawable(pen, frame, chr(point))
    for block in (range(0x800, 0xD800, 97), range(0x2000, 0x2600)):
        for point in block:
            check_drawable(pen, frame, three_bytes(point))
    check_drawable(pen, frame, "\U0001f4f7")
    assert in_letters("") == b""


def test_encoding_strange_signs_leaves_nothing_behind():
    """A flood of ever new signs must not fill the box: MicroPython never frees an interned string."""
    for point in range(0x800, 0x900):
        in_letters(three_bytes(point))
    if ON_MICROPYTHON:
        gc.collect()
        before = gc.mem_alloc()
    for point in range(0x3000, 0x3400):
        assert in_letters(three_bytes(point)) == b"?"
    if ON_MICROPYTHON:
        gc.collect()
        assert gc.mem_alloc() - before < 512


def test_width_agrees_with_what_is_drawn():
    for text in (ASCII[:20], ASCII[20:40], ASCII[40:60], ASCII[60:80], ASCII[80:], EXTRA, "i", ""):
        _, frame = new_frame()
        data = in_letters(text)
        following = Pen(FrameBuffer).text(frame, data, 3, 10)
        inked = [x for x in range(WIDTH) if "#" in "".join(pixels(frame, x, 0, 1, HEIGHT))]
        if text.strip():
            assert inked[-1] + 1 <= 3 + width(data)
            assert 3 + width(data) + 1 == following
        else:
            assert (inked, width(data), following) == ([], 0, 3)


def test_dark_text_on_a_lit_row_is_the_lit_text_turned_over():
    lit_buffer, lit = new_frame()
    dark_buffer, dark = new_frame()
    dark.fill(1)
    pen = Pen(FrameBuffer)
    for y in (-3, 9, 20):
        assert pen.text(lit, in_letters("▸Sky +1/3"), -2, y) == pen.text(
            dark, in_letters("▸Sky +1/3"), -2, y, 0
        )
    assert any(lit_buffer)
    assert bytes([byte ^ 0xFF for byte in dark_buffer]) == bytes(lit_buffer)


def test_an_enlarged_letter_has_squares_for_pixels():
    for text in (ASCII[1:11], ASCII[40:50], ASCII[80:90], EXTRA):
        data = in_letters(text)
        _, small = new_frame()
        Pen(FrameBuffer).text(small, data, 0, 0)
        for times in (2, 3):
            buffer, large = new_frame()
            enlarge(buffer, WIDTH, data, 4, 16, times)
            wide = min(width(data), (WIDTH - 4) // times)
            shown = 0  # glyphs that would pass the edge are left out whole
            while shown < len(data) and width(data[: shown + 1]) <= wide:
                shown += 1
            wide = width(data[:shown])
            for y in range(HEIGHT):
                for x in range(WIDTH):
                    column, row = (x - 4) // times, (y - 16) // times
                    inside = 0 <= column < wide and 0 <= row < HEIGHT_PX
                    assert large.pixel(x, y) == (small.pixel(column, row) if inside else 0), (
                        text,
                        times,
                        x,
                        y,
                    )


def test_an_enlarged_letter_on_a_lit_ground_is_dark():
    lit_buffer, _ = new_frame()
    dark_buffer, dark = new_frame()
    dark.fill(1)
    for buffer in (lit_buffer, dark_buffer):
        enlarge(buffer, WIDTH, in_letters("Held sky"), 2, 0)
    assert any(lit_buffer)
    assert bytes([byte ^ 0xFF for byte in dark_buffer]) == bytes(lit_buffer)


def test_clip_keeps_what_fits_and_says_that_something_is_missing():
    data = in_letters("The dark sky above the left chimney")
    for px in range(140):
        cut = clip(data, px)
        assert width(cut) <= px
        if cut and cut != data:
            assert cut[-1:] == in_letters("…")
            kept = cut[:-1]
            assert data[: len(kept)] == kept
            assert kept[-1:] != b" "
            # One more glyph would not have fitted.
            one_more = data[: len(kept) + 1] + cut[-1:]
            assert width(one_more) > px or one_more[-2:-1] == b" "
    assert clip(data, 4) == b""
    assert clip(data, width(data)) == data
    assert clip(b"", 0) == b""


def cut(frame, x, y, w, h):
    """A copy of a part of a frame, as the bytes of a frame of its own."""
    part = bytearray(w * h // 8)
    FrameBuffer(part, w, h, 0).blit(frame, -x, -y)
    return bytes(part)


def figure_shapes(figures):
    """What each of the ten figures looks like, drawn alone: its bytes and what it means."""
    cell = figures.width(0, tenths=False)
    shapes = {}
    for figure in range(10):
        _, frame = new_frame()
        assert figures.draw(frame, figure, cell, 0, tenths=False) == 0
        shapes[cut(frame, 0, 0, cell, figures.height)] = str(figure)
    assert len(shapes) == 10
    return shapes


def read_back(figures, shapes, number, tenths):
    """Draw, read the figures and the point one by one from the right, wiping each: nothing may be left."""
    cell = figures.width(0, tenths=False)
    gap = figures.width(10, tenths=False) - 2 * cell
    point = figures.width(0) - 2 * cell - 2 * gap
    buffer, frame = new_frame()
    left = figures.draw(frame, number, WIDTH, 20, tenths=tenths)
    assert WIDTH - left == figures.width(number, tenths)
    text = ""
    x = WIDTH
    while x > left:
        x -= cell
        text = shapes[cut(frame, x, 20, cell, figures.height)] + text
        frame.fill_rect(x, 20, cell, figures.height, 0)
        x -= gap
        if tenths and len(text) == 1 and number <= 9999:
            x -= point
            bottom = 20 + figures.height
            assert "".join(pixels(frame, x, bottom - point, point, point)).count("#") >= point * point - 4
            frame.fill_rect(x, bottom - point, point, point, 0)
            text = "." + text
            x -= gap
    assert x == left - gap
    assert not any(buffer)
    return text


def test_times_read_back_as_they_were_given():
    shapes = figure_shapes(LARGE)
    for number in (0, 5, 10, 99, 100, 127, 345, 678, 999, 1000, 1234, 9876, 9999):
        assert read_back(LARGE, shapes, number, True) == str(number // 10) + "." + str(number % 10)
        assert read_back(LARGE, shapes, number, False) == str(number)


def test_times_beyond_the_panel_stay_on_it():
    shapes = figure_shapes(LARGE)
    assert read_back(LARGE, shapes, 10000, True) == "1000"
    assert read_back(LARGE, shapes, 43219, True) == "4321"
    assert read_back(LARGE, shapes, 99999, True) == "9999"
    assert read_back(LARGE, shapes, 1000000, True) == "9999"
    assert read_back(LARGE, shapes, 10000, False) == "9999"
    assert read_back(LARGE, shapes, -1, True) == "0.0"
    assert read_back(LARGE, shapes, -1, False) == "0"
    for number in range(0, 100000, 111):
        assert LARGE.width(number) <= WIDTH


def closed_counters(figures, figure):
    """Dark areas that do not reach the edge, counted by wiping them out one after another."""
    cell = figures.width(0, tenths=False)
    w, h = cell + 2, figures.height + 2
    _, frame = new_frame()
    # Dark is drawn lit, with a rim around the figure that joins all that is outside it.
    frame.fill_rect(0, 0, w, h, 1)
    figures.draw(frame, figure, cell + 1, 1, 0, tenths=False)
    areas = 0
    for start in range(w * h):
        if frame.pixel(start % w, start // w):
            areas += 1
            todo = [start]
            while todo:
                at = todo.pop()
                if frame.pixel(at % w, at // w):
                    frame.pixel(at % w, at // w, 0)
                    todo += [at + 1, at - 1, at + w, at - w]
    return areas - 1


def test_figures_have_the_counters_of_the_figures_they_are():
    for figure in range(10):
        assert closed_counters(LARGE, figure) == {0: 1, 6: 1, 8: 2, 9: 1}.get(figure, 0), figure


def test_large_figures_are_tall_and_thick_enough_to_be_read_at_a_metre():
    """28 pixels or taller with strokes of 4 or thicker: each lit pixel is on or beside a lit 4 x 4 square."""
    assert LARGE.height >= 28
    cell = LARGE.width(0, tenths=False)
    for figure in range(10):
        lit_buffer, lit = new_frame()
        LARGE.draw(lit, figure, cell, 0, tenths=False)
        for y in (0, LARGE.height - 1):
            assert "#" in "".join(pixels(lit, 0, y, cell, 1)), figure
        near_buffer, near = new_frame()
        for y in range(LARGE.height - 3):
            for x in range(cell - 3):
                if pixels(lit, x, y, 4, 4) == ["####"] * 4:
                    near.fill_rect(x - 1, y - 1, 6, 6, 1)
        assert [a & ~b for a, b in zip(lit_buffer, near_buffer)] == [0] * len(lit_buffer), figure


def test_figures_drawn_dark_are_the_lit_ones_turned_over():
    lit_buffer, lit = new_frame()
    dark_buffer, dark = new_frame()
    dark.fill(1)
    for figures, y in ((LARGE, 0), (LARGE, 32)):
        figures.draw(lit, 1234, WIDTH, y)
        figures.draw(dark, 1234, WIDTH, y, 0)
    assert bytes([byte ^ 0xFF for byte in dark_buffer]) == bytes(lit_buffer)


def test_drawing_takes_no_memory():
    """On MicroPython the heap is locked meanwhile: whatever asks for memory raises MemoryError."""
    buffer, frame = new_frame()
    pen = Pen(FrameBuffer)
    data = in_letters("▸Sky +1/3 · 12.7 s")
    if ON_MICROPYTHON:
        micropython.heap_lock()
    try:
        frame.fill(0)
        right = pen.text(frame, data, 1, 0)
        frame.fill_rect(0, 9, WIDTH, 10, 1)
        pen.text(frame, data, WIDTH - width(data), 10, 0)
        left = LARGE.draw(frame, 1234, WIDTH, 20)
        enlarge(buffer, WIDTH, data, 0, 48)
        enlarge(buffer, WIDTH, data, 0, 40, 3)
        room = LARGE.width(1234)
        LARGE.draw(frame, 99999, WIDTH, 24, ink=1, tenths=True)
    finally:
        if ON_MICROPYTHON:
            micropython.heap_unlock()
    assert (right, left, room) == (1 + width(data) + 1, WIDTH - LARGE.width(1234), LARGE.width(1234))
    assert any(buffer)
