"""Random questions about salts, and the proven best answers of a general mixed-integer solver.

Writes optimum.csv beside this file; with another path as argument, there. What is minimised, over
whole numbers of steps n of each free salt, 0 <= n <= most:

    sum over the five ions of  (sum - range)^2 + PULL (sum - middle)^2
    + (1 + PULL) potassium^2 + FEE * number of salts with n > 0

where sum = start + columns * n is what the water holds of an ion, in widths of its range; the distance
is to the middle half of the range (of a range that begins at nothing: to all but its upper quarter,
with the middle at nothing); potassium is what the free salts bring, in units of 50 mg/L. The solver
(SCIP) gets it times 1000 as a convex quadratic constraint, with a continuous unknown in each range;
its whole numbers are then reckoned anew in floating point, and that is the cost in the table. The solver
keeps its constraints to 1e-6, so its answer may cost about 1e-9 more than the best. Where it does not
close its last gap in time, it is asked again with 100 in place of 1000.

Beside it what rounding loses. `rounded`: the continuous optimum of the same distance (bounded least
squares of SciPy, all salts at hand) rounded to whole steps. `rounded_same`: the same with only the
salts that the best answer uses, so that nothing but the rounding is left.
"""

import math
import random
import sys
from importlib.metadata import version
from pathlib import Path
from time import perf_counter

import numpy
import periodictable
from pyscipopt import Model, quicksum
from scipy.optimize import lsq_linear

SEED = 20_250_117
PULL, FEE, NARROWEST, POTASSIUM = 0.02, 0.01, 10.0, 50.0
SCALES = (1e3, 1e2)
IONS = ["Ca", "Mg", "Na", "Cl", "SO4", "K"]

# Abridged atomic weights, five figures as the IUPAC gives them.
WEIGHT = {e: float(f"{getattr(periodictable, e).mass:.5g}") for e in "H C O Na Mg S Cl K Ca".split()}
WATER = {"H": 2, "O": 1}
# Elements of one formula unit, crystal water, and the ions that count.
SALTS = {
    "gypsum": ({"Ca": 1, "S": 1, "O": 4}, 2, {"Ca": 1, "SO4": 1}),
    "calcium_chloride_dihydrate": ({"Ca": 1, "Cl": 2}, 2, {"Ca": 1, "Cl": 2}),
    "calcium_chloride_anhydrous": ({"Ca": 1, "Cl": 2}, 0, {"Ca": 1, "Cl": 2}),
    "calcium_chloride_solution": ({"Ca": 1, "Cl": 2}, 0, {"Ca": 1, "Cl": 2}),
    "calcium_chloride_hexahydrate": ({"Ca": 1, "Cl": 2}, 6, {"Ca": 1, "Cl": 2}),
    "epsom": ({"Mg": 1, "S": 1, "O": 4}, 7, {"Mg": 1, "SO4": 1}),
    "magnesium_sulfate_anhydrous": ({"Mg": 1, "S": 1, "O": 4}, 0, {"Mg": 1, "SO4": 1}),
    "magnesium_chloride": ({"Mg": 1, "Cl": 2}, 6, {"Mg": 1, "Cl": 2}),
    "table_salt": ({"Na": 1, "Cl": 1}, 0, {"Na": 1, "Cl": 1}),
    "sodium_sulfate": ({"Na": 2, "S": 1, "O": 4}, 0, {"Na": 2, "SO4": 1}),
    "potassium_chloride": ({"K": 1, "Cl": 1}, 0, {"K": 1, "Cl": 1}),
    "potassium_sulfate": ({"K": 2, "S": 1, "O": 4}, 0, {"K": 2, "SO4": 1}),
    "baking_soda": ({"Na": 1, "H": 1, "C": 1, "O": 3}, 0, {"Na": 1}),
    "chalk": ({"Ca": 1, "C": 1, "O": 3}, 0, {"Ca": 1}),
}
BASIC = {"baking_soda", "chalk"}
FREE = [salt for salt in SALTS if salt not in BASIC]
# Ranges in mg/L of Ca, Mg, Na, Cl, SO4.
GOALS = [
    [(50, 110), (0, 25), (0, 40), (30, 70), (120, 220)],
    [(50, 100), (0, 25), (0, 60), (60, 110), (60, 110)],
    [(50, 120), (0, 25), (0, 80), (120, 200), (20, 80)],
    [(50, 120), (0, 25), (150, 300), (250, 450), (20, 80)],
]


def weight(elements):
    return sum(count * WEIGHT[element] for element, count in elements.items())


def brings(salt):
    """mg/L of each ion from one gram in one litre."""
    elements, crystal, ions = SALTS[salt]
    molar = weight(elements) + crystal * weight(WATER)
    of_ion = {"SO4": WEIGHT["S"] + 4 * WEIGHT["O"]}
    return [1e3 * ions.get(ion, 0) * of_ion.get(ion, WEIGHT.get(ion, 0)) / molar for ion in IONS]


