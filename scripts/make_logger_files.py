"""Files as loggers of all kinds store them, with what a reader must make of each: tests/data/logger/.

The values are drawn first and written out in each style by this program alone; the expected counts, sums and moments come
from the values, never from a reader. Python's own random numbers with the seed below; run from the top of the repository.
"""
import datetime as dt
import json
import random
from pathlib import Path

SEED = 20261128
OUT = Path("tests/data/logger")
DICE = random.Random(SEED)
START = dt.datetime(2026, 1, 31, 8, 0, 0)
CASES = []


def flows(n=12, digits=2, level=40.0):
    return [round(level + DICE.gauss(0, 0.4), digits) for _ in range(n)]


def comma(x):
    return str(x).replace(".", ",")


def at(i, step=1.0):
    return START + dt.timedelta(seconds=i * step)


def keep(name, lines, options=None, code="utf-8", end="\n", raw=None, **expected):
    """`lines` as a file; what is expected of it, and the options that a user has to give."""
    text = raw if raw is not None else end.join(lines) + end
    (OUT / name).write_bytes(text if isinstance(text, bytes) else text.encode(code))
    CASES.append({"file": name, "options": options or {}, "expected": expected})


def told(values, step=1.0, gaps=0, first=START, n=None, **more):
    """What the values make of the expected answer."""
    n = len(values) + gaps if n is None else n
    last = first + dt.timedelta(seconds=(n - 1) * step)
    show = lambda t: t.strftime("%Y-%m-%d %H:%M:%S") + (f".{t.microsecond:06d}".rstrip("0") if t.microsecond else "")
    return {"rows": n, "gaps": gaps, "sum": round(sum(values), 6), "first": show(first), "last": show(last), "lasts_s": (n - 1) * step, **more}


def seconds(values, step=1.0, gaps=0, n=None, **more):
    n = len(values) + gaps if n is None else n
    return {"rows": n, "gaps": gaps, "sum": round(sum(values), 6), "lasts_s": (n - 1) * step, **more}


def refused(line, column, says, **more):
    return {"error": says, "line": line, "column": column, **more}


