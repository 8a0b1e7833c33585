"""The Bench screen: the settings of one darkroom."""

from timing_core.light.bench import setting_keys
from timing_core.panel.rows import ACTS, KEEPS, Row, Screen, setting_row


class BenchScreen(Screen):
    key = "bench"
    heading = "Bench"

    def rows(self, panel) -> list:
        listen = Row("listen", "Listen", ACTS | KEEPS, "open it")
        return [listen] + [setting_row(key) for key in setting_keys()]

    def home(self, panel) -> int:
        return 1

    def act(self, panel, row: Row) -> None:
        panel.open_screen("listen")
