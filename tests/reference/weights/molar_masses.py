"""Molar masses of salts and acids, and what a gram of each salt brings, from a table of atomic weights.

Writes molar_masses.csv into the folder above, among the tables that `main.rs` there reads; with
another path as argument, there. Formulas stand here once more, independent of the program's own.
"""

import sys
from importlib.metadata import version
from pathlib import Path

from periodictable import formula

# Formula of a salt, then what a formula unit brings: ions, and charges of alkalinity.
SALTS = {
    "gypsum": ("CaSO4(H2O)2", {"calcium": "Ca", "sulfate": "SO4"}, 0),
    "calcium_chloride_dihydrate": ("CaCl2(H2O)2", {"calcium": "Ca", "chloride": "Cl2"}, 0),
    "calcium_chloride_anhydrous": ("CaCl2", {"calcium": "Ca", "chloride": "Cl2"}, 0),
    "calcium_chloride_hexahydrate": ("CaCl2(H2O)6", {"calcium": "Ca", "chloride": "Cl2"}, 0),
    # Of the compound in it.
    "calcium_chloride_solution": ("CaCl2", {"calcium": "Ca", "chloride": "Cl2"}, 0),
    "epsom": ("MgSO4(H2O)7", {"magnesium": "Mg", "sulfate": "SO4"}, 0),
    "magnesium_sulfate_anhydrous": ("MgSO4", {"magnesium": "Mg", "sulfate": "SO4"}, 0),
    "magnesium_chloride": ("MgCl2(H2O)6", {"magnesium": "Mg", "chloride": "Cl2"}, 0),
    "table_salt": ("NaCl", {"sodium": "Na", "chloride": "Cl"}, 0),
    "baking_soda": ("NaHCO3", {"sodium": "Na"}, 1),
    "sodium_sulfate": ("Na2SO4", {"sodium": "Na2", "sulfate": "SO4"}, 0),
    "slaked_lime": ("Ca(OH)2", {"calcium": "Ca"}, 2),
    "chalk": ("CaCO3", {"calcium": "Ca"}, 2),
    "potassium_chloride": ("KCl", {"potassium": "K", "chloride": "Cl"}, 0),
    "potassium_sulfate": ("K2SO4", {"potassium": "K2", "sulfate": "SO4"}, 0),
    "potassium_bicarbonate": ("KHCO3", {"potassium": "K"}, 1),
}
ACIDS = {
    "lactic": "C3H6O3",
    "phosphoric": "H3PO4",
    "citric": "C6H8O7",
    "malic": "C4H6O5",
    "tartaric": "C4H6O6",
}


def rows():
    for salt, (whole, ions, charges) in SALTS.items():
        mass = formula(whole).mass
        yield "salt_molar_mass", salt, "g/mol", f"{mass:.4f}", 0.005
        for ion, part in ions.items():
            yield "ion_per_gram", f"{salt};{ion}", "mg/L", f"{1000 * formula(part).mass / mass:.4f}", 0.03
        if charges:
            yield "alkalinity_per_gram", salt, "mEq/L", f"{1000 * charges / mass:.5f}", 0.001
    for acid, whole in ACIDS.items():
        yield "acid_molar_mass", acid, "g/mol", f"{formula(whole).mass:.4f}", 0.005


def main(path):
    source = f"periodictable {version('periodictable')} by molar_masses.py: its table of atomic weights"
    lines = [f"{','.join(map(str, row))},derived,{source}" for row in rows()]
    path.write_text("\n".join(["check,inputs,unit,expected,tolerance,mark,source", *lines]) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parents[1] / "molar_masses.csv")
