"""Iso-alpha-acids along 50 random temperature histories, integrated by SciPy.

An independent solver (DOP853, relative tolerance 1e-12) integrates the two rate equations of Malowicki &
Shellhammer 2005 for one charge of hops at a time. Writes histories.csv beside this file:

    python3 -m venv v && v/bin/pip install -r ../requirements.txt && v/bin/python make_histories.py

Each line: legs as time:from:to:toward in minutes and degrees Celsius (toward empty for a straight line), the time of
the charge, and the share of its alpha acids that is iso-alpha-acid at the end.
"""
import csv
import math
import pathlib
import random

from scipy.integrate import solve_ivp

random.seed(20261125)


def temperature(leg, share):
    time, start, end, toward = leg
    if toward is None or start == end:
        return start + share * (end - start)
    return toward + (start - toward) * math.exp(share * math.log((end - toward) / (start - toward)))


def share_at_end(legs, at):
    state, begin = [1.0, 0.0], 0.0
    for leg in legs:
        end = begin + leg[0]
        if end > at:
            def rhs(t, y, leg=leg, begin=begin):
                kelvin = temperature(leg, (t - begin) / leg[0]) + 273.15
                made, lost = 7.9e11 * math.exp(-11858 / kelvin), 4.1e12 * math.exp(-12994 / kelvin)
                return [-made * y[0], made * y[0] - lost * y[1]]

            first = max(begin, at)
            state = solve_ivp(rhs, (first, end), state, method="DOP853", rtol=1e-12, atol=1e-20).y[:, -1]
        begin = end
    return float(state[1])


def history():
    boils = random.uniform(90.0, 101.0)
    souring = random.uniform(18.0, 42.0)
    legs = []
    if random.random() < 0.4:
        legs += [
            (random.uniform(5, 40), random.uniform(60, 78), boils, None),
            (random.uniform(5, 30), boils, boils, None),
            (random.uniform(10, 60), boils, souring, random.uniform(2, 17)),
            (random.uniform(600, 6000), souring, souring, None),
        ]
    legs += [(random.uniform(15, 90), souring, boils, None), (random.uniform(5, 90), boils, boils, None)]
    now = boils
    if random.random() < 0.6:
        now = random.uniform(70, boils)
        legs.append((random.uniform(5, 60), boils, now, random.choice([None, 20.0])))
    legs.append((random.uniform(4, 60), now, random.uniform(19, 30), random.uniform(2, 17)))
    return legs


with open(pathlib.Path(__file__).with_name("histories.csv"), "w", newline="") as out:
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["history", "legs", "charge_min", "share"])
    for number in range(50):
        legs = history()
        text = ";".join(":".join("" if x is None else repr(x) for x in leg) for leg in legs)
        total = sum(leg[0] for leg in legs)
        # From the first moment to the start of the last chill: later charges give too little to be told.
        for at in [0.0] + [random.uniform(0.0, total - legs[-1][0]) for _ in range(random.randint(0, 3))]:
            table.writerow([number, text, repr(at), repr(share_at_end(legs, at))])
