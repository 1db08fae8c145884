"""Acid that brings random waters to pH 5.4 in a closed vessel, by PHREEQC.

Writes acid_to_ph.csv beside this file; with another path as argument, there. Two references:

reduced   only what Tartwright reckons with: carbonic acid, water's own ions, the acid, and the
          pairs of calcium and magnesium with (bi)carbonate, sulfate and phosphate; the other ions
          are spectators. Davies' activity for every ion. Constants of Plummer & Busenberg 1982;
          pKa, enthalpies and heat capacities of the acids of Goldberg, Kishore & Lennen 2002; the
          other pairs as in phreeqc.dat.
full      phreeqc.dat as the engine brings it, with its ion pairs, activities and constants of
          phosphoric acid; lactic acid, which it lacks, is added with its pKa alone.

Waters are taken as they are analysed, out of charge balance as independent draws are: PHREEQC
keeps the imbalance during the reaction, so the charge of the acid is what counts. One litre of
water at room temperature holds one kilogram, so that mmol/L is written as mmol/kgw.
"""

import random
import sys
from importlib.metadata import version
from math import log
from pathlib import Path

import periodictable
from phreeqpython import PhreeqPython

SEED = 20_240_611
UNIFORM, SOFT = 200, 40
TARGET = 5.4
ACIDS = {"strong": "HCl", "lactic": "HLac", "phosphoric": "H3PO4"}

GAS, REFERENCE = 8.314462618, 298.15


def analytic(pk, enthalpy, heat_capacity):
    """The coefficients of PHREEQC's log K for a sum of dissociations, read as an association."""
    # log K of dissociation = -pk - H/(R ln10) (1/T - 1/T0) + Cp/(R ln10) (T0/T - 1 + ln(T/T0)).
    scale = GAS * log(10)
    h, cp, t0 = enthalpy * 1e3 / scale, heat_capacity / scale, REFERENCE
    constant = -pk + h / t0 + cp * (-1 - log(t0))
    return f"-analytical_expression {-constant!r} 0 {-(-h + cp * t0)!r} {-cp * log(10)!r}"


def reduced_database():
    lactic = analytic(3.86, -0.33, 71)
    third = analytic(12.35, 16.0, -242)
    second = analytic(12.35 + 7.198, 16.0 + 3.6, -242 - 230)
    first = analytic(12.35 + 7.198 + 2.148, 16.0 + 3.6 - 8.0, -242 - 230 - 141)
    return f"""
SOLUTION_MASTER_SPECIES
H           H+     -1.0  H                 1.008
H(0)        H2      0    H
H(1)        H+     -1.0  0
E           e-      0    0.0               0
O           H2O     0    O                16.0
O(0)        O2      0    O
O(-2)       H2O     0    0
Ca          Ca+2    0    Ca               40.078
Mg          Mg+2    0    Mg               24.305
Na          Na+     0    Na               22.990
Cl          Cl-     0    Cl               35.45
S           SO4-2   0    SO4              32.06
S(6)        SO4-2   0    SO4
C           CO3-2   2.0  HCO3             12.011
C(4)        CO3-2   2.0  HCO3
Alkalinity  CO3-2   1.0  Ca0.5(CO3)0.5    50.043
P           PO4-3   2.0  P                30.974
Lac         Lac-    0    Lac              89.07
SOLUTION_SPECIES
H+ = H+
e- = e-
H2O = H2O
Ca+2 = Ca+2
Mg+2 = Mg+2
Na+ = Na+
Cl- = Cl-
SO4-2 = SO4-2
CO3-2 = CO3-2
PO4-3 = PO4-3
Lac- = Lac-
H2O = OH- + H+
    -analytical_expression -283.9710 -0.05069842 13323.00 102.24447 -1119669.0
2 H2O = O2 + 4 H+ + 4 e-
    -log_k -86.08
2 H+ + 2 e- = H2
    -log_k -3.15
CO3-2 + H+ = HCO3-
    -analytical_expression 107.8871 0.03252849 -5151.79 -38.92561 563713.9
CO3-2 + 2 H+ = CO2 + H2O
    -analytical_expression 464.1965 0.09344813 -26986.16 -165.75951 2248628.9
PO4-3 + H+ = HPO4-2
    {third}
PO4-3 + 2 H+ = H2PO4-
    {second}
PO4-3 + 3 H+ = H3PO4
    {first}
Lac- + H+ = HLac
    {lactic}
Ca+2 + HCO3- = CaHCO3+
    -analytical_expression 1209.120 0.31294 -34765.05 -478.782
Ca+2 + CO3-2 = CaCO3
    -analytical_expression -1228.732 -0.299440 35512.75 485.818
Ca+2 + SO4-2 = CaSO4
    -log_k 2.25
    -delta_h 1.325 kcal
Ca+2 + H2PO4- = CaH2PO4+
    -log_k 1.408
    -delta_h 3.4 kcal
Ca+2 + HPO4-2 = CaHPO4
    -log_k 2.739
    -delta_h 3.3 kcal
Mg+2 + HCO3- = MgHCO3+
    -analytical_expression -59.215 0 2537.455 20.92298
Mg+2 + CO3-2 = MgCO3
    -analytical_expression 0.991 0.00667
Mg+2 + SO4-2 = MgSO4
    -log_k 2.37
    -delta_h 4.550 kcal
Mg+2 + H2PO4- = MgH2PO4+
    -log_k 1.513
    -delta_h 3.4 kcal
Mg+2 + HPO4-2 = MgHPO4
    -log_k 2.87
    -delta_h 3.3 kcal
PHASES
Calcite
    CaCO3 = CO3-2 + Ca+2
    -analytical_expression -171.9065 -0.077993 2839.319 71.595
CO2(g)
    CO2 = CO2
    -analytical_expression 108.3865 0.01985076 -6919.53 -40.45154 669365.0
Fix_H+
    H+ = H+
    -log_k 0
END
"""