def question(rng, kind):
    """A random question. Salts are (name, share, locked or None, most or None)."""
    goal = rng.choice(GOALS)
    if rng.random() < 0.25 or kind == "own ranges":
        goal = []
        for low, span in [(150, 80), (40, 30), (150, 150), (300, 200), (300, 200)]:
            bottom = 0 if rng.random() < 0.2 else round(rng.uniform(0, low))
            goal.append((bottom, bottom + round(rng.uniform(0 if kind == "own ranges" else 10, span))))
    tops = (40, 10, 25, 40, 40) if rng.random() < 0.5 else (200, 40, 150, 300, 300)
    if kind == "out of reach":
        tops = (300, 60, 300, 500, 500)
    water = [round(rng.uniform(0, top), 1) for top in tops]
    litres = round(rng.uniform(5, 60), 1)
    step = {"coarse": rng.choice([0.5, 1.0, 2.0]), "fine": 0.01}.get(kind, 0.1)
    count = {"few": rng.randint(1, 3), "seven": 7, "maxima": 7, "fine": rng.randint(4, 7)}.get(
        kind, rng.randint(3, 7)
    )
    if kind == "out of reach":
        count = rng.randint(1, 4)
    names = rng.sample(FREE, count)
    if kind == "same ions":
        # These bring four ions in five proportions: their columns depend on each other.
        names = ["gypsum", "calcium_chloride_dihydrate", "table_salt", "sodium_sulfate", "epsom", "magnesium_chloride"]
        names.append(rng.choice([salt for salt in FREE if salt not in names]))
        rng.shuffle(names)
    salts = []
    for name in names:
        share = 0.33 if name == "calcium_chloride_solution" else 1.0
        if rng.random() < 0.3:
            share = round(share * rng.uniform(0.8, 1), 3)
        most = None
        if kind == "maxima" or rng.random() < 0.1:
            most = round(step * rng.randint(0, 60), 2)
        salts.append((name, share, None, most))
    if kind == "locks":
        for place in rng.sample(range(count), rng.randint(1, 2)):
            name, share, _, most = salts[place]
            salts[place] = (name, share, round(rng.uniform(0, 0.3) * litres, 2), most)
        salts.append((rng.choice(sorted(BASIC)), 0.5, round(rng.uniform(0, 0.2) * litres, 2), None))
    return goal, water, litres, step, salts


