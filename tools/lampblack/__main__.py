"""The `lampblack` script, and `python -m lampblack`.

What must live here: nothing but the way in. Loading the commands takes a second or more, and Ctrl-C in it is
as quiet as it is later.
"""

import sys


def main() -> None:
    try:
        from lampblack.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
