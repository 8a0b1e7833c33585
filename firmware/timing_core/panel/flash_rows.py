"""What a turn does to the flash of a print, on the Print screen.

What must live here: which flash is proposed, and how each of its rows turns. Print loads it when such a
row is opened, and keeps it until the value is taken.
"""

from timing_core.light.plan import least_ms
from timing_core.light.printing_map import Flash
from timing_core.light.stops import BASE_MAX_MS, STOP, plain_step, scale
from timing_core.panel.rows import Row, following_filter, within


def turn_flash(panel, row: Row, steps: int) -> None:
    """Turn a row of the flash; with 0 steps put on a flash that was off, or off one that was on."""
    work = panel.work
    map, bench = work.map, work.bench
    if row.key == "flash" and not steps:
        map.flash = None if map.flash else _proposed(map, bench)
        return
    # Turning sets the amount: of a flash that was on, from where it was.
    flash = map.flash or panel.opened_map.flash or _proposed(map, bench)
    if row.key == "flash" and bench.step_stops120:
        map.flash = flash.moved(bench.step_stops120 * steps)
    elif row.key == "flash":
        map.flash = Flash(plain_step(flash.light_ms(), steps), flash.filter, flash.after).moved(0)
    elif row.key == "flash-when":
        flash.after = steps > 0
    else:
        flash.filter = following_filter(bench, flash.filter, steps)


def _proposed(map, bench) -> Flash:
    """5 stops under the first base, through its filter. The lightest tone of a print gets some 4 1/2 stops
    less than the open light (of a negative that fits a paper of ISO range R 105, on a film whose base has a
    density of 0.3), and a flash is to stay below the first tone."""
    ms = within(scale(map.base_ms(0), -5 * STOP), least_ms(bench), BASE_MAX_MS)
    return Flash(ms, map.passes[0].filter)
