"""`python -m lampblack`: the command where its script is not on the path."""

from lampblack.cli import main

main()
