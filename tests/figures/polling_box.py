"""A box on a page that asks for its state 30 times a second: what `page` would be without a websocket.

Prints its address, and serves until it is ended. The same core, clock and web server, and the frame drawn
alike; no key in the address, no darkroom, and nothing is checked.
"""

import asyncio
import base64
import socket
import sys

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from host_sim.box.live import Live
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.records.store import Store

PAGE = """<!doctype html><html data-lamp="dark"><canvas id="frame" width="128" height="64"></canvas><script>
const context = document.getElementById("frame").getContext("2d");
addEventListener("keydown", (event) => event.repeat || fetch("key", { method: "POST", body: event.key }));
setInterval(async () => {
  const state = await (await fetch("state")).json();
  const bytes = Uint8Array.from(atob(state.frame), (letter) => letter.charCodeAt(0));
  const image = context.createImageData(128, 64);
  for (let y = 0; y < 64; y++) for (let x = 0; x < 128; x++) {
    const lit = (bytes[(y >> 3) * 128 + x] >> (y & 7)) & 1;
    image.data.set(lit ? [255, 64, 32, 255] : [8, 0, 0, 255], 4 * (y * 128 + x));
  }
  context.putImageData(image, 0, 0);
  document.documentElement.dataset.lamp = state.lit ? "lit" : "dark";
}, 1000 / 30);
</script></html>"""
KEYS = {"l": "lamp", "e": "expose"}


async def main() -> None:
    disk, platform = MemoryDisk(), desk_platform()
    Store(disk, platform.crc32).put("bench", encode({"settle_ms": 0, "form": BENCH_FORM}))
    session = Session(disk, platform, 100)
    session.power_up()
    live = Live(session)

    async def page(_: Request) -> Response:
        return HTMLResponse(PAGE)

    async def key(request: Request) -> Response:
        name = KEYS.get((await request.body()).decode())
        if name:
            live.input(name)
        return Response(status_code=204)

    async def state(_: Request) -> Response:
        live.catch_up()
        frame = base64.b64encode(bytes(session.frame())).decode()
        return JSONResponse({"lit": session.lamp.lit, "frame": frame})

    app = Starlette(routes=[Route("/", page), Route("/key", key, methods=["POST"]), Route("/state", state)])
    listener = socket.create_server(("127.0.0.1", 0))
    print(f"http://127.0.0.1:{listener.getsockname()[1]}/", flush=True)
    server = uvicorn.Server(uvicorn.Config(app, lifespan="off", log_level="error"))
    await asyncio.gather(server.serve(sockets=[listener]), live.run())


if __name__ == "__main__":
    sys.exit(asyncio.run(main()))
