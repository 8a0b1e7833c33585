"""The display's driver on every controller that it knows: what is drawn is what the panel shows.

The driver runs as it is, on a bus that only hands bytes on. What the Pico's own bus does, and how long it
takes, is for the tests on the emulated one.
"""

from __future__ import annotations

import types
from random import Random

import pytest

from host_sim.box import raster
from tests import micropython
from tests.display_chips import CHIPS, DARK, Chip, Sh1106, Ssd1306
from tests.stand_ins import Clock, board_module, clockwork
from timing_core.records.fitted import COLUMN_OFFSET_MAX, DISPLAYS

KINDS = list(CHIPS)
STEPS_MAX = 40
"""Start-up, contrast, 32 pieces, on, and what tells that there is no more."""
BYTES_MAX = 33
"""Of a transfer: a piece of 32 columns, 1 ms on the bus, and the byte that says so."""


class Bus:
    """An I2C bus with one display. `sent` are its transfers."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.attached = True
        self.sent: list[bytes] = []

    def writeto(self, address: int, data: bytes) -> None:
        if not self.attached or address != self.chip.ADDRESS:
            raise OSError(5)
        self.sent.append(bytes(data))
        self.chip.begin()
        for value in data:
            self.chip.take(value)


class Light:
    """The PWM of the backlight's pin. `duty` is of 65,535."""

    def __init__(self) -> None:
        self.duty = 0

    def duty_u16(self, duty: int) -> None:
        self.duty = duty


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def driver(clock) -> types.ModuleType:
    """The module, on stand-ins for MicroPython's."""
    return board_module(
        "display",
        {
            "framebuf": {"FrameBuffer": raster.FrameBuffer, "MONO_VLSB": raster.MONO_VLSB},
            "machine": {"I2C": Bus, "PWM": Light},
        }
        | clockwork(clock),
    )


class Fitted:
    """A display of `kind` with its driver, and a frame to draw on."""

    def __init__(self, driver: types.ModuleType, kind: str, chip: Chip | None = None) -> None:
        self.chip = chip or CHIPS[kind]()
        self.bus = Bus(self.chip)
        self.light = Light() if kind == "st7567" else None
        self.frame = bytearray(1024)
        offset = type(self.chip).FIRST
        self.display = driver.Display(self.bus, self.frame, kind, offset, self.light)

    def draw(self, seed: int) -> bytes:
        """Any picture; returns it."""
        self.frame[:] = Random(seed).randbytes(1024)
        return bytes(self.frame)

    def send_all(self) -> int:
        """Step until there is no more to send; returns how often."""
        for steps in range(STEPS_MAX):
            if not self.display.step():
                return steps
        raise AssertionError("it never ends")


@pytest.fixture(params=KINDS)
def fitted(request, driver) -> Fitted:
    return Fitted(driver, request.param)


def test_the_panel_shows_the_frame_pixel_for_pixel(fitted):
    drawn = fitted.draw(1)
    fitted.send_all()
    assert fitted.chip.lacks() == []
    assert fitted.chip.shown() == drawn
    for at in (0, 31, 32, 127, 128, 500, 1023):
        fitted.frame[at] ^= 0x81
        assert fitted.send_all() == 1, "only the piece that changed"
        assert fitted.chip.shown() == fitted.frame
    drawn = fitted.draw(2)
    assert fitted.send_all() == 32
    assert fitted.chip.shown() == drawn


def test_nothing_is_seen_before_the_picture_is_whole(fitted):
    drawn = fitted.draw(1)
    seen = [fitted.chip.shown()]
    while fitted.display.step():
        seen.append(fitted.chip.shown())
    assert set(seen[:-1]) == {DARK}
    assert seen[-1] == drawn
    assert fitted.chip.times_on == 1


def test_no_transfer_is_longer_than_a_piece(fitted):
    fitted.draw(1)
    fitted.send_all()
    assert max(map(len, fitted.bus.sent)) == BYTES_MAX
    # A step: one transfer, or a place and its piece.
    assert len(fitted.bus.sent) == 3 + 2 * 32


def test_a_display_that_was_pulled_out_is_started_again(fitted, clock):
    fitted.draw(1)
    fitted.send_all()
    fitted.bus.attached = False
    drawn = fitted.draw(2)
    assert not fitted.display.step()
    fitted.chip.power_up()
    fitted.bus.attached = True
    clock.ms += 499
    assert fitted.send_all() == 0, "it is not tried all the time"
    clock.ms += 1
    fitted.send_all()
    assert fitted.chip.shown() == drawn
    assert not fitted.chip.lacks()


def test_one_that_was_away_while_nothing_changed_is_found_dark(fitted, clock):
    drawn = fitted.draw(1)
    fitted.send_all()
    fitted.bus.attached = False
    for _ in range(4):
        clock.ms += 250
        fitted.send_all()
    fitted.chip.power_up()
    fitted.bus.attached = True
    assert fitted.chip.shown() == DARK
    for _ in range(4):
        clock.ms += 250
        fitted.send_all()
    assert fitted.chip.shown() == drawn


