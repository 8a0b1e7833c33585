"""The report as a page to print: one HTML file, black on white, that needs nothing else.

What must live here: the page. Everything in it comes from outside and is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from lampblack.accept.changes import Change, changes
from lampblack.accept.limits import STEPS
from lampblack.accept.report import Measured, Report
from lampblack.text.printable import printable

_STYLE = """
body { font: 10pt/1.35 sans-serif; color: #000; background: #fff; max-width: 19cm; margin: 1cm auto }
h1 { font-size: 16pt } h2 { font-size: 12pt; margin: 1.2em 0 .3em; break-after: avoid }
table { border-collapse: collapse; width: 100%; break-inside: auto }
th, td { border-bottom: 1px solid #000; padding: .15em .4em; text-align: left; vertical-align: top }
tr { break-inside: avoid }
td:last-child { white-space: nowrap }
td.fail { font-weight: bold } p.verdict { border: 2px solid #000; padding: .5em }
"""


def page(report: Report, verdict: list[str], earlier: Report | None) -> str:
    parts = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        f"<title>Acceptance test of {_text(report.box or 'a box')}</title>",
        f"<style>{_STYLE}</style></head><body>",
        f"<h1>{'Yearly test' if report.yearly else 'Acceptance test'} of a Lampblack box</h1>",
        _table(_about(report)),
        f'<p class="verdict">{"<br>".join(map(_text, verdict))}</p>',
    ]
    for number in report.wanted:
        parts.append(f"<h2>{number}. {_text(STEPS[number])}: {_text(_result(report, number))}</h2>")
        rows = list(map(_row, report.of(number)))
        if rows:
            parts.append(_table(rows, ("figure", "value", "wanted", "", "when")))
    if earlier is not None:
        parts.append(f"<h2>Since {_text(earlier.begun[:10])} ({_text(earlier.path.name)})</h2>")
        parts.append(_table(map(_changed, changes(report, earlier)), ("figure", "then", "now", "change", "")))
    return "\n".join([*parts, "</body></html>", ""])


def _about(report: Report) -> list[tuple[str, ...]]:
    fitted = ", ".join(f"{key.replace('_', ' ')}: {_said(value)}" for key, value in report.fitted.items())
    return [
        ("box", report.box),
        (
            "board",
            f"{report.board}, MicroPython {report.micropython}" if report.micropython else report.board,
        ),
        ("firmware", report.version),
        ("fitted", fitted),
        ("begun", _when(report.begun)),
        ("by", report.by),
    ]


def _when(at: str) -> str:
    return at[:16].replace("T", " ")


def _said(value: object) -> str:
    return ("yes" if value else "no") if isinstance(value, bool) else str(value)


def _result(report: Report, number: int) -> str:
    step = report.steps.get(number)
    if step is None:
        return "not finished" if report.of(number) else "not done"
    return f"{step.result}, {_when(step.at)}" + (f" ({step.reason})" if step.reason else "")


def _row(own: Measured) -> tuple[str, ...]:
    return own.what, own.told(), own.limits, "ok" if own.passed else "FAIL", _when(own.at)


def _changed(change: Change) -> tuple[str, ...]:
    mark = "NEW FAIL" if change.is_new_fail else "" if change.now.passed else "FAIL"
    return change.now.what, change.then.told(), change.now.told(), change.drift or "the same", mark


def _table(rows: Iterable[tuple[str, ...]], heads: tuple[str, ...] = ()) -> str:
    lines = ["<table>"]
    if heads:
        lines.append("<tr>" + "".join(f"<th>{_text(head)}</th>" for head in heads) + "</tr>")
    for row in rows:
        cells = [f"<td{' class=fail' if 'FAIL' in cell else ''}>{_text(cell)}</td>" for cell in row]
        lines.append(f"<tr>{''.join(cells)}</tr>")
    return "\n".join([*lines, "</table>"])


def _text(text: object) -> str:
    return escape(printable(text))
