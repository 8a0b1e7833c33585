"""Finds the copper between pads: a track for every net, on two sides and a grid of 0.635 mm.

What must live here: the search and its rules. It knows nothing of KiCad, parts or files, draws no lots and
looks at no clock, so that the same pads always give the same tracks. A net in another's way does not end the
search: what lies in the way is taken up, and laid again around it.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field
from itertools import pairwise
from math import ceil, hypot

GRID_MM = 0.635
"""A quarter of 2.54 mm: a track fits between two pins of a socket."""

VIA_MM, VIA_DRILL_MM = 0.8, 0.4
EDGE_MM = 0.5
"""From copper to the edge of the board."""

VIA_COST = 8.0
WRONG_WAY = 0.6
"""The front runs along the board, the back across it: what a step in the other direction costs more."""
IN_THE_WAY = 6.0
"""What it costs to take a track up, and more each time at the same place."""
AGAIN = 0.3
TRIES = 4000

FRONT, BACK = 0, 1


class RouteError(Exception):
    """Some net found no way: one line."""


@dataclass(frozen=True)
class Kind:
    """How wide a net's tracks are, and how far anything else stays away."""

    width_mm: float
    gap_mm: float


@dataclass(frozen=True)
class Land:
    """A pad through the board, or a bare hole (`net` empty)."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    is_square: bool
    net: str

    def distance_mm(self, x_mm: float, y_mm: float) -> float:
        """From its edge; negative inside."""
        round_mm = 0.0 if self.is_square else min(self.width_mm, self.height_mm) / 2
        across = max(abs(x_mm - self.x_mm) - (self.width_mm / 2 - round_mm), 0.0)
        down = max(abs(y_mm - self.y_mm) - (self.height_mm / 2 - round_mm), 0.0)
        return hypot(across, down) - round_mm


@dataclass(frozen=True)
class Track:
    net: str
    side: int
    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    width_mm: float


@dataclass(frozen=True)
class Via:
    net: str
    at_mm: tuple[float, float]


@dataclass
class _Path:
    """A way from one piece of a net to another, with what it keeps others from."""

    cells: list[int]
    no_track: list[set[int]] = field(default_factory=list)  # of each kind: cells that its tracks may not pass
    no_via: list[set[int]] = field(default_factory=list)


class Router:
    """`kinds`: of nets by name; all others are of the kind `usual`. `last`: the net that is laid last.
    `whole`: boxes (left, top, right, bottom, in mm) that no via is made in."""

    def __init__(
        self,
        size_mm: tuple[float, float],
        lands: list[Land],
        usual: Kind,
        kinds: dict[str, Kind],
        last: str,
        whole: list[tuple[float, float, float, float]],
    ) -> None:
        self.wide = int(size_mm[0] / GRID_MM) + 1
        self.high = int(size_mm[1] / GRID_MM) + 1
        self.cells = self.wide * self.high
        self.names = ["", *dict.fromkeys(land.net for land in lands if land.net)]
        self.kinds = list(dict.fromkeys([usual, *kinds.values()]))
        self.kind_of = [self.kinds.index(kinds.get(name, usual)) for name in self.names]
        self.last = last
        self.pads: list[list[tuple[int, float, float]]] = [[] for _ in self.names]
        self.history = [0.0] * (2 * self.cells)
        self.paths: list[list[_Path]] = [[] for _ in self.names]
        # Of each kind: whose a cell is (0 all's, -1 nobody's), the same for the middle of the four cells from
        # it to the right and down, where diagonals pass, and where no via may be.
        self.owner = [[0] * self.cells for _ in self.kinds]
        self.middle = [[0] * self.cells for _ in self.kinds]
        self.via_bar = [[False] * self.cells for _ in self.kinds]
        # Of each kind: how many laid paths bar a track, and a via.
        self.barred = [[0] * (2 * self.cells) for _ in self.kinds]
        self.via_barred = [[0] * self.cells for _ in self.kinds]
        self.used = [0] * (2 * self.cells)  # how many laid paths pass a cell
        self._keep_from_the_edge(size_mm)
        for box in whole:
            self._keep_whole(*box)
        for land in lands:
            self._take_place(land)
        self.steps = [self._steps(side) for side in (FRONT, BACK)]
        self.reach_tt = [
            [
                self._within((a.width_mm + b.width_mm) / 2 + max(a.gap_mm, b.gap_mm)) for b in self.kinds
            ]
            for a in self.kinds
        ]  # fmt: skip
        self.reach_tv = [
            [self._within((a.width_mm + VIA_MM) / 2 + max(a.gap_mm, b.gap_mm)) for b in self.kinds]
            for a in self.kinds
        ]
        self.reach_vv = [
            [self._within(VIA_MM + max(a.gap_mm, b.gap_mm)) for b in self.kinds] for a in self.kinds
        ]

    def _keep_from_the_edge(self, size_mm: tuple[float, float]) -> None:
        for cell in range(self.cells):
            x, y = cell % self.wide * GRID_MM, cell // self.wide * GRID_MM
            edge = min(x, y, size_mm[0] - x, size_mm[1] - y)
            for k, kind in enumerate(self.kinds):
                if edge < EDGE_MM + kind.width_mm / 2:
                    self.owner[k][cell] = -1
                if edge < EDGE_MM + VIA_MM / 2:
                    self.via_bar[k][cell] = True

    def _keep_whole(self, left: float, top: float, right: float, bottom: float) -> None:
        for y in range(ceil(top / GRID_MM), int(bottom / GRID_MM) + 1):
            for x in range(ceil(left / GRID_MM), int(right / GRID_MM) + 1):
                for bar in self.via_bar:
                    bar[y * self.wide + x] = True

    def _take_place(self, land: Land) -> None:
        net = self.names.index(land.net) if land.net else -1
        own_gap = self.kinds[self.kind_of[net]].gap_mm if net > 0 else 0.0
        reach = max(land.width_mm, land.height_mm) / 2 + 2 + GRID_MM
        rows = range(
            max(0, int((land.y_mm - reach) / GRID_MM)),
            min(self.high - 1, ceil((land.y_mm + reach) / GRID_MM)) + 1,
        )
        columns = range(
            max(0, int((land.x_mm - reach) / GRID_MM)),
            min(self.wide - 1, ceil((land.x_mm + reach) / GRID_MM)) + 1,
        )
        for y in rows:
            for x in columns:
                cell = y * self.wide + x
                at = land.distance_mm(x * GRID_MM, y * GRID_MM)
                between = land.distance_mm((x + 0.5) * GRID_MM, (y + 0.5) * GRID_MM)
                for k, kind in enumerate(self.kinds):
                    gap = max(kind.gap_mm, own_gap) - 1e-6
                    for where, distance in ((self.owner[k], at), (self.middle[k], between)):
                        if distance < gap + kind.width_mm / 2:
                            where[cell] = net if where[cell] in (0, net) else -1
                    if at < gap + VIA_MM / 2:
                        self.via_bar[k][cell] = True
        if net > 0:
            cell = round(land.y_mm / GRID_MM) * self.wide + round(land.x_mm / GRID_MM)
            self.pads[net].append((cell, land.x_mm, land.y_mm))

    def _steps(self, side: int) -> list[tuple[int, int, int, float]]:
        """(to which cell, across, down, cost) of each of the eight."""
        found = []
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (1, -1), (-1, 1), (-1, -1)):
            wrong = abs(dx) if side == BACK else abs(dy)
            cost = hypot(dx, dy) * (1 + WRONG_WAY * wrong / (abs(dx) + abs(dy)))
            found.append((dy * self.wide + dx, dx, dy, cost))
        return found

    def _within(self, reach_mm: float) -> list[int]:
        far = ceil(reach_mm / GRID_MM)
        return [
            dy * self.wide + dx
            for dy in range(-far, far + 1)
            for dx in range(-far, far + 1)
            if hypot(dx, dy) * GRID_MM < reach_mm - 1e-6
        ]

    def run(self) -> int:
        """Lays all nets. How many paths it laid again on the way. RouteError if some net finds no way."""
        queue = sorted(
            (net for net in range(1, len(self.names)) if len(self.pads[net]) > 1), key=self._turn_of
        )
        taken_up = 0
        for _ in range(TRIES):
            if not queue:
                return taken_up
            net = queue.pop(0)
            self._count(self.paths[net], -1)
            again = self._join(net)
            self._count(self.paths[net], 1)
            taken_up += len(again)
            for foe in again:
                if foe not in queue:
                    queue.append(foe)
        raise RouteError(f"No end after {TRIES} tries: {', '.join(self.names[net] for net in queue)}.")

    def _turn_of(self, net: int) -> tuple[bool, float, float, int]:
        """What needs most room comes first, then the short ones."""
        kind = self.kinds[self.kind_of[net]]
        xs, ys = [p[1] for p in self.pads[net]], [p[2] for p in self.pads[net]]
        span = max(xs) - min(xs) + max(ys) - min(ys)
        return (self.names[net] == self.last, -kind.gap_mm - kind.width_mm, span, net)

    def _join(self, net: int) -> list[int]:
        """Lays paths until the net is one piece. The nets that lost a path to it, one entry a path."""
        lost: list[int] = []
        while True:
            pieces = self._pieces(net)
            if len(pieces) == 1:
                return lost
            source = min(pieces, key=lambda piece: (len(piece), min(piece)))
            target = set().union(*(piece for piece in pieces if piece is not source))
            cells = self._search(net, source, target, False) or self._search(net, source, target, True)
            if cells is None:
                raise RouteError(f"No way for {self.names[net]}.")
            path = self._path(net, cells)
            lost += self._clear(net, path)
            self.paths[net].append(path)

    def _pieces(self, net: int) -> list[set[int]]:
        pieces: list[set[int]] = []
        ends = [{cell, cell + self.cells} for cell, _, _ in self.pads[net]]
        for group in ends + [set(path.cells) for path in self.paths[net]]:
            apart = [piece for piece in pieces if not piece & group]
            pieces = [*apart, group.union(*(piece for piece in pieces if piece & group))]
        return pieces

    def _search(self, net: int, source: set[int], target: set[int], through: bool) -> list[int] | None:
        """The cheapest way (A*); `through`: what lies in the way may be crossed, at a price."""
        half, wide, kind = self.cells, self.wide, self.kind_of[net]
        owner, middle, via_bar = self.owner[kind], self.middle[kind], self.via_bar[kind]
        barred, via_barred, used = self.barred[kind], self.via_barred[kind], self.used
        history, steps = self.history, self.steps
        xs = [cell % half % wide for cell in target]
        ys = [cell % half // wide for cell in target]
        x0, x1, y0, y1 = min(xs), max(xs), min(ys), max(ys)
        best = dict.fromkeys(source, 0.0)
        came: dict[int, int] = {}
        heap = [(0.0, 0.0, cell) for cell in sorted(source)]
        while heap:
            _, cost, here = heapq.heappop(heap)
            if cost > best[here]:
                continue
            if here in target:
                way = [here]
                while here in came:
                    here = came[here]
                    way.append(here)
                return way[::-1]
            side = BACK if here >= half else FRONT
            cell = here - half if side else here
            x, y = cell % wide, cell // wide
            for step, dx, dy, price in steps[side]:
                whose = owner[cell + step]
                if whose and whose != net:
                    continue
                if dx and dy:
                    whose = middle[cell + (dx - 1) // 2 + (dy - 1) // 2 * wide]
                    if whose and whose != net:
                        continue
                there = here + step
                in_the_way = barred[there]
                if dx and dy:
                    # The two cells beside a diagonal are 0.449 mm away: too near for any other track.
                    in_the_way += used[here + dx] + used[there - dx]
                if in_the_way:
                    if not through:
                        continue
                    price += IN_THE_WAY * in_the_way
                total = cost + price + history[there]
                if total < best.get(there, 1e18):
                    best[there] = total
                    came[there] = here
                    mx, my = x + dx, y + dy
                    ax = x0 - mx if mx < x0 else mx - x1 if mx > x1 else 0
                    ay = y0 - my if my < y0 else my - y1 if my > y1 else 0
                    heapq.heappush(heap, (total + max(ax, ay) + 0.414 * min(ax, ay), total, there))
            if not via_bar[cell]:
                there = cell if side else cell + half
                price = VIA_COST
                if via_barred[cell] or barred[there]:
                    if not through:
                        continue
                    price += 2 * IN_THE_WAY * (via_barred[cell] + barred[there])
                total = cost + price + history[there]
                if total < best.get(there, 1e18):
                    best[there] = total
                    came[there] = here
                    heapq.heappush(heap, (total + max(0, x0 - x, x - x1), total, there))
        return None

    def _path(self, net: int, cells: list[int]) -> _Path:
        half, own = self.cells, self.kind_of[net]
        path = _Path(cells)
        for k in range(len(self.kinds)):
            no_track: set[int] = set()
            no_via: set[int] = set()
            for here in cells:
                base = half if here >= half else 0
                no_track.update(base + here % half + d for d in self.reach_tt[own][k])
                no_via.update(here % half + d for d in self.reach_tv[own][k])
            for here, there in pairwise(cells):
                if (here >= half) != (there >= half):
                    cell = here % half
                    no_track.update(base + cell + d for base in (0, half) for d in self.reach_tv[k][own])
                    no_via.update(cell + d for d in self.reach_vv[own][k])
                elif abs(there - here) not in (1, self.wide):
                    dx = 1 if (there - here) in (self.wide + 1, 1 - self.wide) else -1
                    no_track.update((here + dx, there - dx))
            path.no_track.append({cell for cell in no_track if 0 <= cell < 2 * half})
            path.no_via.append({cell for cell in no_via if 0 <= cell < half})
        return path

    def _count(self, paths: list[_Path], by: int) -> None:
        for path in paths:
            for cell in path.cells:
                self.used[cell] += by
            for k in range(len(self.kinds)):
                barred, via_barred = self.barred[k], self.via_barred[k]
                for cell in path.no_track[k]:
                    barred[cell] += by
                for cell in path.no_via[k]:
                    via_barred[cell] += by

    def _clear(self, net: int, path: _Path) -> list[int]:
        """Takes up what the new path crosses. Whose it was, one entry a path."""
        half, kind = self.cells, self.kind_of[net]
        cells = set(path.cells)
        vias = {a % half for a, b in pairwise(path.cells) if (a >= half) != (b >= half)}
        lost = []
        for foe, paths in enumerate(self.paths):
            if foe == net:
                continue
            bars = path.no_track[self.kind_of[foe]]
            crossed = [
                p
                for p in paths
                if cells & p.no_track[kind] or vias & p.no_via[kind] or not bars.isdisjoint(p.cells)
            ]
            if not crossed:
                continue
            self._count(crossed, -1)
            self.paths[foe] = [p for p in paths if all(p is not q for q in crossed)]
            for gone in crossed:
                lost.append(foe)
                for cell in gone.cells:
                    self.history[cell] += AGAIN
        return lost

    def copper(self) -> tuple[list[Track], list[Via]]:
        """What was laid, in the order of the nets' names."""
        tracks: list[Track] = []
        vias: dict[Via, None] = {}
        for net in sorted(range(1, len(self.names)), key=self.names.__getitem__):
            name, width = self.names[net], self.kinds[self.kind_of[net]].width_mm
            real = {cell: (x, y) for cell, x, y in self.pads[net]}
            for path in self.paths[net]:
                start = 0
                cells = path.cells
                while start < len(cells) - 1:
                    end = start + 1
                    if (cells[start] >= self.cells) != (cells[end] >= self.cells):
                        if cells[start] % self.cells not in real:
                            vias[Via(name, self._at(cells[start]))] = None
                        start = end
                        continue
                    step = cells[end] - cells[start]
                    while end + 1 < len(cells) and cells[end + 1] - cells[end] == step:
                        end += 1
                    side = BACK if cells[start] >= self.cells else FRONT
                    tracks.append(Track(name, side, self._at(cells[start]), self._at(cells[end]), width))
                    start = end
                for cell in (cells[0], cells[-1]):
                    pad, at = real.get(cell % self.cells), self._at(cell)
                    if pad and hypot(pad[0] - at[0], pad[1] - at[1]) > 1e-3:
                        side = BACK if cell >= self.cells else FRONT
                        tracks.append(Track(name, side, at, pad, width))
        return list(dict.fromkeys(tracks)), list(vias)

    def _at(self, cell: int) -> tuple[float, float]:
        cell %= self.cells
        return round(cell % self.wide * GRID_MM, 4), round(cell // self.wide * GRID_MM, 4)