def test_one_that_shows_all_it_should_is_seldom_asked(fitted, clock):
    fitted.draw(1)
    fitted.send_all()
    del fitted.bus.sent[:]
    for _ in range(1000):
        clock.ms += 20
        fitted.send_all()
    assert len(fitted.bus.sent) == pytest.approx(20_000 / 500, abs=2)
    assert {len(data) for data in fitted.bus.sent} == {3}


def test_one_that_fails_half_way_is_started_from_the_beginning(fitted, clock):
    drawn = fitted.draw(1)
    for _ in range(20):
        assert fitted.display.step()
    fitted.bus.attached = False
    assert not fitted.display.step()
    fitted.bus.attached = True
    clock.ms += 500
    fitted.send_all()
    assert fitted.chip.shown() == drawn


def test_every_level_of_brightness_is_more_than_the_one_before(fitted):
    fitted.draw(1)
    fitted.send_all()
    given = []
    for level in (1, 2, 3, 4, 5):
        fitted.display.level(level)
        fitted.send_all()
        given.append(fitted.light.duty if fitted.light else fitted.chip.contrast)
    # The lowest can still be read; nothing is brighter than all there is.
    most = 65535 if fitted.light else 255
    assert given == [most * share // 255 for share in (1, 8, 32, 96, 255)]
    assert not fitted.chip.lacks(), "an LCD keeps its contrast"
    assert not fitted.chip.inverted


def test_a_level_is_kept_while_the_display_is_away(fitted, clock):
    fitted.display.level(5)
    fitted.send_all()
    fitted.bus.attached = False
    assert not fitted.display.answers()
    fitted.display.level(1)
    fitted.chip.power_up()
    fitted.bus.attached = True
    clock.ms += 500
    fitted.send_all()
    assert fitted.light.duty == 257 if fitted.light else fitted.chip.contrast == 1
    assert fitted.display.answers()


def test_an_oled_leaves_the_backlight_alone(driver):
    oled = Fitted(driver, "ssd1306")
    oled.display.level(5)
    oled.send_all()
    assert oled.light is None


@pytest.mark.parametrize("offset", [0, 2, 4])
def test_the_panel_may_begin_at_any_column(driver, offset):
    class Odd(Sh1106):
        FIRST = offset

    odd = Fitted(driver, "sh1106", Odd())
    drawn = odd.draw(1)
    odd.send_all()
    assert odd.chip.shown() == drawn


def test_a_kind_that_is_not_known_is_refused(driver):
    with pytest.raises(ValueError, match="not in tuple"):
        driver.Display(Bus(Ssd1306()), bytearray(1024), "sh1107")


@pytest.mark.parametrize("kind", KINDS)
def test_no_memory_is_asked_for(compiled, kind):
    done = micropython.run(["-m", "tests.portable.display_lock", kind], compiled)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) > 4 * 32


# --- the chips themselves


WINDOWED = b"\x00\x21\x20\x3f\x22\x03\x03"
"""Columns 32 to 63 of page 3, as SSD1306 and SSD1309 can be told too."""


@pytest.mark.parametrize(
    ("kind", "taken"), [("ssd1306", True), ("ssd1309", True), ("sh1106", False), ("st7567", False)]
)
def test_windows_are_for_some_only(driver, kind, taken):
    chip = CHIPS[kind](strict=False)
    fitted = Fitted(driver, kind, chip)
    drawn = bytearray(fitted.draw(1))
    fitted.send_all()
    piece = bytes(range(32))
    for data in (b"\x00\x20\x00", WINDOWED, b"\x40" + piece):
        fitted.bus.writeto(chip.ADDRESS, data)
    drawn[3 * 128 + 32 : 3 * 128 + 64] = piece
    assert (chip.shown() == drawn) is taken


def test_a_command_that_a_chip_does_not_know_is_told():
    chip = CHIPS["sh1106"]()
    chip.begin()
    chip.take(0x00)
    with pytest.raises(ValueError, match="SH1106: unknown command 0x20"):
        chip.take(0x20)


def test_each_shows_its_picture_upright_only(fitted):
    drawn = fitted.draw(3)
    fitted.send_all()
    bits = [byte >> bit & 1 for byte in drawn for bit in range(8)]
    lines = 0xC0 if fitted.chip.lines else 0xC8
    fitted.bus.writeto(fitted.chip.ADDRESS, bytes([0, lines]))
    turned = fitted.chip.shown()
    flipped = bytes(
        sum(bits[((63 - row) >> 3) * 1024 + column * 8 + ((63 - row) & 7)] << (row & 7) for row in rows)
        for rows in (range(8 * page, 8 * page + 8) for page in range(8))
        for column in range(128)
    )
    assert turned == flipped != drawn


def test_every_display_that_can_be_set_is_driven_at_every_column_that_can_be_set(driver):
    """What the record of what is fitted takes, the driver takes: it would not start otherwise."""
    assert driver.KINDS == DISPLAYS
    assert set(CHIPS) == set(DISPLAYS)
    assert max(chip.FIRST for chip in CHIPS.values()) <= COLUMN_OFFSET_MAX
