"""pH of random blends of acids and base, and of beer with fruit, by PHREEQC.

Writes blends.csv and beers.csv beside this file; with a folder as argument, there.

blends  lactic, phosphoric, citric, malic and tartaric acid with sodium hydroxide and sodium chloride.
beers   beer: lactic acid with sodium hydroxide to its pH and sodium chloride up to the ionic strength
        of wort. Juice: one acid with potassium hydroxide to its own pH. Its titratable acid is the
        hydroxide that brings it to pH 8.2. Both are mixed. Beer without a buffer but lactate is a
        bare one: here only the acids and the mixing are on trial.

Davies' activity for every ion, 0.1 times the ionic strength for what has no charge, 20 °C. pKa,
enthalpies and heat capacities of Goldberg, Kishore & Lennen 2002 (none for malic acid); water by
Plummer & Busenberg 1982. A litre is a kilogram of water.
"""

import random
import sys
from importlib.metadata import version
from math import log
from pathlib import Path

from phreeqpython import PhreeqPython

SEED, BLENDS, BEERS = 20_261_125, 200, 150
CELSIUS = 20
WORT_STRENGTH = 50  # mmol/L
GAS, REFERENCE = 8.314462618, 298.15

# Name, molar mass of the acid, (pKa, enthalpy in kJ/mol, heat capacity in J/(mol K)) of each proton.
ACIDS = {
    "Lac": (90.078, [(3.86, -0.33, 71)]),
    "Pho": (97.994, [(2.148, -8.0, -141), (7.198, 3.6, -230), (12.35, 16.0, -242)]),
    "Cit": (192.123, [(3.128, 4.07, -131), (4.761, 2.23, -178), (6.396, -3.38, -254)]),
    "Mal": (134.087, [(3.459, 0, 0), (5.097, 0, 0)]),
    "Tar": (150.086, [(3.036, 3.19, -147), (4.366, 0.93, -218)]),
}


def association(steps):
    """PHREEQC's log K of taking up all the protons of these dissociations."""
    scale = GAS * log(10)
    pk = sum(step[0] for step in steps)
    h = sum(step[1] for step in steps) * 1e3 / scale
    cp = sum(step[2] for step in steps) / scale
    # Dissociation: -pk - H/(R ln10) (1/T - 1/T0) + Cp/(R ln10) (T0/T - 1 + ln(T/T0)).
    constant = -pk + h / REFERENCE + cp * (-1 - log(REFERENCE))
    return f"-analytical_expression {-constant!r} 0 {-(-h + cp * REFERENCE)!r} {-cp * log(10)!r}"


def ion(name, charge):
    return name + {0: "", 1: "-"}.get(charge, f"-{charge}")


def database():
    masters, species = "", ""
    for name, (mass, steps) in ACIDS.items():
        bare = ion(name, len(steps))
        masters += f"{name} {bare} {len(steps) - 1}.0 {mass - 1.008 * len(steps)} {mass - 1.008 * len(steps)}\n"
        species += f"{bare} = {bare}\n"
        for taken in range(1, len(steps) + 1):
            protons = "H+" if taken == 1 else f"{taken} H+"
            form = ion(("H" if taken == 1 else f"H{taken}") + name, len(steps) - taken)
            species += f"{bare} + {protons} = {form}\n    {association(steps[-taken:])}\n"
    return f"""
SOLUTION_MASTER_SPECIES
H           H+     -1.0  H                 1.008
H(0)        H2      0    H
H(1)        H+     -1.0  0
E           e-      0    0.0               0
O           H2O     0    O                16.0
O(0)        O2      0    O
O(-2)       H2O     0    0
Na          Na+     0    Na               22.990
K           K+      0    K                39.098
Cl          Cl-     0    Cl               35.45
Alkalinity  OH-     1.0  OH               17.007
{masters}
SOLUTION_SPECIES
H+ = H+
e- = e-
H2O = H2O
Na+ = Na+
K+ = K+
Cl- = Cl-
H2O = OH- + H+
    -analytical_expression -283.9710 -0.05069842 13323.00 102.24447 -1119669.0
2 H2O = O2 + 4 H+ + 4 e-
    -log_k -86.08
2 H+ + 2 e- = H2
    -log_k -3.15
{species}
PHASES
Fix_H+
    H+ = H+
    -log_k 0
END
"""


def dissolved(number, totals, ph="7 charge"):
    """A solution of these totals in mmol/kgw whose pH balances the charges, or is the one given."""
    lines = "\n".join(f"    {name} {amount!r}" for name, amount in totals.items())
    return f"\nSOLUTION {number}\n    units mmol/kgw\n    temp {CELSIUS}\n    pH {ph}\n{lines}\n"


