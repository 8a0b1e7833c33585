"""Scenes for our own negatives, drawn by code: what stood before the camera.

What must live here: pictures. A scene is its brightness at each point, in stops from a middle grey, and the
outlines of the areas that a printer would dodge or burn. It may not know film, paper or light in a darkroom.

Nothing is photographed. Texture is noise with a falling spectrum, cut to size and bent into perspective;
light is worked out where that is cheap (a room lit by its window) and painted where it is not.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from PIL import Image

from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Outline, Pixels

Scene = tuple[Pixels, dict[str, Outline]]

_TILE = 1024


def _noise(seed: int, fall: float, coarsest: float = 2.0) -> Pixels:
    """A square of noise that repeats, with a spread of 1. Its amplitude falls with frequency to the power
    `fall`; nothing is coarser than a `coarsest`-th of its side."""
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft2(rng.standard_normal((_TILE, _TILE), np.float32))
    fy = np.fft.fftfreq(_TILE)[:, None] * _TILE
    fx = np.fft.rfftfreq(_TILE)[None, :] * _TILE
    f = np.hypot(fx, fy)
    spectrum *= np.where(f >= coarsest, np.maximum(f, 1) ** -fall, 0)
    found = np.fft.irfft2(spectrum, (_TILE, _TILE)).astype(np.float32)
    return found / found.std()


def _at(tile: Pixels, u: Pixels, v: Pixels) -> Pixels:
    """The noise at (u, v), where 1 is a whole tile, smoothed between its points."""
    u, v = u * np.float32(_TILE), v * np.float32(_TILE)
    iu, iv = np.floor(u), np.floor(v)
    fu, fv = u - iu, v - iv
    iu, iv = iu.astype(np.int32), iv.astype(np.int32)
    mask = _TILE - 1
    u0, u1, v0, v1 = iu & mask, (iu + 1) & mask, iv & mask, (iv + 1) & mask
    top = tile[v0, u0] * (1 - fu) + tile[v0, u1] * fu
    return top * (1 - fv) + (tile[v1, u0] * (1 - fu) + tile[v1, u1] * fu) * fv


def blur(picture: Pixels, across_px: float, down_px: float | None = None) -> Pixels:
    """Spread with a normal curve of this width, each way; the edges are mirrored."""
    down_px = across_px if down_px is None else down_px
    pads = [int(3 * down_px) + 1, int(3 * across_px) + 1]
    wide = np.pad(picture, [(pad, pad) for pad in pads], "reflect")
    fy = np.fft.fftfreq(wide.shape[0])[:, None]
    fx = np.fft.rfftfreq(wide.shape[1])[None, :]
    soft = np.fft.rfft2(wide) * np.exp(-2 * (np.pi**2) * ((fy * down_px) ** 2 + (fx * across_px) ** 2))
    found = np.fft.irfft2(soft, wide.shape)
    return found[pads[0] : -pads[0], pads[1] : -pads[1]].astype(np.float32)


def _ramp(low: float, high: float, x: Pixels) -> Pixels:
    """0 up to `low`, 1 from `high` on, smooth between."""
    t = np.clip((x - np.float32(low)) / np.float32(high - low), 0, 1)
    return t * t * (3 - 2 * t)


def _grid() -> tuple[Pixels, Pixels]:
    """x and y of every pixel's middle, in parts of the sheet's height, from its left upper corner."""
    x = (np.arange(WIDTH_PX, dtype=np.float32) + np.float32(0.5)) / HEIGHT_PX
    y = (np.arange(HEIGHT_PX, dtype=np.float32) + np.float32(0.5)) / HEIGHT_PX
    return np.broadcast_to(x[None, :], (HEIGHT_PX, WIDTH_PX)), np.broadcast_to(
        y[:, None], (HEIGHT_PX, WIDTH_PX)
    )


def breakwater() -> Scene:
    """Posts of a groyne in a sea smoothed by a long exposure, under a bright evening sky."""
    x, y = _grid()
    horizon, sun_x = 0.47, 0.93
    soft, fine = _noise(11, 1.55), _noise(12, 1.25, 6)

    whole_x, whole_y = x, y
    skyline = np.count_nonzero(y[:, 0] < horizon)

    # Sky: clouds on a plane overhead, so that they crowd towards the horizon.
    x, y = whole_x[:skyline], whole_y[:skyline]
    up = horizon - y + np.float32(0.11)
    u, v = (x - sun_x) / up, 1 / up
    drift = _at(soft, u * np.float32(0.075) + v * np.float32(0.05) + np.float32(0.31), v * np.float32(0.055))
    detail = _at(fine, u * np.float32(0.10) + v * np.float32(0.05), v * np.float32(0.10))
    thick = drift + np.float32(0.30) * detail
    cloud = _ramp(-0.9, 1.1, thick)
    towards = _at(
        soft, u * np.float32(0.071) + v * np.float32(0.049) + np.float32(0.316), v * np.float32(0.054)
    )
    lit = np.exp(-1.1 * np.maximum(towards + np.float32(0.25) * detail + np.float32(0.5), 0))
    away = np.hypot((x - sun_x) * np.float32(0.8), (y - horizon) * np.float32(1.5))
    glow = np.exp(-away / np.float32(0.22))
    clear = np.float32(2.0) + 14 * glow + 7 * np.exp(-(horizon - y) / np.float32(0.1))
    sky = clear * (1 - cloud) + cloud * (np.float32(0.75) + (6.5 + 16 * glow) * lit)

    land = _ramp(
        0.0,
        0.004,
        y
        - horizon
        + np.float32(0.012)
        * _ramp(0.0, 0.45, np.float32(0.42) - x)
        * (1 + np.float32(0.35) * _at(soft, x * np.float32(0.35), np.zeros_like(x))),
    )
    sky = np.where(land > 0, sky * (1 - land) + land * np.float32(0.6), sky)

    # Sea: the sky again, drawn out sideways, darker towards us, with the mist of a long exposure.
    x, y = whole_x, whole_y
    down = np.maximum(y - horizon, 0)
    far = 1 / (down + np.float32(0.035))
    swell = _at(soft, (x - sun_x) * far * np.float32(0.02), far * np.float32(0.13))
    sea_x, down, far = (part[skyline:] for part in (x, down, far))
    ripple = _at(fine, (sea_x - sun_x) * far * np.float32(0.03) + np.float32(0.4), far * np.float32(0.35))
    path = np.exp(-(((sea_x - sun_x) / (np.float32(0.10) + 0.42 * down)) ** 2))
    sea = np.float32(0.8) + 3.4 * np.exp(-down / np.float32(0.085)) + 6.0 * path * np.exp(-down / 0.4)
    sea = sea * (1 + 0.10 * swell[skyline:] * _ramp(0.0, 0.08, down) + 0.035 * ripple)
    sea *= 1 - 0.55 * _ramp(0.1, 0.55, down)
    scene = blur(np.concatenate([sky, sea]), 1.2)

    # Posts from the lower left to the far right of the middle; each stands in its own mist and mirror.
    rng = np.random.default_rng(7)
    grain = _noise(13, 0.9, 8)
    edges: list[tuple[float, float, float, float]] = []
    for k in range(19, -1, -1):
        depth = 1 + 0.42 * k
        base = horizon + 0.45 / depth
        middle = 0.70 + (0.13 - 0.70) / depth + rng.normal(0, 0.012) / depth
        wide = 0.068 / depth * rng.uniform(0.85, 1.15)
        tall = 0.55 / depth * rng.uniform(0.72, 1.12)
        lean = rng.normal(0, 0.035)
        shade = rng.uniform(0.85, 1.15)
        edges.append((middle, base, wide, tall))
        rows = slice(
            max(0, int((base - tall - 0.02) * HEIGHT_PX)), min(HEIGHT_PX, int((base + tall) * HEIGHT_PX))
        )
        reach = wide + 0.06 * tall + 0.01
        columns = slice(
            max(0, int((middle - reach) * HEIGHT_PX)), min(WIDTH_PX, int((middle + reach) * HEIGHT_PX))
        )
        px, py = x[rows, columns], y[rows, columns]
        height = (base - py) / tall
        across = (px - middle - lean * (base - py)) / (wide / 2)
        worn = 1 + 0.05 * _at(soft, np.full_like(px, 0.13 * k), py * np.float32(0.6 / depth + 0.1))
        across = across / (worn * (1 - 0.1 * np.clip(height, 0, 1)))
        edge = 2.2 / (wide * HEIGHT_PX)
        top = (
            height
            - 1
            - 0.03 * across
            + 0.012 * _at(grain, px * np.float32(0.7 * depth), np.full_like(px, 0.1 * k))
        )
        inside = _ramp(-edge, edge, 1 - np.abs(across)) * _ramp(-0.006, 0.006, -top)
        fibre = _at(grain, px * np.float32(1.6 * depth) + 0.37 * k, py * np.float32(0.12 * depth))
        bright = 0.07 + 0.36 * _ramp(0.35, 1.0, across) * (1 + 0.5 * fibre) + 0.03 * (1 - np.abs(across))
        bright = bright * shade * np.exp(0.33 * fibre) * (1 - 0.45 * _ramp(0.24, 0.1, height) * (height > 0))
        haze = 1 - np.exp(-0.055 * k)
        bright = bright * (1 - haze) + haze * 1.5
        above = inside * _ramp(0.0, 0.05 + 0.02 * k, height + 0.012 * swell[rows, columns])
        mirror = (
            _ramp(1.25, 0.75, np.abs(across * (1 + 0.25 * height)))
            * _ramp(-0.95, -0.02, height)
            * (height < 0)
        )
        own = scene[rows, columns]
        own = own * (1 - 0.62 * mirror * (1 - haze))
        scene[rows, columns] = own * (1 - above) + bright * above
    foam = np.zeros_like(scene)
    for middle, base, wide, tall in edges:
        across = np.exp(-(((x[0] - middle) / (wide * 1.9)) ** 2))
        foam += np.outer(np.exp(-(((y[:, 0] - base - 0.004) / (0.03 * tall + 0.002)) ** 2)), across)
    scene = scene * (1 - 0.4 * np.clip(foam, 0, 1)) + 0.4 * np.clip(foam, 0, 1) * 1.9

    outlines: dict[str, Outline] = {
        "sky": [(0, 0), (1, 0), (1, 0.455), (0, 0.455)],
        "posts": [(0.075, 0.90), (0.075, 0.475), (0.425, 0.475), (0.42, 0.62), (0.28, 0.80), (0.14, 0.92)],
    }  # fmt: skip
    return np.log2(np.maximum(scene, 0.004)), outlines


class Turned(NamedTuple):
    """A thing turned about an upright axis: where it is, how much it covers there, and the three parts of its
    surface's normal (to the right, down, towards us)."""

    place: tuple[slice, slice]
    cover: Pixels
    normal: tuple[Pixels, Pixels, Pixels]


