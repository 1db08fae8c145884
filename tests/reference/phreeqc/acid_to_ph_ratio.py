"""How many times faster Tartwright brings the waters of acid_to_ph.csv to pH 5.4 than PHREEQC.

Same waters, same machine, one after the other: PHREEQC through its binding, one call for one water
and acid, its database loaded and the text of the call made beforehand; Tartwright as the native
program `speciation`, which CARGO (or cargo) builds with the profile for measurements. Writes no
data; adds its rows to the file that TARTWRIGHT_MEASURES names, if it does; ends with a failure when the
ratio is below 300.
"""

import os
import subprocess
import sys
from pathlib import Path
from time import perf_counter

import acid_to_ph

LEAST = 300
RUNS = 5
ROOT = Path(__file__).resolve().parents[3]
DATA = Path(__file__).with_name("acid_to_ph.csv")


def listed_waters():
    lines = [line for line in DATA.read_text().splitlines() if not line.startswith("#")]
    return [[float(cell) for cell in line.split(",")[:8]] for line in lines[1:]]


def phreeqc(engine, calls):
    """Mean seconds for a call."""
    begun = perf_counter()
    for call in calls:
        engine.ip.run_string(call)
    return (perf_counter() - begun) / len(calls)


def tartwright():
    """Mean seconds for a water, by acid."""
    cargo = os.environ.get("CARGO", "cargo")
    command = [cargo, "run", "--quiet", "--locked", "--profile", "bench", "--package", "calc"]
    command += ["--example", "speciation", "--", str(DATA)]
    printed = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    pairs = (line.split() for line in printed.splitlines())
    return {acid: float(nanoseconds) * 1e-9 for acid, nanoseconds in pairs}


def main():
    rows = listed_waters()
    databases = dict(zip(("same simplifications", "full database"), acid_to_ph.engines()))
    calls = {acid: [acid_to_ph.titration(row, formula) for row in rows] for acid, formula in acid_to_ph.ACIDS.items()}
    tartwright()
    # In turns, each with its best run: other work on the machine only slows.
    own, other = {}, {}
    for _ in range(RUNS):
        for acid, seconds in tartwright().items():
            own[acid] = min(own.get(acid, seconds), seconds)
        for database, engine in databases.items():
            for acid in calls:
                seconds = phreeqc(engine, calls[acid])
                other[database, acid] = min(other.get((database, acid), seconds), seconds)
    print(f"{len(rows)} waters to pH {acid_to_ph.TARGET}, mean for one, best of {RUNS} runs:")
    for (database, acid), seconds in other.items():
        print(
            f"  {acid:<10} Tartwright {own[acid] * 1e6:5.2f} us, PHREEQC ({database}) "
            f"{seconds * 1e6:5.0f} us: {seconds / own[acid]:4.0f} times"
        )
    if file := os.environ.get("TARTWRIGHT_MEASURES"):
        with Path(file).open("a") as rows_file:
            for (database, acid), seconds in other.items():
                what = f"water: times as fast as PHREEQC, {acid} acid, {database}"
                rows_file.write(f"{what}\t{seconds / own[acid]:.0f}\ttimes\t>={LEAST}\n")
                rows_file.write(f"water: PHREEQC, {acid} acid, {database}\t{seconds * 1e6:.0f}\tus\n")
            for acid, seconds in own.items():
                rows_file.write(f"water: Tartwright, {acid} acid\t{seconds * 1e6:.2f}\tus\n")
    lowest = min(seconds / own[acid] for (_, acid), seconds in other.items())
    if lowest < LEAST:
        sys.exit(f"only {lowest:.0f} times as fast; at least {LEAST} are expected")


if __name__ == "__main__":
    main()
