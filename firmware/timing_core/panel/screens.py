"""The panel's screens in the order of their list, and those that are made only when they are opened.

What must live here: which screens there are. All of them would take memory on a board all evening long, so
but for Print each is loaded when it is opened, which takes some ms in the dark, and let go of when it is
left.
"""

from timing_core.panel.print_screen import PrintScreen
from timing_core.panel.screen_list import ScreenList
from timing_core.refusal import Refusal


class Later:
    """A screen that `make` makes when it is opened: what the list of screens has to know of it, and `module`,
    the file that it comes from. The screen itself is a `panel.rows.Screen`."""

    def __init__(self, key: str, heading: str, over: str, make, module: str = "") -> None:
        self.key = key
        self.heading = heading
        self.over = over
        self.module = module or key + "_screen"
        self._make = make

    def opened(self):
        try:
            return self._make()
        except (ImportError, OSError, ValueError, MemoryError):
            what = "%s is not opened" % self.heading
            raise Refusal(
                what, "it cannot be loaded", "Reset the box, or install the firmware again"
            ) from None


def _bench():
    from timing_core.panel.bench_screen import BenchScreen

    return BenchScreen()


def _carry():
    from timing_core.panel.carry_screen import CarryScreen

    return CarryScreen()


def _ledger():
    from timing_core.panel.ledger_screen import LedgerScreen

    return LedgerScreen()


def _light_cell():
    from timing_core.panel.light_cell_screen import LightCellScreen

    return LightCellScreen()


def _listen():
    from timing_core.panel.listen_screen import ListenScreen

    return ListenScreen()


def _shelf():
    from timing_core.panel.shelf_screen import ShelfScreen

    return ShelfScreen()


def _strip():
    from timing_core.panel.strip_screen import StripScreen

    return StripScreen()


def _test():
    from timing_core.panel.tests_screen import GuidedScreen

    return GuidedScreen()


def _tests():
    from timing_core.panel.tests_screen import GuidedList

    return GuidedList()


def _trays():
    from timing_core.panel.trays_screen import TraysScreen

    return TraysScreen()


def screens() -> tuple:
    """The list of screens first."""
    return (
        ScreenList(),
        PrintScreen(),
        Later("strip", "Strip", "", _strip),
        Later("tests", "Tests", "", _tests),
        Later("trays", "Trays", "", _trays),
        Later("light_cell", "Light cell", "", _light_cell),
        Later("shelf", "Shelf", "", _shelf),
        Later("bench", "Bench", "", _bench),
        Later("ledger", "Ledger", "", _ledger),
        Later("carry", "Carry over", "print", _carry),
        Later("listen", "Listen", "bench", _listen),
        Later("test", "Test", "tests", _test, "tests_screen"),
    )
