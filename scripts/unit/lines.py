"""The unit of another make that prints lines and takes nothing, over TCP or on a pseudo-terminal, in scaled time.

What it prints is its own; `lines.toml` states it, written from docs/descriptions.md alone. Its settings, outputs and the rest a
person reads and does at its display and keys, through the site control. With `--defect` something is wrong at the site's pipes.

    python3 scripts/unit/lines.py --over pty --speed 8
"""
import asyncio
import math
import os

from device import STEP
from watch import INLETS
from world import World, arguments, pseudo_terminal

LINE_S, BANNER_S = 1.0, 5.0


class Printer(World):
    """Prints to whoever listens."""

    def __init__(self, args):
        super().__init__(args)
        self.peers, self.end, self.printed = [], None, 0

    def stepped(self):
        site, unit = self.site, self.server.unit
        steps = round(site.now / STEP)
        if unit.silent(site.now) or not site.cabled or steps % round(LINE_S / STEP):
            return
        r = unit.reading(site.now, 0, 0)
        if not unit.starting(site.now):
            flows = ";".join(f"{q * 60_000 * 1e-12:7.1f}" for q in r[2])
            decibel = r[3][0] * 1e-9 * 10 / math.log(10)
            words = f"F{r[10]:04X}/{r[11]:04X} L{r[14] | r[15] << 4:02X} T{r[12] | r[13] << 4:02X} O{r[9]:X} S{r[16]:02X}"
            self.put(f"{int(site.now):08d} Q{flows} L/min D{decibel:8.4f} dB/m {words}")
        if steps % round(BANNER_S / STEP) == 0:
            self.put("# GALE 2  S/N G2-000417  V1.9.2")

    def put(self, line):
        data = line.encode() + b"\r\n"
        for peer in self.peers:
            peer.write(data)
        if self.end is not None:
            try:
                os.write(self.end, data)
            except BlockingIOError:
                pass  # nobody reads

    async def listened(self, reader, writer):
        self.peers.append(writer)
        try:
            while await reader.read(4096):
                pass
        except ConnectionError:
            pass
        self.peers.remove(writer)
        writer.close()


async def main(args):
    printer = Printer(args)
    assert INLETS == 3
    if args.over == "tcp":
        unit = await asyncio.start_server(printer.listened, "127.0.0.1", args.port)
        where = f"tcp:127.0.0.1:{unit.sockets[0].getsockname()[1]}"
    else:
        printer.end, name = pseudo_terminal()
        where = f"serial:{name}@9600"
    await printer.run(where, args.control)


if __name__ == "__main__":
    parser = arguments(__doc__)
    parser.add_argument("--over", choices=["tcp", "pty"], default="tcp")
    asyncio.run(main(parser.parse_args()))
