"""The state of a box in plain data, as the wire tells it.

What must live here: which of what a box knows is told. It may change nothing.
"""

from timing_core.light.plan import stage_name


def summary_of(box) -> dict:
    """What the box is, what is under way, what each control will do."""
    run, running = box.run, box.in_run
    name = stage_name(run.stage) if run.stages else run.name
    told = {
        "state": box.machine.state,
        "screen": box.panel.screen.key,
        "card": box.work.map.name,
        "lit": box.lit,
        "safelight": box.lamp.safelight,
        "run": run.kind if running else "",
        "stage": run.at + 1 if running else 0,
        "stages": len(run.stages) if running else 0,
        "name": name if running else "",
        "left_ms": box.exposing.left_ms() if running else 0,
        "expose": box.machine.says("expose"),
        "message": box.io.message,
        "kept": name if run.is_kept and not running else "",
    }
    for line in box.watch.faults()[:1]:
        told["fault"] = line
    return told