def _turned(middle: float, base: float, profile: list[tuple[float, float]]) -> Turned:
    """`profile`: (height over the base, radius) from the foot up; a smooth curve goes through all of them."""
    heights, radii = (np.array(part) for part in zip(*profile, strict=True))
    widest = radii.max() + 0.01
    place = (
        slice(int((base - heights[-1]) * HEIGHT_PX) - 2, min(HEIGHT_PX, int(base * HEIGHT_PX) + 3)),
        slice(int((middle - widest) * HEIGHT_PX), int((middle + widest) * HEIGHT_PX)),
    )
    x, y = (part[place] for part in _grid())
    height = np.clip(base - y[:, 0], 0, heights[-1])
    # Cubic pieces that do not swing past their points (Fritsch and Butland's choice of slopes; memory).
    chords = np.diff(radii) / np.diff(heights)
    slopes = np.concatenate([chords[:1], np.zeros(len(chords) - 1), chords[-1:]])
    same = chords[:-1] * chords[1:] > 0
    slopes[1:-1][same] = 2 / (1 / chords[:-1][same] + 1 / chords[1:][same])
    at = np.clip(np.searchsorted(heights, height, "right") - 1, 0, len(heights) - 2)
    long = heights[at + 1] - heights[at]
    t = (height - heights[at]) / long
    radius = (
        radii[at] * (1 + 2 * t) * (1 - t) ** 2
        + radii[at + 1] * t * t * (3 - 2 * t)
        + long * t * (1 - t) * (slopes[at] * (1 - t) - slopes[at + 1] * t)
    ).astype(np.float32)
    radius = np.maximum(radius, 1e-4)[:, None]
    slope = np.gradient(radius[:, 0], 1 / HEIGHT_PX).astype(np.float32)[:, None]
    across = (x - np.float32(middle)) / radius
    cover = _ramp(-1.0, 1.0, (1 - np.abs(across)) * radius * HEIGHT_PX)
    cover = cover * _ramp(-1.0, 1.0, np.minimum(base - y, y - (base - heights[-1])) * HEIGHT_PX)
    nx = np.clip(across, -1, 1)
    nz = np.sqrt(1 - nx * nx)
    steep = 1 / np.sqrt(1 + slope * slope)
    return Turned(place, cover, (nx * steep, np.broadcast_to(slope * steep, nx.shape), nz * steep))