def separators_and_marks():
    v = flows()
    keep("plain.csv", ["time_s,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)],
         **seconds(v, unit="L/min", separator="comma", decimal="point"))
    keep("semicolon-comma.csv", ["Zeit [s];Durchfluss [l/min]"] + [f"{comma(float(i))};{comma(x)}" for i, x in enumerate(v)],
         **seconds(v, unit="l/min", separator="semicolon", decimal="comma"))
    keep("tabs-comma.txt", ["t (s)\tflow (l/min)"] + [f"{comma(i * 0.5)}\t{comma(x)}" for i, x in enumerate(v)],
         **seconds(v, 0.5, unit="l/min", separator="tab", decimal="comma"))
    keep("blanks.txt", ["time_s   flow_l_min"] + [f"{i:8.1f} {x:10.3f}" for i, x in enumerate(v)],
         **seconds(v, unit="l/min", separator="blanks"))
    keep("blanks-comma.txt", ["time_s  flow_l_min"] + [f"{comma(f'{i:8.1f}')} {comma(f'{x:10.3f}')}" for i, x in enumerate(v)],
         **seconds(v, unit="l/min", separator="blanks", decimal="comma"))
    keep("bars.txt", ["time_s|flow_m3/h"] + [f"{i}|{x}" for i, x in enumerate(v)], **seconds(v, unit="m3/h", separator="bar"))
    keep("quoted-comma.csv", ['"Time [s]","Flow [l/min]"'] + [f'"{i}","{comma(x)}"' for i, x in enumerate(v)],
         **seconds(v, unit="l/min", separator="comma", decimal="comma"))
    big = [round(1200 + x, 1) for x in v]
    keep("thousands-point.csv", ['time_s,pressure_Pa'] + [f'{i},"{x:,.1f}"' for i, x in enumerate(big)],
         **seconds(big, unit="Pa", decimal="point"))
    german = lambda x: f"{x:,.1f}".replace(",", "_").replace(".", ",").replace("_", ".")
    keep("thousands-german.csv", ["Zeit [s];Druck [Pa]"] + [f"{i};{german(x)}" for i, x in enumerate(big)],
         **seconds(big, unit="Pa", decimal="comma"))
    keep("thousands-blank.csv", ["temps [s];pression [Pa]"] + [f"{i};{comma(f'{x:,.1f}'.replace(',', chr(0x202f)))}" for i, x in enumerate(big)],
         **seconds(big, unit="Pa", decimal="comma"))
    keep("trailing-separators.csv", ["time_s;flow_l_min;;"] + [f"{i};{comma(x)};;" for i, x in enumerate(v)],
         **seconds(v, unit="l/min", decimal="comma"))
    keep("trailing-in-rows-only.csv", ["time_s,flow_L/min"] + [f"{i},{x}," for i, x in enumerate(v)], **seconds(v, unit="L/min"))
    keep("sep-line.csv", ["sep=;", "time_s;flow_l_min"] + [f"{i};{comma(x)}" for i, x in enumerate(v)],
         **seconds(v, unit="l/min", separator="semicolon"))
    keep("both-commas.csv", ["time_s,flow_l_min"] + [f"{i},{comma(x)}" for i, x in enumerate(v)],
         **refused(2, 6, "3 cells where the headings name 2"))
    three = [f"{1 + i % 9}.{100 + 7 * i}" for i in range(12)]
    keep("three-decimals.csv", ["time_s;flow_l_min"] + [f"{i};{comma(x)}" for i, x in enumerate(three)],
         **refused(2, 3, "can be 1.100 or 1100"))
    keep("three-decimals-stated.csv", ["time_s;flow_l_min"] + [f"{i};{comma(x)}" for i, x in enumerate(three)],
         {"decimal": "comma"}, **seconds([float(x) for x in three], unit="l/min", decimal="comma"))
    keep("mixed-marks.csv", ["time_s;flow_l_min", "0;40,1", "1;40.25", "2;40,3"], **refused(3, 3, "the other decimal mark"))
    tiny = [round(x * 1e-6, 12) for x in v]
    keep("exponents.csv", ["time_s;flow_m3/s"] + [f"{i};{f'{x:.6E}'.replace('.', ',')}" for i, x in enumerate(tiny)],
         **seconds([float(f"{x:.6E}") for x in tiny], unit="m3/s", decimal="comma"))
    minus = [round(x - 40, 2) for x in v]
    keep("true-minus.csv", ["time_s;drift_Pa"] + [f"{i};{comma(x)}".replace("-", "\u2212") for i, x in enumerate(minus)],
         **seconds(minus, unit="Pa"))


def encodings():
    v = flows()
    rows = ["Zeit [s];Durchfluß [m³/h];Temperatur [°C]"] + [f"{i};{comma(x)};{comma(20.5)}" for i, x in enumerate(v)]
    pick = {"column": "Durchfluß"}
    keep("latin-1.csv", rows, pick, code="latin-1", **seconds(v, unit="m³/h", encoding="windows-1252"))
    keep("utf-8-mark.csv", rows, pick, code="utf-8-sig", **seconds(v, unit="m³/h", encoding="UTF-8"))
    keep("utf-16-mark.txt", rows, pick, code="utf-16", **seconds(v, unit="m³/h", encoding="UTF-16LE"))
    keep("utf-16-le.txt", rows, pick, code="utf-16-le", **seconds(v, unit="m³/h", encoding="UTF-16LE"))
    keep("utf-16-be.txt", rows, pick, code="utf-16-be", end="\r\n", **seconds(v, unit="m³/h", encoding="UTF-16BE"))
    keep("stated-encoding.csv", [r.replace("Durchfluß", "Расход") for r in rows], {"column": "2", "encoding": "windows-1251", "unit": "m3/h"},
         raw="\n".join(["Время [с];Расход"] + [f"{i};{comma(x)}" for i, x in enumerate(v)]).encode("windows-1251"),
         **refused(1, 1, "no unit of time"))
    keep("old-mac.csv", ["time_s,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)], end="\r", **seconds(v, unit="L/min"))
    keep("dos-end.csv", [], raw=("\r\n".join(["time_s,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)]) + "\r\n\x1a"), **seconds(v, unit="L/min"))
    keep("spreadsheet.csv", [], raw=b"PK\x03\x04" + bytes(64), **refused(None, None, "spreadsheet"))
    keep("binary.csv", [], raw=bytes(range(256)) * 4, **refused(None, None, "no text"))
    keep("empty.csv", [], raw="", **refused(None, None, "empty"))


def moments():
    v = flows()
    f = lambda form, step=1.0: [at(i, step).strftime(form) for i in range(len(v))]
    zipped = lambda heads, times, by=";": [heads] + [f"{t}{by}{comma(x)}" for t, x in zip(times, v)]
    keep("iso.csv", ["time,flow_L/min"] + [f"{t},{x}" for t, x in zip(f("%Y-%m-%d %H:%M:%S"), v)], **told(v, unit="L/min"))
    keep("rfc3339.csv", ["time_rfc3339,flow_L/min"] + [f"{t}+01:00,{x}" for t, x in zip(f("%Y-%m-%dT%H:%M:%S"), v)],
         **told(v, first=START - dt.timedelta(hours=1), unit="L/min"))
    keep("german-date.csv", zipped("Datum und Zeit;Fluss [l/min]", f("%d.%m.%Y %H:%M:%S")), **told(v, unit="l/min", dates="day-first"))
    keep("short-year.csv", zipped("Zeit;Fluss [l/min]", f("%d.%m.%y %H:%M:%S")), **told(v, unit="l/min"))
    keep("two-columns.csv", ["Datum;Uhrzeit;Fluss [l/min]"] + [f"{t};{comma(x)}" for t, x in zip(f("%d.%m.%Y;%H:%M:%S"), v)],
         **told(v, unit="l/min"))
    keep("two-columns-numbered.csv", ["Nr.;Datum;Zeit;Fluss [l/min];Status"] + [f"{i + 1};{t};{comma(x)};OK" for i, (t, x) in enumerate(zip(f("%d.%m.%Y;%H:%M:%S"), v))],
         **told(v, unit="l/min"))
    keep("clock-before-date.csv", ["Time,Date,flow_L/min"] + [f"{t},{x}" for t, x in zip(f("%H:%M:%S,%Y/%m/%d"), v)], **told(v, unit="L/min"))
    keep("blanks-date.txt", ["Date Time Flow"] + [f"{t} {comma(x)}" for t, x in zip(f("%d.%m.%Y %H:%M:%S"), v)], {"unit": "l/min"},
         **told(v, unit="l/min", separator="blanks"))
    keep("american.csv", ["Time,flow_L/min"] + [f"{t},{x}" for t, x in zip(f("%m/%d/%Y %I:%M:%S %p"), v)], **told(v, unit="L/min", dates="month-first"))
    early = dt.datetime(2026, 4, 3, 8, 0, 0)
    slashes = [f"{(early + dt.timedelta(seconds=i)).strftime('%d/%m/%Y %H:%M:%S')};{comma(x)}" for i, x in enumerate(v)]
    keep("ambiguous-date.csv", ["Time;flow_l_min"] + slashes, **refused(2, 1, "day-first or month-first"))
    keep("ambiguous-stated.csv", ["Time;flow_l_min"] + slashes, {"dates": "day-first"}, **told(v, first=early, unit="l/min", dates="day-first"))
    late = dt.datetime(2026, 4, 12, 23, 59, 55)
    keep("resolved-by-later.csv", ["Time;flow_l_min"] + [f"{(late + dt.timedelta(seconds=i)).strftime('%d/%m/%Y %H:%M:%S')};{comma(x)}" for i, x in enumerate(v)],
         **told(v, first=late, unit="l/min", dates="day-first"))
    keep("contradicting-dates.csv", ["Time;flow_l_min", "13/04/2026 08:00:00;40,1", "04/14/2026 08:00:01;40,2"], **refused(3, 1, "another order"))
    keep("month-names.csv", ["Time,flow_L/min"] + [f"{t},{x}" for t, x in zip(f("%d-%b-%Y %H:%M:%S"), v)], **told(v, unit="L/min"))
    keep("log-style.txt", zipped("Time;flow_l_min", [at(i, 0.5).strftime("%Y-%m-%d %H:%M:%S,") + f"{at(i, 0.5).microsecond // 1000:03d}" for i in range(len(v))]),
         **told(v, 0.5, unit="l/min", decimal="comma"))
    clock = ["Time;flow_l_min"] + [f"{t};{comma(x)}" for t, x in zip(f("%H:%M:%S"), v)]
    keep("clock-only.csv", clock, **{**told(v, unit="l/min"), "first": "08:00:00", "last": "08:00:11"})
    night = dt.datetime(2026, 1, 1, 23, 59, 54)
    keep("over-midnight.csv", ["Time;flow_l_min"] + [f"{(night + dt.timedelta(seconds=i)).strftime('%H:%M:%S')};{comma(x)}" for i, x in enumerate(v)],
         **{**seconds(v, unit="l/min"), "first": "23:59:54", "last": "24:00:05", "backward": 0})
    keep("elapsed-long.csv", ["Elapsed;flow_l_min"] + [f"{30 + i // 60}:{i % 60:02d}:00;{comma(x)}" for i, x in enumerate(v)],
         **{**seconds(v, 60.0, unit="l/min"), "first": "30:00:00"})
    keep("tenths.csv", ["mm:ss;flow_l_min"] + [f"00:{i // 2:02d}.{5 * (i % 2)};{x}" for i, x in enumerate(v)], **seconds(v, 0.5, unit="l/min", decimal="point"))
    keep("compact.csv", ["stamp,flow_L/min"] + [f"{t},{x}" for t, x in zip(f("%Y%m%dT%H%M%SZ"), v)], **told(v, unit="L/min"))
    keep("minutes.csv", ["time_min,flow_L/min"] + [f"{i / 4},{x}" for i, x in enumerate(v)], **seconds(v, 15.0, unit="L/min"))
    keep("no-time-unit.csv", ["t,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)], **refused(1, 1, "have no unit"))
    keep("time-unit-stated.csv", ["t,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)], {"time_unit": "ms"}, **seconds(v, 0.001, unit="L/min"))
    keep("offset-in-some.csv", ["time,flow_L/min", "2026-01-31T08:00:00Z,40.1", "2026-01-31T08:00:01,40.2"], **refused(3, 1, "offset to UTC"))


def around_the_readings():
    v = flows()
    rows = [f"{at(i).strftime('%d.%m.%Y %H:%M:%S')};{comma(x)}" for i, x in enumerate(v)]
    preamble = ["Logger;LX-200", "Seriennummer;4711;;", "Start;31.01.2026 08:00:00", "", "Kommentar: Strang 1, Bohrung 3", ""]
    keep("preamble.csv", preamble + ["Zeit;Fluss [l/min]"] + rows, **told(v, unit="l/min", lines_before=4))
    keep("units-line.csv", ["Site;A", "Zeit;Fluss;Temperatur", "dd.mm.yyyy hh:mm:ss;l/min;°C"] + [r + ";20,5" for r in rows], {"column": "Fluss"},
         **told(v, unit="l/min", lines_before=1))
    keep("footer.csv", ["Zeit;Fluss [l/min]"] + rows + ["", "Mittelwert;40,0", "Ende der Messung"], **told(v, unit="l/min", lines_after=2))
    keep("cut-short.csv", [], raw="\n".join(["Zeit;Fluss [l/min]"] + rows + ["31.01.20"]), **told(v, unit="l/min", lines_after=1))
    keep("headings-again.csv", ["time_s,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v[:6])] + ["time_s,flow_L/min"] + [f"{i + 6},{x}" for i, x in enumerate(v[6:])],
         **seconds(v, unit="L/min"))
    keep("remarks.csv", ["# made by hand", "#time_s,flow_L/min", "# 2026"] + [f"{i},{x}" for i, x in enumerate(v)], **refused(4, 1, "no headings"))
    keep("headings-in-remark.csv", ["# made by hand", "# time_s,flow_L/min"] + [f"{i},{x}" for i, x in enumerate(v)], **seconds(v, unit="L/min"))
    keep("no-headings.csv", [f"{i},{x}" for i, x in enumerate(v)], **refused(1, 1, "no headings"))
    keep("no-unit.csv", ["time_s,flow"] + [f"{i},{x}" for i, x in enumerate(v)], **refused(1, 8, "states no unit"))
    keep("two-of-readings.csv", ["time_s,a_Pa,b_Pa"] + [f"{i},{x},{x}" for i, x in enumerate(v)], **refused(1, 1, "2 columns of numbers", reads=True))
    words = ["---", "NaN", "", "OVERRANGE", "#N/A", "9.91E+37"]
    keep("gaps.csv", ["time_s,flow_L/min"] + [f"{i},{words[i // 2] if i % 2 else x}" for i, x in enumerate(v)],
         **seconds(v[::2], gaps=6, unit="L/min"))
    keep("sentinel.csv", ["time_s,flow_L/min"] + [f"{i},{-9999 if i in (3, 4) else x}" for i, x in enumerate(v)], {"gaps": ["-9999"]},
         **seconds(v[:3] + v[5:], gaps=2, unit="L/min"))
    keep("strange-word.csv", ["time_s,flow_L/min"] + [f"{i},{'blocked' if i == 4 else x}" for i, x in enumerate(v)], **refused(6, 3, "is no number", reads=True))
    keep("bad-time.csv", ["time_s,flow_L/min"] + [f"{'x' if i == 4 else i},{x}" for i, x in enumerate(v)], **refused(6, 1, "is no time"))
    keep("quote-open.csv", ["time_s,flow_L/min", '0,40.1', '1,"40.2', '2,40.3'], **refused(3, 1, "quotation marks"))
    stamps = [0, 0, 1, 1, 2, 2, 1.5, 3, 4, 5, 6, 7]
    keep("equal-and-backward.csv", ["time_s,flow_L/min"] + [f"{t},{x}" for t, x in zip(stamps, v)],
         **{**seconds(v, unit="L/min"), "lasts_s": 7.0, "equal": 3, "backward": 1})
    keep("one-reading.csv", ["time_s,flow_L/min", "0,40.1"], **seconds([40.1], unit="L/min"))
    keep("underscore-unit.csv", ["time_s;pipe_1_flow_l_min"] + [f"{i};{comma(x)}" for i, x in enumerate(v)], **seconds(v, unit="l/min"))
    wide = [[round(x + k, 2) for k in range(30)] for x in v]
    keep("wide.csv", [";".join(["time_s"] + [f"channel {k} [Pa]" for k in range(30)])] + [";".join([str(i)] + [comma(x) for x in row]) for i, row in enumerate(wide)],
         {"column": "channel 17"}, **seconds([row[17] for row in wide], unit="Pa"))


def main():
    OUT.mkdir(parents=True, exist_ok=True)
    for old in OUT.iterdir():
        old.unlink()
    separators_and_marks()
    encodings()
    moments()
    around_the_readings()
    (OUT / "expected.json").write_text(json.dumps(CASES, indent=1, ensure_ascii=False) + "\n")
    print(len(CASES), "files")


if __name__ == "__main__":
    main()
