"""What is drawn more than once: an output that switches 5 V."""

from hardware.drawings.drawing import Drawing, Point


def switch(
    s: Drawing, at: Point, net: str, refs: tuple[str, ...], emitter_y: float | None = None
) -> tuple[Point, Point]:
    """An NPN that obeys the pin, and the PNP that it switches on. `refs`: what holds the pin low, the NPN's
    base resistor, what holds it off, the NPN, the PNP's base resistor, what holds it off, the PNP. `at` is
    where the pin's net comes in; the NPN's emitter goes to ground, or down to `emitter_y`. Returns where the
    output leaves and where the emitter's wire ends."""
    hold, base, off, npn, drive, off_high, pnp = refs
    x, y = at
    s.net(net, at, "left")
    s.wire(at, (x + 1.4, y))
    s.two(hold, (x + 0.5, y), (x + 0.5, y - 1.6))
    s.net("GND", (x + 0.5, y - 1.6))
    s.two(base, (x + 1.4, y), (x + 3.2, y))
    q = s.transistor(npn, (x + 4.6, y))
    s.wire((x + 3.2, y), q.base)
    s.two(off, (x + 3.6, y), (x + 3.6, y - 1.6))
    s.net("GND", (x + 3.6, y - 1.6))
    end = (q.x, y - 1.6 if emitter_y is None else emitter_y)
    s.wire(q.emitter, end)
    if emitter_y is None:
        s.net("GND", end)
    s.wire(q.collector, (q.x, y + 0.9))
    node, top = y + 2.9, y + 4.5
    s.two(drive, (q.x, y + 0.9), (q.x, node))
    p = s.transistor(pnp, (x + 7.0, node))
    s.wire((q.x, node), p.base)
    s.two(off_high, (q.x, node), (q.x, top))
    s.wire((q.x, top), (p.x, top), p.emitter)
    s.net("V5S", (q.x, top))
    return s.wire(p.collector, (p.x, y + 1.4), (x + 9.0, y + 1.4)), end