def pears() -> Scene:
    """A jug, a dark bottle, two pears and an egg on a sill, in the light of a window to the left."""
    x, y = _grid()
    soft, fine = _noise(21, 1.7), _noise(22, 0.9, 10)
    back = 0.635

    # A wall of old plaster, lit slantwise from the left and darker towards the far upper corner.
    plaster = 0.10 * _at(soft, x * np.float32(0.4), y * np.float32(0.4)) + 0.035 * _at(fine, x * 0.7, y * 0.7)
    fall = np.exp(-((x - 0.16) ** 2) / 0.55 - ((y - 0.42) ** 2) / 0.5)
    scene = (np.float32(0.16) + 0.95 * fall) * np.exp(plaster)
    # The window's bars leave a soft slanting pattern on it.
    slant = x + np.float32(0.55) * y
    bar = _ramp(0.035, 0.005, np.abs(slant - 0.77)) + _ramp(0.03, 0.005, np.abs(y - 0.09 - 0.16 * x))
    lit = _ramp(0.30, 0.42, slant) * _ramp(1.24, 1.06, slant) * (1 - 0.7 * np.clip(bar, 0, 1))
    scene *= 1 + 1.15 * lit * _ramp(0.66, 0.5, y)

    # The sill: boards along the wall, a worn edge towards us.
    front = 0.925
    depth = 1 / (y - np.float32(0.42) + np.float32(1e-6))
    wood = _at(fine, x * depth * np.float32(0.03), depth * np.float32(0.55)) + 0.8 * _at(
        soft, x * depth * np.float32(0.05), depth * np.float32(0.9)
    )
    top = (np.float32(0.30) + 0.95 * np.exp(-((x - 0.22) ** 2) / 0.42)) * np.exp(0.13 * wood)
    seam = np.exp(-(((y - 0.755) / 0.003) ** 2))
    top *= 1 - 0.6 * seam
    side = (np.float32(0.11) + 0.16 * np.exp(-((x - 0.2) ** 2) / 0.5)) * np.exp(
        0.22 * _at(fine, x * np.float32(0.12), y * np.float32(1.1))
    )
    edge = np.exp(-(((y - front) / 0.005) ** 2))
    scene = np.where(y < back, scene, np.where(y < front, top, side)) + 0.5 * edge * (0.3 + fall)
    scene *= 1 - 0.55 * np.exp(-np.abs(y - back) / 0.02)

    def stand(middle: float, base: float, profile: list[tuple[float, float]]) -> Turned:
        """Lay the shadows of a turned thing on sill and wall, and give it."""
        r, tall = profile[0][1] + 0.01, profile[-1][0]
        rows = slice(int((base - 1.1 * tall) * HEIGHT_PX), min(HEIGHT_PX, int((base + 0.1) * HEIGHT_PX)))
        place = (rows, slice(int(max(0, middle - 0.25) * HEIGHT_PX), WIDTH_PX))
        reach, py = x[place] - np.float32(middle), y[place]
        contact = np.exp(-((reach / (r * 1.25)) ** 2) - ((py - base) / (0.16 * r + 0.004)) ** 2)
        cast = np.exp(-(((py - base + 0.05 * reach) / (0.30 * r + 0.05 * np.maximum(reach, 0))) ** 2))
        cast *= _ramp(-r, r * 0.6, reach) * np.exp(-np.maximum(reach, 0) / (0.75 * tall + 0.1))
        on_sill = _ramp(back - 0.002, back + 0.01, py)
        scene[place] *= 1 - np.clip(0.85 * contact + 0.72 * cast, 0, 0.9) * on_sill * (py < front + 0.004)
        shifted = np.exp(-(((reach - 0.30) / (1.5 * r + 0.02)) ** 2))
        shifted *= _ramp(tall * 1.02, tall * 0.7, base - py)
        scene[place] *= 1 - 0.42 * shifted * (1 - on_sill)
        return _turned(middle, base, profile)

    def light(thing: Turned) -> Pixels:
        """A broad window at the left, above us a little, and what the room sends back."""
        nx, ny, nz = thing.normal
        window = np.clip(-0.80 * nx - 0.30 * ny + 0.42 * nz + 0.12, 0, None) ** 1.25
        return 0.075 + 0.10 * np.clip(ny, 0, 1) + 0.05 * np.clip(nx, 0, 1) + 1.25 * window

    def gleam(thing: Turned, at: tuple[float, float], size: tuple[float, float]) -> Pixels:
        nx, ny, _ = thing.normal
        return _ramp(1.25, 0.8, np.maximum(np.abs((nx - at[0]) / size[0]), np.abs((ny - at[1]) / size[1])))

    def sheen(thing: Turned, at: tuple[float, float], size: tuple[float, float]) -> Pixels:
        """The same window in a rough skin or an old glaze: no edges."""
        nx, ny, _ = thing.normal
        return np.exp(-(((nx - at[0]) / size[0]) ** 2) - ((ny - at[1]) / size[1]) ** 2)

    def put(place: Any, cover: Pixels, bright: Pixels) -> None:
        scene[place] = scene[place] * (1 - cover) + bright * cover

    # A dark bottle at the back.
    bottle = [(0, 0.068), (0.008, 0.076), (0.27, 0.078), (0.315, 0.073), (0.355, 0.050), (0.39, 0.031),
              (0.43, 0.0245), (0.50, 0.0230), (0.506, 0.0285), (0.528, 0.0285), (0.532, 0.021)]  # fmt: skip
    it = stand(0.52, 0.765, bottle)
    nx, py = it.normal[0], y[it.place]
    glass = 0.022 + 0.06 * _ramp(0.55, 0.95, nx) + 0.02 * np.abs(nx)
    bars = (1 - 0.75 * _ramp(0.02, 0.008, np.abs(nx + 0.62))) * (
        1 - 0.8 * np.exp(-(((py - 0.60) / 0.007) ** 2))
    )
    glass += 2.6 * gleam(it, (-0.62, 0.0), (0.13, 0.55)) * bars + 0.3 * gleam(it, (0.80, 0.0), (0.06, 0.5))
    put(it.place, it.cover, glass)

    # A white jug, glazed, with a worn rim.
    ring = np.hypot((x - 0.445) / 0.072, (y - 0.545) / 0.105)
    handle = np.exp(-(((ring - 1) / 0.16) ** 4)) * (x > 0.385)
    jug = [(0, 0.084), (0.010, 0.092), (0.06, 0.121), (0.13, 0.139), (0.20, 0.128), (0.27, 0.096),
           (0.32, 0.075), (0.36, 0.071), (0.395, 0.081), (0.408, 0.088), (0.412, 0.088)]  # fmt: skip
    it = stand(0.315, 0.80, jug)
    turn = np.clip((ring - 1) / 0.16, -1, 1)
    put(..., handle, 0.18 + 0.85 * _ramp(0.5, -0.9, turn) + 0.3 * _ramp(0.9, 1.0, turn))
    px, py = x[it.place], y[it.place]
    glaze = 2.3 * light(it) * np.exp(0.05 * _at(soft, px * 0.5, py * 0.5))
    glaze *= 1 - 0.35 * np.exp(-(((py - 0.395) / 0.004) ** 2))
    put(it.place, it.cover, glaze + 1.5 * sheen(it, (-0.50, -0.12), (0.15, 0.24)))

    # Pears, their skins freckled, and an egg.
    for middle, base, big, turn_over in ((0.90, 0.79, 0.88, -0.07), (0.735, 0.83, 1.0, 0.05)):
        pear = [(h * big, r * big) for h, r in (
            (0, 0.030), (0.006, 0.050), (0.03, 0.078), (0.07, 0.092), (0.11, 0.088), (0.15, 0.066),
            (0.19, 0.046), (0.22, 0.037), (0.238, 0.025), (0.245, 0.008))]  # fmt: skip
        it = stand(middle, base, pear)
        px, py = x[it.place], y[it.place]
        freckle = _at(fine, px * np.float32(1.9) + np.float32(middle), py * np.float32(1.9))
        skin = 0.95 * light(it) * np.exp(0.10 * _at(soft, px * 0.9, py * 0.9 + np.float32(middle)))
        skin *= 1 - 0.16 * _ramp(1.0, 2.0, freckle)
        skin += 0.5 * sheen(it, (-0.46, -0.28), (0.16, 0.20)) + 0.06 * _ramp(0.8, 1.0, it.normal[0])
        put(it.place, it.cover, skin)
        tip = base - 0.245 * big
        stalk_at = np.s_[int((tip - 0.06) * HEIGHT_PX) : int((tip + 0.02) * HEIGHT_PX), :]
        py = y[stalk_at]
        bend = x[stalk_at] - np.float32(middle) - turn_over * np.sqrt(np.maximum(tip + 0.012 - py, 0)) * 1.2
        stalk = _ramp(0.0045, 0.0025, np.abs(bend)) * _ramp(tip + 0.014, tip + 0.006, py)
        put(stalk_at, stalk * _ramp(tip - 0.052, tip - 0.046, py), 0.09 + 0.4 * _ramp(0.0005, -0.003, bend))
    angles = np.linspace(0.25, 3.05, 14)
    heights = 0.052 * (np.cos(0.25) - np.cos(angles))
    widths = 0.042 * np.sin(angles) * (1 - 0.06 * (1 - np.cos(angles)))
    it = stand(0.60, 0.868, list(zip(heights.tolist(), widths.tolist(), strict=True)))
    put(it.place, it.cover, 2.3 * light(it) * np.exp(0.03 * _at(fine, x[it.place] * 2, y[it.place] * 2)))

    outlines: dict[str, Outline] = {
        "jug": [(0.135, 0.79), (0.145, 0.60), (0.19, 0.50), (0.18, 0.37), (0.33, 0.37), (0.33, 0.44),
                (0.42, 0.46), (0.41, 0.63), (0.355, 0.68), (0.33, 0.80)],
        "pears": [(0.50, 0.84), (0.50, 0.70), (0.57, 0.54), (0.62, 0.52), (0.72, 0.52), (0.79, 0.68),
                  (0.79, 0.79), (0.68, 0.85)],
        "wall": [(0.46, 0), (1, 0), (1, 0.60), (0.72, 0.60), (0.70, 0.50), (0.56, 0.52), (0.46, 0.55)],
        "bottle": [(0.345, 0.76), (0.345, 0.45), (0.385, 0.30), (0.385, 0.23), (0.45, 0.23), (0.45, 0.30),
                   (0.49, 0.45), (0.49, 0.70), (0.47, 0.77)],
    }  # fmt: skip
    return np.log2(np.maximum(blur(scene, 0.7), 0.004)) + np.float32(1.15), outlines


