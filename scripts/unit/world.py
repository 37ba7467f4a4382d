"""The site's time, which runs as fast as is wanted, and the hands that come through the site control.

Not here: how the unit is reached (`__main__.py`, `registers.py`, `lines.py`).
"""
import argparse
import asyncio
import os
import signal
import sys
import time
import tty
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parent.parent / "wire"))

from device import STEP  # noqa: E402
from faults import FAULTS, Lies  # noqa: E402
from serve import Server  # noqa: E402
from site_model import Site  # noqa: E402

TICK_S = 0.004  # real time between looks at the clock
DEFECTS = {
    "hole-blocked": lambda pipes: pipes[0].holes.__setitem__(1, 1e-5),
    "end-cap-missing": lambda pipes: pipes[1].holes.__setitem__(-1, 21e-3),
    "pipe-off": lambda pipes: setattr(pipes[1], "off", True),
}


class World:
    """The site's time, and what is done there."""

    def __init__(self, args):
        lies = Lies(args.fault)
        self.site = Site(lies, args.seed)
        if args.defect:
            DEFECTS[args.defect](self.site.network.pipes)
        self.server, self.speed, self.started, self.worst = Server(self.site, lies), args.speed, time.monotonic(), 0.0
        self.site.exact, self.site.server = self.exact, self.server

    def exact(self):
        return (time.monotonic() - self.started) * self.speed

    def stepped(self):
        """After each step of the site."""

    def go_on(self):
        """Brings the site up to now, step by step, so that no reading is left out."""
        target = self.exact()
        self.worst = max(self.worst, target - self.site.now - STEP)
        while self.site.now + STEP <= target:
            self.site.advance(self.site.now + STEP)
            self.stepped()

    async def hands(self, reader, writer):
        while line := await reader.readline():
            self.go_on()
            writer.write(self.site.control(line.decode()).encode() + b"\n")
            await writer.drain()
        writer.close()

    async def run(self, where, control):
        """Says where the unit is, and goes on until it is told to end."""
        hands = await asyncio.start_server(self.hands, "127.0.0.1", control)
        print(f"unit {where} control 127.0.0.1:{hands.sockets[0].getsockname()[1]}", flush=True)
        stop = asyncio.Event()
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
        while not stop.is_set():
            self.go_on()
            await asyncio.sleep(TICK_S)
        print(f"at worst {self.worst:.3f} s late", flush=True)
        os._exit(0)  # requests that are never answered may still be under way


def arguments(about):
    """What every way to reach the unit takes."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--port", type=int, default=0, help="TCP port of the unit; 0: any")
    parser.add_argument("--control", type=int, default=0, help="TCP port of the site control; 0: any")
    parser.add_argument("--speed", type=float, default=1.0, help="how much faster than real time")
    parser.add_argument("--seed", type=int, default=1, help="of noise, calibration and what was built")
    parser.add_argument("--fault", metavar="NAME", help="one of: " + ", ".join(FAULTS))
    parser.add_argument("--defect", metavar="NAME", help="one of: " + ", ".join(DEFECTS))
    return parser


def pseudo_terminal():
    """One end that is not blocked, and the name of the other."""
    ours, theirs = os.openpty()
    tty.setraw(ours), tty.setraw(theirs)
    os.set_blocking(ours, False)
    return ours, os.ttyname(theirs)
