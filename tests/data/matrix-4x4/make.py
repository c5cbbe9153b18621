#!/usr/bin/env python3
"""Writes the netlists matrix.cir and line.cir, runs ngspice on them, and writes matrix.csv, line.csv and peaks.csv.

Needs Python 3 and ngspice on the path; run it in this folder. The tests need neither.
"""

import pathlib
import subprocess
import tempfile

ROWS, COLUMNS = 4, 4
ROW_OHM, COLUMN_OHM, DRIVER_OHM = 40e3, 24e3, 6e3
PIXEL_F = 50e-12

# Edges are ramps of 2 ns about their moment, which lies between two moments of the table.
RAMP_S = 2e-9
START_S = 0.5e-6
TICK_S = 10e-6
END_S = 46e-6
STEP_S = 1e-6

SELECT_V, DATA_V, STROKE_V = 12.0, 4.0, 15.0
# Widths of the pulses whose peaks are wanted; the table is of one tick.
PEAK_TICKS = (0.2, 0.5, 1, 2)
# Ticks on, of two, of each column in the slots of row 1 and of row 2.
SLOTS = [(1, (0, 1, 2, 1)), (2, (2, 0, 1, 1))]


def still():
    return [[(0.0, 0.0)] for _ in range(ROWS)], [[(0.0, 0.0)] for _ in range(COLUMNS)]


def pulse(volt, ticks):
    return [(0.0, 0.0), (START_S, volt), (START_S + ticks * TICK_S, 0.0)]


def cases():
    """Name, rows, columns; a line is a list of (moment, voltage from then on)."""
    rows, columns = still()
    rows[1] = pulse(SELECT_V, 2)
    yield "select", rows, columns
    rows, columns = still()
    columns[2] = pulse(-DATA_V, 1)
    yield "data", rows, columns
    rows, columns = still()
    rows = [pulse(STROKE_V, 2) for _ in range(ROWS)]
    yield "stroke", rows, columns
    rows, columns = still()
    for slot, (row, ticks) in enumerate(SLOTS):
        begin = START_S + 2 * slot * TICK_S
        rows[row] += [(begin, SELECT_V), (begin + 2 * TICK_S, 0.0)]
        for column, on in enumerate(ticks):
            for tick in range(2):
                columns[column].append((begin + tick * TICK_S, -DATA_V if tick < on else DATA_V))
    for column in columns:
        column.append((START_S + 4 * TICK_S, 0.0))
    yield "slots", rows, columns


def source(name, node, levels):
    points, before = ["0 0"], 0.0
    for moment, volt in levels:
        if volt != before:
            points += [f"{moment - RAMP_S / 2:.10g} {before:g}", f"{moment + RAMP_S / 2:.10g} {volt:g}"]
            before = volt
    return f"V{name} {node} 0 PWL({' '.join(points)})"


def line(letter, index, ohm, pixels):
    """Driver, half a pixel's resistance, then a pixel's between neighbours."""
    node = lambda pixel: f"{letter}{index}_{pixel}"
    yield f"R{letter}{index}_d {letter}{index} {letter}{index}_in {DRIVER_OHM:g}"
    yield f"R{letter}{index}_0 {letter}{index}_in {node(0)} {ohm / pixels / 2:g}"
    for pixel in range(1, pixels):
        yield f"R{letter}{index}_{pixel} {node(pixel - 1)} {node(pixel)} {ohm / pixels:g}"


def netlist(name, rows, columns):
    yield f"* {name}: 4 x 4 pixels between resistive rows and columns"
    for i, levels in enumerate(rows):
        yield source(f"r{i}", f"r{i}", levels)
        yield from line("r", i, ROW_OHM, COLUMNS)
    for j, levels in enumerate(columns):
        yield source(f"c{j}", f"c{j}", levels)
        yield from line("c", j, COLUMN_OHM, ROWS)
    for i in range(ROWS):
        for j in range(COLUMNS):
            yield f"C{i}{j} r{i}_{j} c{j}_{i} {PIXEL_F:g}"
    # A way to earth for the operating point.
    yield "Rearth r0_0 0 1e15"
    yield ".options reltol=1e-6 abstol=1e-15 vntol=1e-9 chgtol=1e-18 method=trap"
    yield f".tran {STEP_S:g} {END_S:g} 0 2n"


def distributed(ticks):
    yield "* one distributed RC line: R 10 kohm, C 1 nF, driver 3 kohm, load 0.2 nF; taps at the driver, the middle, the end"
    yield source("in", "in", pulse(1.0, ticks))
    yield "Rd in a 3e3"
    yield "O1 a 0 b 0 half"
    yield "O2 b 0 c 0 half"
    yield "CL c 0 0.2n"
    yield ".model half ltra r=10e3 c=1n l=0 g=0 len=0.5"
    yield ".options reltol=1e-6 abstol=1e-15 vntol=1e-9 chgtol=1e-18 trtol=1"
    yield f".tran {STEP_S:g} {END_S:g} 0 2n"


def run(lines, voltages):
    """The voltages at every STEP_S, and the largest of each at any step of the simulator."""
    with tempfile.TemporaryDirectory() as folder:
        out, peaks = pathlib.Path(folder, "out"), pathlib.Path(folder, "peaks")
        largest = [f"print vecmax({v}) >> {peaks}" for v in voltages]
        names = [f"let w{k} = {v}" for k, v in enumerate(voltages)]
        wanted = " ".join(f"w{k}" for k in range(len(voltages)))
        control = [".control", "set numdgt=9", "run", *largest, "linearize", *names, "set wr_singlescale",
                   f"wrdata {out} {wanted}", "quit 0", ".endc", ".end"]
        deck = pathlib.Path(folder, "deck.cir")
        deck.write_text("\n".join([*lines, *control]) + "\n")
        subprocess.run(["ngspice", "-b", str(deck)], check=True, capture_output=True)
        table = [[float(x) for x in row.split()] for row in out.read_text().splitlines()]
        return table, [float(line.split("=")[1]) for line in peaks.read_text().splitlines()]


def text(values):
    return ",".join(f"{v + 0.0:.6f}" for v in values).replace("-0.000000", "0.000000")


def main():
    pixels = [f"v(r{i}_{j})-v(c{j}_{i})" for i in range(ROWS) for j in range(COLUMNS)]
    table = ["case,t_us," + ",".join(f"v{i}{j}" for i in range(ROWS) for j in range(COLUMNS))]
    circuits = []
    for name, rows, columns in cases():
        lines = list(netlist(name, rows, columns))
        circuits += [*lines, ".end", ""]
        for row in run(lines, pixels)[0]:
            table.append(f"{name},{row[0] * 1e6:.0f},{text(row[1:])}")
    pathlib.Path("matrix.cir").write_text("\n".join(circuits))
    pathlib.Path("matrix.csv").write_text("\n".join(table) + "\n")

    pathlib.Path("line.cir").write_text("\n".join([*distributed(1), ".end", ""]))
    peaks = ["width_us,driver,middle,end"]
    for ticks in PEAK_TICKS:
        rows, largest = run(list(distributed(ticks)), ["v(a)", "v(b)", "v(c)"])
        peaks.append(f"{ticks * TICK_S * 1e6:g},{text(largest)}")
        if ticks == 1:
            table = ["t_us,driver,middle,end"] + [f"{row[0] * 1e6:.0f},{text(row[1:])}" for row in rows]
            pathlib.Path("line.csv").write_text("\n".join(table) + "\n")
    pathlib.Path("peaks.csv").write_text("\n".join(peaks) + "\n")


main()
