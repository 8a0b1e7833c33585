"""The commands `lampblack lab`: what a laboratory works out, printed.

What must live here: the words of these commands and what they print. Commands that are long have a file of
their own.
"""

import typer

from lampblack.lab.carry_command import carry

app = typer.Typer(
    help="Work out papers, grades and tests of a darkroom; no box is needed.", rich_markup_mode=None
)


@app.callback()
def _lab() -> None:
    pass


app.command()(carry)
