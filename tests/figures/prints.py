"""The prints that the figures are taken of. Runs on CPython and MicroPython alike."""

from timing_core.light.printing_map import Mark, Pass, PrintingMap

FILTERS = ("00", "5", "2", "3")


def _print(name, passes):
    """A print with dry-down; `passes` are (base in ms, dodges, burns), marks in 1/120 stop."""
    made = PrintingMap()
    made.name = made.title = name
    made.dry_down = True
    made.dry_down_pm = 80
    for filter, (base_ms, dodges, burns) in zip(FILTERS, passes):
        own = Pass(filter, base_ms)
        for stops120 in dodges + burns:
            own.marks.append(Mark("area %d.%d" % (len(made.passes) + 1, len(own.marks) + 1), stops120))
        made.passes.append(own)
    return made


def thirty_stages():
    """4 filters, 4 bases with 2 dodge windows each, 22 burns of 2.7 to 30 s."""
    return _print(
        "thirty-stages",
        (
            (24000, [-30, -20], [20, 40, 60, 80, 120, 30]),
            (18000, [-30, -40], [40, 60, 120, 80, 30, 90]),
            (30000, [-20, -40], [20, 60, 80, 120, 40]),
            (20000, [-40, -15], [50, 70, 30, 120, 100]),
        ),
    )


def forty_stages():
    """4 filters, 4 bases, 32 burns."""
    return _print(
        "forty-stages", [(base_ms, [], [15 * n for n in range(1, 9)]) for base_ms in range(9000, 13000, 1000)]
    )


def sixty_four_marks():
    """4 passes of 16 marks: 6 dodges and 10 burns, every third burn through the next pass's filter."""
    dodges = [-7, -10, -13, -15, -20, -11]
    burns = [5, 10, 17, 24, 30, 41, 53, 60, 83, 120]
    bases_ms = (61237, 73019, 58991, 67453)
    made = _print("sixty-four-marks", [(base_ms, dodges, burns) for base_ms in bases_ms])
    for index in range(len(made.passes)):
        for mark in made.passes[index].marks[len(dodges) :: 3]:
            mark.filter = FILTERS[(index + 1) % len(FILTERS)]
    return made