class Problem:
    """The question in the numbers that are minimised."""

    def __init__(self, goal, water, litres, step, salts):
        held = numpy.array(water, dtype=float)
        for name, share, locked, _ in salts:
            if locked is not None:
                held += numpy.array(brings(name)[:5]) * share * locked / litres
        low, high = (numpy.array(end, dtype=float) for end in zip(*goal))
        width = numpy.append(numpy.maximum(high - low, NARROWEST), POTASSIUM)
        quarter = (high - low) / 4
        asks = low > 0
        # No sum is below nothing: that bound stands for none.
        self.low = numpy.append(numpy.where(asks, low + quarter, 0), 0) / width
        self.high = numpy.append(high - quarter, 0) / width
        self.middle = numpy.append(numpy.where(asks, (low + high) / 2, 0), 0) / width
        self.start = numpy.append(held, 0) / width
        self.free = [place for place, salt in enumerate(salts) if salt[2] is None and salt[0] not in BASIC]
        chosen = [salts[place] for place in self.free]
        self.columns = [
            numpy.array(brings(name)) * share * step / litres / width for name, share, _, _ in chosen
        ]
        # More than this of one salt alone costs more than none of any.
        nothing = self.distance([0] * len(chosen))
        top = numpy.minimum(self.high + math.sqrt(nothing), self.middle + math.sqrt(nothing / PULL)) - self.start
        self.most = []
        for (_, _, _, most), column in zip(chosen, self.columns):
            bound = min(t / c for t, c in zip(top, column) if c > 0)
            if most is not None:
                bound = min(bound, most / step + 1e-9)
            self.most.append(max(0, math.floor(bound)))

    def sums(self, steps):
        sums = self.start.copy()
        for column, count in zip(self.columns, steps):
            sums = sums + column * count
        return sums

    def distance(self, steps):
        sums = self.sums(steps)
        out = sums - numpy.clip(sums, self.low, self.high)
        return float(out @ out + PULL * (sums - self.middle) @ (sums - self.middle))

    def cost(self, steps):
        return self.distance(steps) + FEE * sum(1 for count in steps if count > 0)

    def solved(self):
        """The whole steps of the exact solver and the seconds it took."""
        for scale in SCALES:
            model, steps = self.model(scale)
            begun = perf_counter()
            model.optimize()
            seconds = perf_counter() - begun
            if model.getStatus() == "optimal":
                return [round(model.getVal(step)) for step in steps], seconds
        raise RuntimeError(f"the solver ended with {model.getStatus()}")

    def model(self, scale):
        """The problem in the solver's terms, and its unknowns."""
        model = Model()
        model.hideOutput()
        model.setParam("limits/gap", 0.0)
        model.setParam("limits/absgap", 0.0)
        model.setParam("limits/time", 30)
        model.setParam("parallel/maxnthreads", 1)
        steps = [model.addVar(vtype="I", lb=0, ub=most) for most in self.most]
        used = [model.addVar(vtype="B") for _ in steps]
        for step, on, most in zip(steps, used, self.most):
            model.addCons(step <= most * on)
        terms = []
        for ion in range(6):
            total = model.addVar(lb=-1e6, ub=1e6)
            model.addCons(
                total == self.start[ion] + quicksum(float(column[ion]) * step for column, step in zip(self.columns, steps))
            )
            within = model.addVar(lb=float(self.low[ion]), ub=float(self.high[ion]))
            terms.append((total - within) * (total - within))
            terms.append(PULL * (total - float(self.middle[ion])) * (total - float(self.middle[ion])))
        cost = model.addVar(lb=0, ub=None)
        model.addCons(scale * quicksum(terms) <= cost)
        model.setObjective(cost + scale * FEE * quicksum(used))
        return model, steps

    def rounded(self, places):
        """The continuous optimum over some salts, rounded."""
        steps = [0] * len(self.columns)
        places = [place for place in places if self.most[place] > 0]
        if places:
            by = numpy.array([self.columns[place] for place in places]).T
            slack = -numpy.eye(6)
            matrix = numpy.block([[by, slack], [math.sqrt(PULL) * by, numpy.zeros((6, 6))]])
            right = numpy.concatenate([-self.start, math.sqrt(PULL) * (self.middle - self.start)])
            lower = numpy.concatenate([numpy.zeros(len(places)), self.low])
            upper = numpy.concatenate([[self.most[place] for place in places], self.high])
            # The method wants room between the bounds.
            found = lsq_linear(matrix, right, (lower, upper + 1e-12), tol=1e-12, method="bvls").x
            for place, count in zip(places, found):
                steps[place] = min(round(float(count)), self.most[place])
        return steps


def cells(numbers):
    return " ".join(repr(float(number)) if number != int(number) else str(int(number)) for number in numbers)


def row(kind, asked):
    goal, water, litres, step, salts = asked
    problem = Problem(*asked)
    best, seconds = problem.solved()
    every = problem.rounded(range(len(best)))
    same = problem.rounded([place for place, count in enumerate(best) if count > 0])
    text = [
        f"{name} {share!r} {'-' if locked is None else repr(locked)} {'-' if most is None else repr(most)}"
        for name, share, locked, most in salts
    ]
    return ",".join(
        [
            kind,
            cells([end for ends in goal for end in ends]),
            cells(water),
            repr(litres),
            repr(step),
            "; ".join(text),
            cells(problem.start),
            cells(problem.low),
            cells(problem.high),
            cells(problem.middle),
            "; ".join(cells(column) for column in problem.columns),
            cells(problem.most),
            cells(best),
            repr(problem.cost(best)),
            f"{seconds:.4f}",
            repr(problem.cost(every)),
            repr(problem.cost(same)),
        ]
    )


KINDS = {
    "seven": 50, "several": 50, "few": 20, "maxima": 25, "locks": 25, "same ions": 25,
    "out of reach": 20, "own ranges": 20, "coarse": 25, "fine": 10,
}
HEADER = (
    "kind,ranges (mg/L),water (mg/L of Ca Mg Na Cl SO4),litres,step (g),salts (name share locked most),"
    "start,low,high,middle,columns,most steps,best steps,cost,solver seconds,rounded,rounded_same"
)


def questions():
    rng = random.Random(SEED)
    return [(kind, question(rng, kind)) for kind, count in KINDS.items() for _ in range(count)]


def main():
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("optimum.csv")
    names = ["numpy", "scipy", "periodictable", "pyscipopt"]
    with path.open("w") as file:
        print(f"# {', '.join(f'{name} {version(name)}' for name in names)}; SCIP {Model().version()}", file=file)
        print(f"# seed {SEED}; what the columns mean and what is minimised: optimum.py", file=file)
        print(HEADER, file=file)
        for place, (kind, asked) in enumerate(questions()):
            print(row(kind, asked), file=file, flush=True)
            print(f"\r{place + 1}", end="", file=sys.stderr)
    print(file=sys.stderr)


if __name__ == "__main__":
    main()
