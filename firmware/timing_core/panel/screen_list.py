"""The list of screens: undo, the run that is kept, and the way to every other screen."""

from timing_core.light.plan import stage_name
from timing_core.light.stops import seconds_text
from timing_core.panel.rows import ACTS, ENDS, GOES_ON, KEEPS, NAMES, Row, Screen, named


class ScreenList(Screen):
    key = "screens"
    heading = "Screens"

    def rows(self, panel) -> list:
        found = [Row("undo", "Undo", NAMES | KEEPS | (ACTS if len(panel.undo) else 0), "undo")]
        found.append(Row("redo", "Redo", NAMES | KEEPS | (ACTS if panel.undo.ahead else 0), "redo"))
        if panel.watch.to_confirm():
            found.append(Row("confirm", "Confirm", ACTS | KEEPS | NAMES, "confirm"))
        if panel.run.can_go_on:
            found.append(Row("go on", "Go on", GOES_ON | NAMES))
        if panel.run.is_kept:
            found.append(Row("end", "End this run", ENDS))
        for screen in panel.screens[1:]:
            if not screen.over:
                found.append(named("screen", screen.key, screen.heading, ACTS | KEEPS, "open it"))
        return found

    def value(self, panel, row: Row) -> str:
        if row.key == "undo":
            change = panel.undo.newest
            return change.says if change else "nothing"
        if row.key == "redo":
            return panel.undo.ahead.says if panel.undo.ahead else "nothing"
        if row.key == "confirm":
            return panel.watch.to_confirm()
        if row.key == "go on":
            run = panel.run
            if run.is_fit:
                return stage_name(run.stage)
            left_ms = run.shown_ms(run.stage.light_ms - run.given_ms)
            return "%s  %s" % (stage_name(run.stage), seconds_text(left_ms))
        return ""

    def act(self, panel, row: Row) -> None:
        if row.key == "confirm":
            panel.watch.confirm()
            panel.io.say("Confirmed.")
        elif row.key == "undo":
            panel.take_back()
        elif row.key == "redo":
            panel.make_again()
        else:
            panel.open_screen(row.name)