PUNCH = """
SELECTED_OUTPUT 1
    -reset false
USER_PUNCH 1
    -headings ph mu cations left
    -start
    10 PUNCH -LA("H+"), MU, TOT("Na") + TOT("K"), EQUI("Fix_H+")
    -end
"""


def run(engine, text):
    """pH, ionic strength in mmol/L, sodium and potassium in mmol/L, what is left of a titrant in mmol."""
    engine.ip.run_string(PUNCH + text + "\nEND\n")
    ph, strength, cations, left = engine.ip.get_selected_output_array()[-1]
    return ph, strength * 1e3, cations * 1e3, left * 1e3


def blends(engine, draw):
    """Lines of acids, base and salt in mmol/L, and the pH."""
    lines = []
    while len(lines) < BLENDS:
        tops = {"Lac": 80, "Pho": 15, "Cit": 40, "Mal": 40, "Tar": 20}
        # Some acids are missing from most blends.
        acids = {name: round(draw.uniform(0, top), 2) if draw.random() < 0.6 else 0.0 for name, top in tops.items()}
        protons = sum(amount * len(ACIDS[name][1]) for name, amount in acids.items())
        if protons < 2:
            continue
        base, salt = round(draw.uniform(0, 0.6) * protons, 2), round(draw.uniform(0, 40), 2)
        ph, strength, *_ = run(engine, dissolved(1, {**acids, "Na": base + salt, "Cl": salt}))
        lines.append([*acids.values(), base, salt, f"{ph:.5f}", f"{strength:.3f}"])
    return lines


POURED = 3.0  # mol, more than any titration takes


def brought_to(number, totals, ph, base):
    """A solution titrated with a base to a pH; kept under the number."""
    return (
        dissolved(number, totals)
        + f"EQUILIBRIUM_PHASES {number}\n    Fix_H+ {-ph} {base} {POURED}\nSAVE solution {number}"
    )


def beers(engine, draw):
    """Lines of the beer's pH and lactic acid (g/L); the juice's litres for a litre of beer, kind and
    pH, its acid in mmol/L and titratable acid in mEq/L; the pH of the mixture and its ionic strength."""
    lines = []
    kinds = ["Cit", "Mal", "Tar"]
    while len(lines) < BEERS:
        beer_ph, grams = round(draw.uniform(3.1, 4.0), 2), round(draw.uniform(3, 9), 2)
        kind, juice_ph = draw.choice(kinds), round(draw.uniform(2.4, 4.4), 2)
        acid, litres = round(draw.uniform(20, 150), 1), round(draw.uniform(0.02, 0.4), 3)
        lactic = grams / ACIDS["Lac"][0] * 1e3
        # Lactate of the beer counts among its salts; the rest is sodium chloride.
        text = brought_to(1, {"Lac": lactic}, beer_ph, "NaOH")
        _, strength, *_ = run(engine, text)
        salt = WORT_STRENGTH - strength
        if salt < 0:
            continue
        run(engine, brought_to(1, {"Lac": lactic, "Na": salt, "Cl": salt}, beer_ph, "NaOH"))
        run(engine, brought_to(2, {kind: acid}, 8.2, "KOH"))
        *_, end, _ = run(engine, brought_to(3, {kind: acid}, 8.2, "KOH"))
        *_, start, left = run(engine, brought_to(2, {kind: acid}, juice_ph, "KOH"))
        # More acid than its own pH allows: left over is more than was there.
        if left > POURED * 1e3:
            continue
        ph, strength, *_ = run(engine, f"MIX 1\n    1 1.0\n    2 {litres}")
        lines.append([beer_ph, grams, litres, kind, juice_ph, acid, f"{end - start:.4f}", f"{ph:.5f}", f"{strength:.3f}"])
    return lines


def main(folder):
    engine = PhreeqPython(database="phreeqc.dat")
    engine.ip.load_database_string(database())
    draw = random.Random(SEED)
    made = f"# By PHREEQC through phreeqpython {version('phreeqpython')}; seed {SEED}; see make_blends.py."
    tables = {
        "blends.csv": (blends, "lactic,phosphoric,citric,malic,tartaric,base,salt,ph,strength"),
        "beers.csv": (
            beers,
            "beer_ph,lactic_g_l,juice_l,acid,juice_ph,acid_mmol_l,titratable_meq_l,ph,strength",
        ),
    }
    for name, (make, columns) in tables.items():
        lines = [",".join(map(str, line)) for line in make(engine, draw)]
        (folder / name).write_text("\n".join([made, columns, *lines]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
