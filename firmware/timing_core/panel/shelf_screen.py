"""The Shelf screen: the cards that are kept in the box."""

from timing_core.light.plan import drawer_lacks
from timing_core.panel.rows import ACTS, NAMES, TURNS, Row, Screen, named
from timing_core.refusal import Refusal


class ShelfScreen(Screen):
    key = "shelf"
    heading = "Shelf"

    def rows(self, panel) -> list:
        names = panel.shelf.names()
        if not names:
            return [Row("none", "No cards yet: push one")]
        found = [named("card", name, name, ACTS, "load it") for name in names]
        found.append(Row("remove", "Remove a card", TURNS | NAMES))
        return found

    def said(self, panel, row: Row) -> str:
        return "Load " + row.name if row.key == "card" else super().said(panel, row)

    def value(self, panel, row: Row) -> str:
        if row.key == "remove" and panel.has_open(row):
            return (["nothing"] + panel.shelf.names())[panel.cursor.pick]
        return ""

    def turn(self, panel, row: Row, steps: int) -> None:
        panel.turn_pick(len(panel.shelf.names()) + 1, steps)

    def take(self, panel, row: Row) -> None:
        if panel.cursor.pick:
            name = panel.shelf.names()[panel.cursor.pick - 1]
            panel.kept.drop_card(name)
            panel.cursor_on(row)
            panel.io.say("%s is off the shelf. Undo brings it back." % name)

    def act(self, panel, row: Row) -> None:
        card = panel.shelf.get(row.name)
        if card is None:
            raise Refusal("Not loaded", "the card is no longer on the shelf", "Push it again")
        former = panel.work.map.name
        if card.text() == panel.work.map.text():
            panel.show("print")
            panel.io.say("Nothing to load: this is %s already." % former)
            return
        panel.work.take(card)
        panel.show("print")
        panel.io.say(drawer_lacks(card, panel.work.bench) or "Loaded. Undo brings %s back." % former)
