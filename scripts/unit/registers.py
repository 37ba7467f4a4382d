"""The unit of another make read by registers, served by pymodbus over TCP or as RTU on a pseudo-terminal, in scaled time.

Its table is its own; `registers.toml` states it, written from docs/descriptions.md alone. Air, sensors, alarms and
site are those of this folder. With `--defect` something is wrong at the site's pipes.

    python3 scripts/unit/registers.py --framing rtu --speed 8
"""
import asyncio
import math
import os
import struct
from decimal import Decimal

from pymodbus import FramerType
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from settings import KEYS, SWITCH, TEXT, WORDS, Refused, allowed
from world import World, arguments, pseudo_terminal

ADDRESS, LITRES = 3, 60_000
# Settings from holding register 200 on: key, registers, what one count is.
COUNT = {"draught.hold": Decimal("0.1"), "stage.1.dose": Decimal("0.0005"), "stage.2.dose": Decimal("0.0005"),
         "utc.ahead": Decimal("0.25")}
PLACES, _at = {}, 200
for _key in sorted(KEYS):
    _length = 20 if KEYS[_key][2] is TEXT else 1
    PLACES[_key] = (_at, _length)
    _at += _length
INPUTS = [(100, 6), (110, 5), (120, 6), (140, 7), (150, 2), (160, 10)]
HOLDINGS = [(0, 1), (2, 3), (10, 3), (15, 3), (200, _at - 200)]


def double(value):
    """32 bits, the low register first."""
    low, high = value & 0xFFFF, value >> 16 & 0xFFFF
    return [low, high]


def text(words, length):
    data = words.encode().ljust(2 * length, b"\0")
    return list(struct.unpack(f">{length}H", data))


