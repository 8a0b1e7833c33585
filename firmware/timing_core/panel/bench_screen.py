"""The Bench screen: the settings of one darkroom."""

from timing_core.light.bench import SETTINGS
from timing_core.panel.rows import Screen, setting_row


class BenchScreen(Screen):
    key = "bench"
    heading = "Bench"

    def rows(self, panel) -> list:
        return [setting_row(row[0]) for row in SETTINGS]
