"""A unit and a site of another make, served over TCP in scaled time: `python3 scripts/unit --help`.

Written from docs/wire-protocol.md, wire-protocol.cddl and the site control of docs/simulator.md alone, with physics of its own.
"""
import argparse
import asyncio
import signal
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "wire")]

from device import STEP  # noqa: E402
from faults import FAULTS, Lies  # noqa: E402
from serve import Server  # noqa: E402
from site_model import Site  # noqa: E402

TICK_S = 0.004  # real time between looks at the clock


class World:
    """The site's time, and who is connected."""

    def __init__(self, args):
        lies = Lies(args.fault)
        self.site = Site(lies, args.seed)
        self.server, self.speed, self.started, self.peer = Server(self.site, lies), args.speed, time.monotonic(), None
        self.site.exact, self.worst = self.exact, 0.0

    def exact(self):
        return (time.monotonic() - self.started) * self.speed

    def go_on(self):
        """Brings the site up to now, step by step, so that no reading is left out."""
        target = self.exact()
        self.worst = max(self.worst, target - self.site.now - STEP)
        while self.site.now + STEP <= target:
            self.site.advance(self.site.now + STEP)
            self.send(self.server.reports(self.exact() - self.site.now))

    def send(self, data):
        if data and self.peer is not None and not self.peer.is_closing():
            self.peer.write(data)

    async def unit(self, reader, writer):
        if self.peer is not None:
            self.peer.close()
        self.peer = writer
        try:
            while data := await reader.read(4096):
                self.go_on()
                self.send(self.server.feed(data))
        except ConnectionError:
            pass
        if self.peer is writer:
            self.peer = None
        writer.close()

    async def hands(self, reader, writer):
        while line := await reader.readline():
            self.go_on()
            writer.write(self.site.control(line.decode()).encode() + b"\n")
            await writer.drain()
        writer.close()


async def main(args):
    world = World(args)
    unit = await asyncio.start_server(world.unit, "127.0.0.1", args.port)
    hands = await asyncio.start_server(world.hands, "127.0.0.1", args.control)
    ports = [s.sockets[0].getsockname()[1] for s in (unit, hands)]
    print(f"unit tcp:127.0.0.1:{ports[0]} control 127.0.0.1:{ports[1]}", flush=True)
    stop = asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
    while not stop.is_set():
        world.go_on()
        await asyncio.sleep(TICK_S)
    print(f"at worst {world.worst:.3f} s late", flush=True)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--port", type=int, default=0, help="TCP port of the unit; 0: any")
    parser.add_argument("--control", type=int, default=0, help="TCP port of the site control; 0: any")
    parser.add_argument("--speed", type=float, default=1.0, help="how much faster than real time")
    parser.add_argument("--seed", type=int, default=1, help="of noise, calibration and what was built")
    parser.add_argument("--fault", metavar="NAME", help="one of: " + ", ".join(FAULTS))
    try:
        asyncio.run(main(parser.parse_args()))
    except KeyboardInterrupt:
        pass
