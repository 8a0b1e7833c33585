"""First of all: all that switches is let go. Works if everything else on the board is broken."""

from micropython import kbd_intr

# A stray Ctrl-C from a terminal must not stop the box here. MicroPython allows it again for `main.py`.
kbd_intr(-1)

from machine import Pin  # noqa: E402

# Lamp, safelight and second contact; tests hold these numbers to hardware/pins.toml.
for gpio in (2, 5, 22):
    Pin(gpio, Pin.OUT, value=0)
