"""How many times faster Tartwright proves the best salts of optimum.csv than an exact solver.

Same questions, same machine, one after the other: SCIP through its binding, only its own solving timed;
Tartwright as the native program `optimum`, which CARGO (or cargo) builds with the profile for
measurements and which checks each recipe against the table. Prints also what rounding loses.
Writes no data; adds its rows to the file that TARTWRIGHT_MEASURES names, if it does; ends with a failure
when 95 of 100 recipes take more than 2 ms.
"""

import os
import statistics
import subprocess
import sys
from pathlib import Path

import optimum

MOST_NANOSECONDS = 2e6
ROOT = Path(__file__).resolve().parents[3]
DATA = Path(__file__).with_name("optimum.csv")


def tartwright():
    """Count, median, 95th percentile and longest, by kind of question and what was timed."""
    cargo = os.environ.get("CARGO", "cargo")
    command = [cargo, "run", "--quiet", "--locked", "--profile", "bench", "--package", "calc"]
    command += ["--example", "optimum", "--", str(DATA)]
    printed = subprocess.run(command, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True).stdout
    rows = (line.split("\t") for line in printed.splitlines())
    return {(kind, what): [float(number) for number in numbers] for kind, what, *numbers in rows}


def solver():
    """Seconds for each question."""
    return [optimum.Problem(*asked).solved()[1] for _, asked in optimum.questions()]


def main():
    own = tartwright()
    seconds = sorted(solver())
    count, half, most, longest = own["all", "best"]
    print(f"{count:.0f} questions, proven best recipe:")
    print(f"  Tartwright median {half / 1e3:.1f} us, 95 of 100 within {most / 1e3:.1f} us, longest {longest / 1e3:.1f} us")
    middle, high = statistics.median(seconds), seconds[-(-95 * len(seconds) // 100) - 1]
    print(f"  SCIP       median {middle * 1e3:.0f} ms, 95 of 100 within {high * 1e3:.0f} ms, longest {seconds[-1] * 1e3:.0f} ms")
    print(f"  ratio      {middle * 1e9 / half:.0f} of the medians, {high * 1e9 / most:.0f} of the 95th percentiles")
    if file := os.environ.get("TARTWRIGHT_MEASURES"):
        with Path(file).open("a") as rows:
            rows.write(f"salts: times as fast as SCIP, medians\t{middle * 1e9 / half:.0f}\ttimes\n")
            rows.write(f"salts: times as fast as SCIP, 95 of 100\t{high * 1e9 / most:.0f}\ttimes\n")
            rows.write(f"salts: SCIP, median\t{middle * 1e3:.1f}\tms\n")
            rows.write(f"salts: Tartwright, median\t{half / 1e3:.1f}\tus\n")
            rows.write(f"salts: Tartwright, 95 of 100\t{most / 1e3:.1f}\tus\t{MOST_NANOSECONDS / 1e3:.0f}\n")
            rows.write(f"salts: Tartwright, longest\t{longest / 1e3:.1f}\tus\t{MOST_NANOSECONDS / 1e3:.0f}\n")
    _, half, most_all, longest = own["all", "answer"]
    print(
        "With a simpler recipe and what would reach the ions missed: "
        f"median {half / 1e3:.1f} us, 95 of 100 within {most_all / 1e3:.1f} us, longest {longest / 1e3:.1f} us"
    )
    for what, said in [("rounded", "all salts at hand"), ("rounded_same", "the salts of the best recipe")]:
        _, half, high, longest = own["all", what]
        print(
            f"Rounding the continuous optimum of {said}: {half:.3f} times the best cost at the median, "
            f"{high:.3f} in 5 of 100, at worst {longest:.2f}"
        )
    if most > MOST_NANOSECONDS:
        sys.exit("more than 2 ms")


if __name__ == "__main__":
    main()