class Table:
    """The unit's registers, made anew at every request."""

    def __init__(self, site, server):
        self.site, self.server, self.unit = site, server, server.unit

    def inputs(self):
        unit, site = self.unit, self.site
        r = unit.reading(site.now, 0, 0)
        starting = unit.starting(site.now)
        flow = [0x7FFFFFFF if starting else round(q * LITRES * 1e-12 * 1000) for q in r[2]]
        percent = 100 * (1 - math.exp(-r[3][0] * 1e-9))
        table = dict(enumerate(sum((double(q) for q in flow), []), 100))
        table |= {110: 0xFFFF if starting else round(percent / 0.005), 111: 0, 112: round(r[6] / 10), 113: r[7],
                  114: round(r[4] / 100)}
        table |= {120: r[14] | r[15] << 4, 121: r[10], 122: r[11], 123: r[12] | r[13] << 4, 124: r[16],
                  125: r[9] | r[8] << 8}
        held = unit.store.baseline
        flows = [round(q * 1000) for q in held["flow"]] if held else [0] * 3
        table |= dict(enumerate(sum((double(q) for q in flows), []), 140)) | {146: held["number"] if held else 0}
        table |= dict(enumerate(double(int(site.now - unit.booted_at)), 150))
        return table | dict(enumerate(text("G2-000417", 6) + text("1.9.2", 4), 160))

    def holdings(self):
        outputs, store = self.unit.outputs, self.unit.store
        left = max(0, int(outputs.until - self.site.now)) if outputs.until is not None else 0
        clock = self.server.op_wall_clock()
        table = {0: left, 4: clock[1] & 0xFFFF} | {n: 0 for n in range(10, 13)}
        table |= {15 + o: int(o in outputs.driven) for o in range(3)}
        table |= dict(enumerate(double((clock.get(0) or 0) // 1000), 2))
        for key, (at, length) in PLACES.items():
            table |= dict(enumerate(self.kept(key, store.values[key], length), at))
        return table

    @staticmethod
    def kept(key, value, length):
        rule = KEYS[key][2]
        if rule is SWITCH:
            return [int(value)]
        if rule is TEXT:
            return text(value, length)
        if rule is WORDS:
            return [WORDS.index(value)]
        return [int(value / COUNT.get(key, Decimal(1))) & 0xFFFF]

    def meant(self, key, words):
        rule = KEYS[key][2]
        if rule is SWITCH:
            return {0: False, 1: True}[words[0]]
        if rule is TEXT:
            return struct.pack(f">{len(words)}H", *words).rstrip(b"\0").decode()
        if rule is WORDS:
            return WORDS[words[0]]
        signed = words[0] - 0x10000 if words[0] > 0x7FFF else words[0]
        return signed * COUNT.get(key, Decimal(1))

    def write(self, at, words):
        """A holding register, or several of one value."""
        if at == 0 and len(words) == 1:
            return self.inhibit(words[0])
        if at == 2 and len(words) == 2:
            return self.server.op_wall_clock_set((words[0] | words[1] << 16) * 1000)
        if at < 20:
            return self.order(at, words[0] == 1)
        key = next(k for k, place in PLACES.items() if place == (at, len(words)))
        value, old = self.meant(key, words), self.unit.store.values
        if not allowed(key, value):
            raise ValueError(key)
        new = old | {key: value}
        if new["stage.2.dose"] <= new["stage.1.dose"]:
            raise ValueError("the stages must rise")
        self.unit.before = dict(old)
        self.unit.store.change(new)
        if key == "rotor" or key.startswith("tube."):
            self.unit.void_baseline()

    def inhibit(self, seconds):
        store, running = self.unit.store, self.unit.outputs.until is not None
        if seconds == 0:
            return self.server.op_inhibit_release(store.lease) if store.inhibited else None
        return self.server.op_inhibit_renew(store.lease, seconds) if running else self.server.op_inhibit(seconds)

    def order(self, at, on):
        if at >= 15:
            self.server.op_drive(at - 14, 60) if on else self.server.op_undrive(at - 14)
        elif on:
            {10: self.server.op_baseline_take, 11: self.server.op_reset_latches, 12: self.server.op_restart}[at]()


class Bus(World):
    """What a request comes to."""

    def __init__(self, args):
        super().__init__(args)
        self.table = Table(self.site, self.server)

    async def request(self, function, start, address, count, registers, values):
        self.go_on()
        unit = self.table.unit
        if unit.silent(self.site.now) or not self.site.cabled:
            await asyncio.sleep(3600)  # nobody answers
        try:
            if values is None and function not in (3, 4):
                pass  # the library reads back what was written, for the reply
            elif values is None:
                now = self.table.inputs() if function == 4 else self.table.holdings()
                for n in range(count):
                    registers[address - start + n] = now[address + n]
            else:
                self.table.write(address, list(values))
        except Refused as no:
            return ExcCodes.DEVICE_BUSY if no.code == 7 else ExcCodes.DEVICE_FAILURE
        except (ValueError, KeyError, IndexError, StopIteration):
            return ExcCodes.ILLEGAL_VALUE
        return None


def device(world):
    def block(ranges):
        return [SimData(at, values=[0] * n, datatype=DataType.REGISTERS) for at, n in ranges]

    nothing = [SimData(0, values=[False] * 16, datatype=DataType.BITS)]
    return SimDevice(ADDRESS, simdata=(nothing, nothing, block(HOLDINGS), block(INPUTS)), action=world.request)


async def main(args):
    world = Bus(args)
    if args.framing == "tcp":
        server = ModbusTcpServer(device(world), framer=FramerType.SOCKET, address=("127.0.0.1", args.port), ignore_missing_devices=True)
        await server.serve_forever(background=True)
        where = f"tcp:127.0.0.1:{server.transport.sockets[0].getsockname()[1]}"
    else:
        ours, theirs = pair()
        server = ModbusSerialServer(device(world), framer=FramerType.RTU, port=ours, baudrate=19200, ignore_missing_devices=True)
        await server.serve_forever(background=True)
        where = f"serial:{theirs}@19200"
    await world.run(where, args.control)


def pair():
    """Two pseudo-terminals back to back: a port for each end."""
    loop = asyncio.get_running_loop()
    (a, ours), (b, theirs) = pseudo_terminal(), pseudo_terminal()
    for read, write in ((a, b), (b, a)):
        loop.add_reader(read, lambda read=read, write=write: os.write(write, os.read(read, 4096)))
    return ours, theirs


if __name__ == "__main__":
    parser = arguments(__doc__)
    parser.add_argument("--framing", choices=["tcp", "rtu"], default="tcp")
    asyncio.run(main(parser.parse_args()))
