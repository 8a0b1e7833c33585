"""The router joins what it is told to join, keeps all else apart, and gives way where it must."""

from itertools import combinations
from math import hypot
from random import Random

import pytest

from hardware.route import BACK, FRONT, VIA_MM, Kind, Land, RouteError, Router

USUAL, WIDE, APART = Kind(0.3, 0.2), Kind(0.8, 0.2), Kind(0.3, 0.5)
KINDS = {"N0": WIDE, "N1": APART}
SIZE_MM = (30.0, 30.0)

FAR_MM = 3.0
"""What is further apart is not looked at."""

Piece = tuple[str, tuple[int, ...], tuple[float, float], tuple[float, float], float]
"""Net, sides, ends and width of a piece of copper."""


def crowded(seed: int, nets: int = 22) -> list[Land]:
    """Two pads a net, anywhere on a coarse grid."""
    places = [(2.54 * x, 2.54 * y) for x in range(1, 11) for y in range(1, 11)]
    Random(seed).shuffle(places)
    return [Land(*places[n], 1.6, 1.6, n % 2 == 0, f"N{n // 2}") for n in range(2 * nets)]


def laid(lands: list[Land], **more) -> tuple[Router, int]:
    router = Router(SIZE_MM, lands, USUAL, KINDS, "N2", more.get("whole", []))
    return router, router.run()


def pieces(router: Router, lands: list[Land]) -> list[Piece]:
    tracks, vias = router.copper()
    both = (FRONT, BACK)
    copper: list[Piece] = [(t.net, (t.side,), t.start_mm, t.end_mm, t.width_mm) for t in tracks]
    copper += [(v.net, both, v.at_mm, v.at_mm, VIA_MM) for v in vias]
    # Round pads: what a square one has more of is at its corners, and the router keeps from them too.
    return copper + [(p.net, both, (p.x_mm, p.y_mm), (p.x_mm, p.y_mm), p.width_mm) for p in lands]


def points(piece: Piece) -> list[tuple[float, float]]:
    (x0, y0), (x1, y1) = piece[2], piece[3]
    steps = max(1, int(hypot(x1 - x0, y1 - y0) / 0.1))
    return [(x0 + (x1 - x0) * n / steps, y0 + (y1 - y0) * n / steps) for n in range(steps + 1)]


def gap_mm(one: Piece, other: Piece) -> float:
    """Between two pieces of one side; from points 0.1 mm apart, so up to 0.01 mm too large."""
    for axis in (2, 3):
        lows, highs = zip(*(sorted((p[2][axis - 2], p[3][axis - 2])) for p in (one, other)))
        if max(lows) - min(highs) > FAR_MM:
            return FAR_MM
    near = min(hypot(a - c, b - d) for a, b in points(one) for c, d in points(other))
    return near - (one[4] + other[4]) / 2


@pytest.mark.parametrize("seed", range(4))
def test_each_net_is_one_piece_and_no_two_are_too_near(seed):
    lands = crowded(seed)
    router, _ = laid(lands)
    copper = pieces(router, lands)
    root = {id(piece): id(piece) for piece in copper}
    for one, other in combinations(copper, 2):
        if not set(one[1]) & set(other[1]):
            continue
        if one[0] != other[0]:
            wanted = max(KINDS.get(piece[0], USUAL).gap_mm for piece in (one, other))
            assert gap_mm(one, other) > wanted - 0.001, (one, other)
        elif gap_mm(one, other) < 0:
            kept, gone = root[id(one)], root[id(other)]
            root = {key: kept if value == gone else value for key, value in root.items()}
    for net in {land.net for land in lands}:
        assert len({root[id(piece)] for piece in copper if piece[0] == net}) == 1, net


def test_what_lies_in_the_way_is_taken_up_and_laid_again():
    assert any(laid(crowded(seed))[1] > 0 for seed in range(4))


def test_the_same_pads_give_the_same_copper():
    lands = crowded(0)
    assert laid(lands)[0].copper() == laid(lands)[0].copper()


def test_no_via_is_made_where_none_may_be():
    lands = crowded(1)
    left, top, right, bottom = box = (0.0, 0.0, 30.0, 15.0)
    _, vias = laid(lands, whole=[box])[0].copper()
    assert vias
    assert not [v for v in vias if left <= v.at_mm[0] <= right and top <= v.at_mm[1] <= bottom]


def test_a_net_without_a_way_is_named():
    wall = [Land(15.0, 0.635 * n, 1.6, 1.6, True, "") for n in range(48)]
    ends = [Land(5.08, 15.24, 1.6, 1.6, False, "N5"), Land(25.4, 15.24, 1.6, 1.6, False, "N5")]
    with pytest.raises(RouteError, match="No way for N5"):
        laid(ends + wall)