def workroom() -> Scene:
    """A bench under a window, seen against the light."""
    x, y = _grid()
    soft, fine = _noise(31, 1.7), _noise(32, 1.0, 10)
    # Metres: x to the right, y up from the floor, z away from us; the eye stands 1.45 m above the floor.
    left, right, ceiling, wall = -1.75, 2.15, 2.75, 4.2
    eye = 1.45
    dx, dy = (x - np.float32(0.60)) * np.float32(1.02), (np.float32(0.44) - y) * np.float32(1.02)
    window = (-1.05, 0.45, 1.02, 2.36)  # left, right, sill, head
    glass_z = 4.42

    # Where each line of sight ends: back wall, floor, ceiling or one of the side walls.
    far = np.minimum(np.where(dx < 0, left, right) / np.where(np.abs(dx) < 1e-6, 1e-6, dx), np.float32(wall))
    drop = np.where(dy < 0, -eye, ceiling - eye) / np.where(np.abs(dy) < 1e-6, 1e-6, dy)
    z = np.minimum(far, drop).astype(np.float32)
    on_floor = (drop < far) & (dy < 0)
    on_ceiling = (drop < far) & (dy > 0)
    on_wall = ~on_floor & ~on_ceiling & (z >= wall - 1e-4)
    wx, wy = dx * z, eye + dy * z

    def from_window(px: Pixels, py: Pixels, pz: Pixels, nx: Any, ny: Any, nz: Any) -> Pixels:
        """Light of an even window on a surface: Lambert's sum over the edges of a polygon."""
        x0, x1, y0, y1 = window
        corners = []
        for cx, cy in ((x0, y0), (x0, y1), (x1, y1), (x1, y0)):
            ax, ay, az = cx - px, cy - py, np.float32(wall + 0.02) - pz
            size = 1 / np.sqrt(ax * ax + ay * ay + az * az)
            corners.append((ax * size, ay * size, az * size))
        found = np.zeros_like(px)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
            turn = np.arccos(np.clip(a[0] * b[0] + a[1] * b[1] + a[2] * b[2], -1, 1))
            cross = (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])
            size = np.sqrt(cross[0] ** 2 + cross[1] ** 2 + cross[2] ** 2) + np.float32(1e-9)
            found += turn * (cross[0] * nx + cross[1] * ny + cross[2] * nz) / size
        return np.abs(found) / np.float32(2 * np.pi)

    # Walls, floor and ceiling, at a quarter of the points: such light has no edges.
    few = np.s_[::4, ::4]
    fx, fy, fz = wx[few], wy[few], z[few]
    side = ~(on_floor | on_ceiling | on_wall)[few]
    normal = (
        np.where(side, np.where(fx < 0, 1, -1), 0),
        np.where(on_floor[few], 1, np.where(on_ceiling[few], -1, 0)),
        np.where(on_wall[few], -1, 0),
    )
    direct = from_window(fx, fy, fz, *normal) * ~on_wall[few]
    # What the bench and the stool keep from it.
    top, stool = (-1.55, 1.15, 0.80, 0.87, 3.15, 3.95), (0.62, 1.02, 0.50, 0.54, 2.35, 2.75)
    seen = np.zeros_like(fx)
    spots = [(sx, sy) for sx in np.linspace(-0.95, 0.35, 4) for sy in np.linspace(1.1, 2.3, 6)]
    for sx, sy in spots:
        blocked = np.zeros(fx.shape, bool)
        for x0, x1, y0, y1, z0, z1 in (top, stool):
            at_y = np.float32((y0 + y1) / 2)
            t = (at_y - fy) / (np.float32(sy) - fy + np.float32(1e-6))
            hit_x, hit_z = fx + t * (np.float32(sx) - fx), fz + t * (np.float32(wall) - fz)
            blocked |= (t > 0) & (t < 1) & (hit_x > x0) & (hit_x < x1) & (hit_z > z0) & (hit_z < z1)
        seen += ~blocked
    direct *= blur(seen / len(spots), 3, 5)

    def whole(part: Pixels) -> Pixels:
        return np.asarray(
            Image.fromarray(part.astype(np.float32)).resize((WIDTH_PX, HEIGHT_PX), Image.Resampling.BILINEAR)
        )

    bounce = 0.012 + 0.026 * np.exp(-((wx + 0.3) ** 2 + (wy - 0.9) ** 2 + (z - 3.2) ** 2) / 3.5)
    lit = whole(np.where(side | on_floor[few] | on_ceiling[few], direct, 0)) + bounce
    corner = 1 - 0.45 * np.exp(-np.minimum(np.abs(wx - left), np.abs(wx - right)) / 0.12) * on_wall
    corner = corner * (1 - 0.4 * np.exp(-np.minimum(wy, ceiling - wy) / 0.10) * ~(on_floor | on_ceiling))
    lit = np.where(on_wall, 2.1 * bounce * corner, lit)
    plaster = np.exp(
        0.10 * _at(soft, (wx + z) * 0.21, wy * np.float32(0.21))
        + 0.05 * _at(fine, (wx + z) * np.float32(0.31), wy * np.float32(0.31))
    )
    boards = wx / np.float32(0.17)
    board = np.floor(boards)
    tone = np.exp(
        0.28 * np.sin(board * 12.9898)
        + 0.20 * _at(fine, wx * np.float32(0.9), z * np.float32(0.06) + board * np.float32(0.37))
    )
    gap = _ramp(0.0, 0.05, np.minimum(boards - board, 1 - boards + board)) * np.float32(0.75) + np.float32(
        0.25
    )
    albedo = np.where(on_floor, 0.6 * tone * gap, 0.72 * plaster)
    scene = (lit * albedo).astype(np.float32)

    # The window: sky, a tree out of focus, bars, and the thickness of the wall.
    x0, x1, y0, y1 = window
    hx, hy = dx * np.float32(wall), eye + dy * np.float32(wall)
    opening = (hx > x0) & (hx < x1) & (hy > y0) & (hy < y1)
    gx, gy = dx * glass_z, eye + dy * glass_z
    pane = (gx > x0 + 0.05) & (gx < x1 - 0.05) & (gy > y0 + 0.05) & (gy < y1 - 0.05)
    leaves = _ramp(
        -0.6,
        0.9,
        _at(soft, gx * np.float32(0.16) + 0.2, gy * np.float32(0.16))
        + 0.5 * _at(fine, gx * np.float32(0.12), gy * np.float32(0.12))
        + (np.float32(1.9) - gy) * 2.1
        - (gx + 0.2) * 0.7,
    )
    outside = 1.9 - 1.55 * blur(leaves, 3.0) + 0.35 * (gy - 1.6)
    bars = np.maximum(
        _ramp(0.034, 0.028, np.abs(gx + np.float32(0.30))),
        np.maximum(_ramp(0.022, 0.017, np.abs(gy - 1.50)), _ramp(0.022, 0.017, np.abs(gy - 1.94))),
    )
    frame = 0.055 + 0.05 * _ramp(0.022, 0.034, np.abs(gx + np.float32(0.30))) * bars
    view = np.where(pane, outside * (1 - bars) + frame * bars, 0.085)
    reveal = opening & ~((gx > x0) & (gx < x1) & (gy > y0) & (gy < y1))
    view = np.where(reveal, np.where(gy <= y0, 0.9, np.where(gy >= y1, 0.22, 0.5)) * plaster, view)
    scene = np.where(opening, view, scene)

    # The floor is waxed: the window again, blurred and broken by the boards.
    mirror_y = -(eye + dy * np.float32(wall))
    shine = on_floor * _ramp(x0 - 0.12, x0 + 0.12, dx * wall) * _ramp(x1 + 0.12, x1 - 0.12, dx * wall)
    shine = shine * _ramp(y0 - 0.2, y0 + 0.2, mirror_y) * _ramp(y1 + 0.2, y1 - 0.2, mirror_y)
    scene += 0.2 * blur(shine.astype(np.float32), 7, 16) * on_floor * gap * (0.6 + 0.4 * tone)

    def span(px: float, py: float, pz: float) -> tuple[float, float]:
        return px / pz / 1.02 + 0.60, 0.44 - (py - 1.45) / pz / 1.02

    def box(
        x0: float, x1: float, y0: float, y1: float, z0: float, z1: float, tint: float, seed: float
    ) -> None:
        """A box of wood: front, top and sides, each with its light."""
        spots = [span(px, py, pz) for px in (x0, x1) for py in (y0, y1) for pz in (z0, z1)]
        cols = slice(
            max(0, int(min(u for u, _ in spots) * HEIGHT_PX) - 1),
            min(WIDTH_PX, int(max(u for u, _ in spots) * HEIGHT_PX) + 2),
        )
        rows = slice(max(0, int(min(v for _, v in spots) * HEIGHT_PX) - 1),
                     min(HEIGHT_PX, int(max(v for _, v in spots) * HEIGHT_PX) + 2))  # fmt: skip
        if rows.start >= rows.stop or cols.start >= cols.stop:
            return
        ax, ay = dx[rows, cols], dy[rows, cols]
        entry = np.full(ax.shape, np.float32(z0))
        leave = np.full(ax.shape, np.float32(z1))
        face = np.zeros(ax.shape, np.int8)
        for direction, low, high, number in ((ax, x0, x1, 1), (ay, y0 - 1.45, y1 - 1.45, 2)):
            safe = np.where(np.abs(direction) < 1e-6, np.float32(1e-6), direction)
            near, away = np.minimum(low / safe, high / safe), np.maximum(low / safe, high / safe)
            face = np.where(near > entry, number, face)
            entry, leave = np.maximum(entry, near), np.minimum(leave, away)
        hit = entry < leave
        px, py, pz = ax * entry, eye + ay * entry, entry
        nx = np.where(face == 1, np.where(ax < 0, 1, -1), 0)
        ny = np.where(face == 2, np.where(ay < 0, 1, -1), 0)
        light = from_window(px, py, pz, nx, ny, np.where(face == 0, -1, 0)) * (face != 0)
        wood = np.exp(0.25 * _at(fine, (px + py) * np.float32(0.1) + seed, (pz + py) * np.float32(0.55)))
        bright = (0.9 * light + 0.022 + 0.012 * np.exp(-((px + 0.2) ** 2))) * tint * wood
        # Wood seen at a glancing angle against the window shines.
        bright = bright + (face == 2) * (ay < 0) * 3.0 * light * tint * _ramp(1.4, 0.0, np.abs(px + 0.3))
        own = scene[rows, cols]
        scene[rows, cols] = np.where(hit, bright, own)

    # A shelf with books on the back wall, the bench, a stool.
    box(0.80, 1.95, 1.62, 1.66, 3.95, 4.2, 0.5, 0.1)
    rng = np.random.default_rng(5)
    at = 0.84
    while at < 1.75:
        thick, tall = rng.uniform(0.025, 0.06), rng.uniform(0.17, 0.27)
        if rng.uniform() > 0.12:
            box(at, at + thick, 1.66, 1.66 + tall, 4.0, 4.17, rng.uniform(0.25, 1.1), at)
        at += thick + 0.003
    for leg_x in (-1.45, 0.97):
        for leg_z in (3.82, 3.18):
            box(leg_x, leg_x + 0.09, 0, 0.80, leg_z, leg_z + 0.09, 0.4, leg_x)
    box(-1.45, 1.05, 0.22, 0.26, 3.3, 3.85, 0.13, 0.7)
    box(-0.9, -0.45, 0.26, 0.50, 3.35, 3.7, 0.22, 0.3)
    box(-1.50, 1.10, 0.70, 0.80, 3.17, 3.20, 0.45, 0.2)
    box(*top, 0.62, 0.4)

    def stand(px: float, pz: float, profile: list[tuple[float, float]], glassy: float, tint: float) -> None:
        """A turned thing on the bench, lit from behind."""
        u, v = span(px, 0.87, pz)
        it = _turned(u, v, [(h / pz / 1.02, r / pz / 1.02) for h, r in profile])
        nx, ny, nz = it.normal
        rim = _ramp(0.55, 1.0, np.abs(nx - np.float32(0.25 * (px + 0.3))))
        bright = tint * (0.028 + 0.50 * rim + 0.10 * np.clip(-ny, 0, 1))
        own = scene[it.place]
        shadow = np.exp(-(((x[it.place] - u) / (0.09 / pz)) ** 2))
        seen = (
            own * (0.55 + 0.25 * nz) * (1 - 0.4 * rim) + 0.35 * _ramp(0.12, 0.03, np.abs(nx + 0.55)) * shadow
        )
        scene[it.place] = own * (1 - it.cover) + it.cover * (bright * (1 - glassy) + seen * glassy)

    flask = [
        (0, 0.07),
        (0.01, 0.09),
        (0.08, 0.085),
        (0.16, 0.045),
        (0.21, 0.024),
        (0.29, 0.022),
        (0.30, 0.03),
    ]
    jar = [(0, 0.05), (0.006, 0.055), (0.15, 0.055), (0.17, 0.048), (0.19, 0.05)]
    pot = [(0, 0.055), (0.01, 0.06), (0.07, 0.078), (0.12, 0.072), (0.15, 0.06), (0.16, 0.064)]
    stand(-0.92, 3.75, flask, 0.6, 1.6)
    stand(-0.70, 3.62, jar, 0.5, 1.5)
    stand(0.25, 3.70, pot, 0.0, 0.8)
    for k, lean in enumerate((-0.16, -0.07, 0.02, 0.09, 0.2)):
        u, v = span(0.25, 0.99, 3.72)
        tip = 0.075 + 0.012 * ((k * 7) % 5)
        place = np.s_[int((v - tip) * HEIGHT_PX) : int(v * HEIGHT_PX), :]
        off = np.abs(
            x[place] - np.float32(u + 0.004 * (k - 2)) - np.float32(lean) * (np.float32(v) - y[place])
        )
        wide = np.float32(0.0016) + 0.0022 * _ramp(v - 0.75 * tip, v - 0.85 * tip, y[place])
        brush = _ramp(1.3, 0.7, off / wide)
        scene[place] = scene[place] * (1 - brush) + 0.03 * brush
    box(-0.42, -0.02, 0.87, 0.895, 3.3, 3.62, 0.9, 0.6)
    box(-0.40, -0.05, 0.895, 0.925, 3.32, 3.58, 1.4, 0.9)
    box(0.62, 0.66, 0, 0.5, 2.37, 2.41, 0.5, 0.1)
    for leg_x, leg_z in ((0.64, 2.69), (0.96, 2.69), (0.64, 2.37), (0.96, 2.37)):
        box(leg_x, leg_x + 0.04, 0, 0.5, leg_z, leg_z + 0.04, 0.5, leg_z)
    box(0.66, 0.98, 0.2, 0.23, 2.38, 2.40, 0.5, 0.8)
    box(*stool, 0.75, 0.5)

    # Bright glass scatters in lens and film.
    scene = blur(scene, 0.8) + 0.05 * blur(scene, 30)
    outlines: dict[str, Outline] = {
        "window": [
            span(px, py, 4.2) for px, py in ((-1.05, 1.02), (-1.05, 2.36), (0.45, 2.36), (0.45, 1.02))
        ],
        "bench": [(0.12, 0.62), (0.19, 0.583), (0.89, 0.583), (0.955, 0.615), (0.955, 0.645), (0.94, 0.675),
                  (0.14, 0.675)],
        "floor": [(0.0, 1.0), (0.0, 0.95), (0.22, 0.80), (0.80, 0.80), (0.80, 1.0)],
        "stool": [(0.82, 0.755), (0.99, 0.755), (1.035, 0.82), (1.01, 1.0), (0.83, 1.0)],
        "ceiling": [(0.0, 0.0), (1.25, 0.0), (1.25, 0.04), (1.10, 0.135), (0.19, 0.135), (0.0, 0.02)],
    }  # fmt: skip
    outlines = {
        name: [(u * HEIGHT_PX / WIDTH_PX, v) for u, v in outline] for name, outline in outlines.items()
    }
    return np.log2(np.maximum(scene, 0.002)) + np.float32(3.7), outlines
