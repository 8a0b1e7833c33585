"""`python -m tests.attack [NAME ...]`: attack, or play one round again."""

import argparse
import sys
import time
from collections import Counter

from tests.attack.attackers import ATTACKERS
from tests.attack.campaign import Violation, attack, round_of


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.attack", description="Attack, by seed.")
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=f"of {', '.join(ATTACKERS)}; all if left out"
    )
    parser.add_argument("--seed", type=int, default=1, help="(%(default)s)")
    parser.add_argument(
        "--rounds",
        type=int,
        default=200,
        help="of each; where all play, of the slow ones fewer (%(default)s)",
    )
    parser.add_argument("--round", type=int, help="this one alone")
    given = parser.parse_args(arguments)
    if wrong := [name for name in given.names if name not in ATTACKERS]:
        parser.error(f"There is no attacker {wrong[0]}. Take {', '.join(ATTACKERS)}.")
    for name in given.names or ATTACKERS:
        attacker = ATTACKERS[name]
        began = time.monotonic()
        try:
            if given.round is None:
                rounds = given.rounds if given.names else max(1, given.rounds // attacker.costs)
                count = attack(attacker, given.seed, rounds)
            else:
                count = Counter()
                round_of(attacker, given.seed, given.round, count)
        except Violation as fault:
            print(f"{name}: {fault}", file=sys.stderr)
            return 1
        told = ", ".join(f"{what} {number:,}" for what, number in count.items())
        print(f"{name}: {told}; {time.monotonic() - began:.0f} s", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
