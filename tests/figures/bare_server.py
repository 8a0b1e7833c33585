"""The rival of the wire: JSON lines over a socket, and nothing else.

Takes one argument, JSON of {method: result}; prints its port, and answers every line with the result of
its method until it is ended. No checksum, no check of anything, no box.
"""

import asyncio
import json
import sys


async def main(results: dict) -> None:
    async def serve(incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter) -> None:
        while line := await incoming.readline():
            asked = json.loads(line)
            reply = {"jsonrpc": "2.0", "id": asked["id"], "result": results[asked["method"]]}
            outgoing.write(json.dumps(reply).encode() + b"\n")
            await outgoing.drain()
        outgoing.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


if __name__ == "__main__":
    asyncio.run(main(json.loads(sys.argv[1])))
