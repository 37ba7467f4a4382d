"""A unit and a site of another make, served over TCP in scaled time: `python3 scripts/unit --help`.

Written from docs/wire-protocol.md, wire-protocol.cddl and the site control of docs/simulator.md alone, with physics of its own.
"""
import asyncio

from world import World, arguments


class Line(World):
    """The unit's end of its protocol: who is connected."""

    peer = None

    def stepped(self):
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


async def main(args):
    line = Line(args)
    unit = await asyncio.start_server(line.unit, "127.0.0.1", args.port)
    await line.run(f"tcp:127.0.0.1:{unit.sockets[0].getsockname()[1]}", args.control)


if __name__ == "__main__":
    try:
        asyncio.run(main(arguments(__doc__).parse_args()))
    except KeyboardInterrupt:
        pass