def full_additions():
    return f"""
SOLUTION_MASTER_SPECIES
Lac         Lac-    0    Lac              89.07
SOLUTION_SPECIES
Lac- = Lac-
Lac- + H+ = HLac
    {analytic(3.86, -0.33, 71)}
PHASES
Fix_H+
    H+ = H+
    -log_k 0
END
"""


def mmol(element, mg_per_l):
    return mg_per_l / periodictable.formula(element).mass


def waters():
    """Rows of calcium, magnesium, sodium, chloride, sulfate, alkalinity as CaCO3 (mg/L), °C, pH."""
    draw = random.Random(SEED)
    rows = []
    for soft in [False] * UNIFORM + [True] * SOFT:
        rows.append(
            [round(draw.uniform(0, top), 1) for top in (200, 40, 150, 300, 300, 20 if soft else 400)]
            + [round(draw.uniform(5, 70), 1), round(draw.uniform(6.5, 8.8), 2)]
        )
    return rows


def solution(row, number=1):
    calcium, magnesium, sodium, chloride, sulfate, alkalinity, temperature, ph = row
    return f"""
SOLUTION {number}
    units mmol/kgw
    temp {temperature}
    pH {ph}
    Ca {mmol("Ca", calcium)!r}
    Mg {mmol("Mg", magnesium)!r}
    Na {mmol("Na", sodium)!r}
    Cl {mmol("Cl", chloride)!r}
    S(6) {mmol("SO4", sulfate)!r}
    Alkalinity {2 * mmol("CaCO3", alkalinity)!r} meq/kgw
"""


# More than any of these waters takes, mol.
POURED = 0.05


def titration(row, acid):
    return (
        solution(row)
        + f"""
EQUILIBRIUM_PHASES 1
    Fix_H+ {-TARGET} {acid} {POURED}
SELECTED_OUTPUT 1
    -reset false
USER_PUNCH 1
    -headings left mu
    -start
    10 PUNCH EQUI("Fix_H+"), MU
    -end
END
"""
    )


def dose(engine, row, acid):
    """mmol of acid for a litre; None when there is no such water."""
    try:
        engine.ip.run_string(titration(row, acid))
    except Exception as error:
        if "non-carbonate alkalinity greater than total" not in str(error):
            raise
        return None
    left, _ = engine.ip.get_selected_output_array()[-1]
    return (POURED - left) * 1e3


def at_rest(engine, row):
    """Carbon (mmol/L) and calcite's saturation index of the water as it is; its pH at 20 °C; its pH
    in the air with calcium and magnesium left out, and with them the pairs."""
    engine.ip.run_string(
        solution(row)
        + """
SELECTED_OUTPUT 1
    -reset false
USER_PUNCH 1
    -headings carbon calcite ph
    -start
    10 PUNCH TOT("C"), SI("Calcite"), -LA("H+")
    -end
END
USE solution 1
REACTION_TEMPERATURE 1
    20
END
"""
        + solution([0, 0, *row[2:]])
        + """
EQUILIBRIUM_PHASES 1
    CO2(g) -3.38 10
END
"""
    )
    rows = engine.ip.get_selected_output_array()
    return rows[1][0] * 1e3, rows[1][1], rows[2][2], rows[-1][2]


def engines():
    reduced = PhreeqPython(database="phreeqc.dat")
    reduced.ip.load_database_string(reduced_database())
    full = PhreeqPython(database="phreeqc.dat")
    full.ip.run_string(full_additions())
    return reduced, full


def main(path):
    reduced, full = engines()
    lines, impossible = [], 0
    for row in waters():
        doses = [dose(engine, row, acid) for engine in (reduced, full) for acid in ACIDS.values()]
        if None in doses:
            impossible += 1
            continue
        results = doses + list(at_rest(reduced, row))
        lines.append(",".join([*map(str, row), *(f"{value:.7g}" for value in results)]))
    columns = "calcium_mg,magnesium_mg,sodium_mg,chloride_mg,sulfate_mg,alkalinity_mg_caco3,celsius,ph"
    columns += "".join(f",{base}_{acid}" for base in ("reduced", "full") for acid in ACIDS)
    columns += ",carbon,calcite,room_ph,air_ph"
    versions = ", ".join(f"{name} {version(name)}" for name in ("phreeqpython", "periodictable"))
    header = [
        f"# Acid to pH {TARGET} in a closed vessel, mmol/L; by PHREEQC through {versions}",
        "# Method: see acid_to_ph.py. Of the reduced database are carbon in mmol/L, calcite's saturation",
        "# index, the pH at 20 °C, and that at rest with carbon dioxide of 10^-3.38 atm, the latter",
        "# without calcium and magnesium.",
        f"# Seed {SEED}: {UNIFORM} waters drawn evenly, {SOFT} soft ones; {impossible} left out because",
        "# their alkalinity is below what hydroxide alone would give at their pH.",
    ]
    path.write_text("\n".join([*header, columns, *lines]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_suffix(".csv"))
