"""Pressure in closed packages of beer, gas space and shut-in air, by two engines.

Writes sealed.csv beside this file; with another path as argument, there. Run it as
`python sealed.py` with what requirements.txt names. One litre of beer when filled, which dissolves
the share of what a kilogram of water does that Tartwright finds in the ASBC table: the balance is
compared, not that share.

Gas       Carbon dioxide, nitrogen and oxygen as a mixture by multi-parameter equations of state
          (CoolProp: GERG-2008 with Span & Wagner's carbon dioxide); room of dissolved carbon dioxide
          after Garcia 2001, LBNL-49023; vapour pressure of water by IAPWS-95 (CoolProp).
iapws     Henry's constants by the IAPWS guideline G7-04 (iapws), made for 1 to 369 degrees at once: at
          its cold end it is up to 5 % off those below.
weiss     Henry's constant of carbon dioxide by Weiss 1974, Mar. Chem. 2:203, made for water of 0 to 40
          degrees; with air as above, which stays in the gas space in one column and is in balance
          with the beer, by IAPWS G7-04, in the next.
phreeqc   PHREEQC with phreeqc.dat: its own Henry's constants, and Peng & Robinson's equation in a gas
          phase of fixed volume; for rows without air.

Beer expands as a solution of 6 % ethanol by mass (Melinder 2010, in CoolProp), which is fitted up to
40 degrees; warmer, as water with the share that the solution expands more at 40 degrees.
"""

import sys
import warnings
from importlib.metadata import version
from math import exp, log, log10
from pathlib import Path

import CoolProp.CoolProp as cp
from iapws._iapws import _Henry
from phreeqpython import PhreeqPython
from scipy.optimize import least_squares

GRAMS_PER_VOLUME, MOLAR = 1.965, 44.0095
MOLES_OF_WATER = 1000 / 18.015268
AIR = {"Nitrogen": 0.79, "Oxygen": 0.21}
GASES = ["CarbonDioxide", *AIR]
FORMULA = {"CarbonDioxide": "CO2", "Nitrogen": "N2", "Oxygen": "O2"}
GAS = 8.314462618
TEMPERATURES = [1.1, 4, 12, 20, 30, 40, 50, 60]
VOLUMES = [2, 3, 4, 6, 8]
SPACES = [0.02, 0.04, 0.1, 0.4]
HIGHEST = 2000


def water_density(celsius):
    return cp.PropsSI("D", "T", celsius + 273.15, "P", 5e5, "Water")


def solution_density(celsius):
    return cp.PropsSI("D", "T", celsius + 273.15, "P", 5e5, "INCOMP::MEA[0.06]")


def swell(filled, celsius):
    """Litres that a litre of beer gains."""
    top = min(celsius, 40)
    gained = solution_density(filled) / solution_density(top) - 1
    if celsius > 40:
        share = gained / (water_density(filled) / water_density(40) - 1)
        gained = share * (water_density(filled) / water_density(celsius) - 1)
    return gained


def beer_over_water(celsius):
    return 1 - 0.067 * exp(-celsius / 14)


def garcia(celsius):
    """Litres that a mole of dissolved carbon dioxide takes."""
    t = celsius
    return (37.51 - 9.585e-2 * t + 8.740e-4 * t**2 - 5.044e-7 * t**3) * 1e-3


def iapws(gas, kelvin):
    """mol in a kilogram of water at a fugacity of one MPa."""
    return MOLES_OF_WATER / _Henry(kelvin, FORMULA[gas])


def weiss(gas, kelvin):
    """The same for carbon dioxide by Weiss; for the others by IAPWS."""
    if gas != "CarbonDioxide":
        return iapws(gas, kelvin)
    t = kelvin / 100
    return exp(-60.2409 + 93.4517 / t + 23.3585 * log(t)) / 0.101325


def balance(henry, moles, air, space, celsius, dissolves):
    """Pressure in kPa over a litre of beer, from moles in all and litres of gas space."""
    kelvin = celsius + 273.15
    state = cp.AbstractState("HEOS", "&".join(GASES))
    state.specify_phase(cp.iphase_gas)
    total = [moles] + [air * share for share in AIR.values()]

    def missing(logs):
        in_gas = [10**value for value in logs]
        whole = sum(in_gas)
        state.set_mole_fractions([n / whole for n in in_gas])
        state.update(cp.DmolarT_INPUTS, whole / (space * 1e-3), kelvin)
        kpa = state.p() / 1e3
        found = []
        for place, gas in enumerate(GASES):
            fugacity = state.fugacity(place) / 1e6
            molality = henry(gas, kelvin) * fugacity
            if place == 0:
                molality *= exp(-garcia(celsius) * kpa / (GAS * kelvin))
            liquid = beer_over_water(celsius) * molality if place == 0 or dissolves else 0.0
            found.append((in_gas[place] + liquid) / max(total[place], 1e-12) - 1)
        missing.kpa = kpa
        return found

    start = [log10(max(n, 1e-12) * (0.1 if place == 0 else 0.5)) for place, n in enumerate(total)]
    answer = least_squares(missing, start, xtol=1e-13, ftol=1e-13, gtol=1e-13)
    missing(answer.x)
    assert answer.cost < 1e-14, (answer, moles, air, space, celsius)
    vapour = cp.PropsSI("P", "T", kelvin, "Q", 0, "Water") / 1e3
    return missing.kpa + vapour


def phreeqc(engine, moles, space, celsius):
    engine.ip.run_string(f"""
        DELETE; -all
        SOLUTION 1
            temp {celsius}
            pH 7
            water {beer_over_water(celsius)}
        GAS_PHASE 1
            -fixed_volume
            -volume {space}
            -temperature {celsius}
            CO2(g) 0
            H2O(g) 0
        REACTION 1
            CO2 1
            {moles} moles
        REACTION_TEMPERATURE 1
            {celsius}
        SELECTED_OUTPUT 1
            -reset false
            -high_precision true
        USER_PUNCH 1
            -headings atm
            -start
            10 PUNCH GAS_P
            -end
        END""")
    rows = engine.ip.get_selected_output_array()
    return rows[-1][0] * 101.325


def main():
    # G7-04 serves nitrogen from 5 degrees on; a little colder it is carried on.
    warnings.filterwarnings("ignore", message="Temperature out of data of correlation")
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("sealed.csv")
    engine = PhreeqPython(database="phreeqc.dat")
    tools = ", ".join(f"{name} {version(name)}" for name in ("CoolProp", "iapws", "phreeqpython", "scipy"))
    lines = [
        f"# By sealed.py with {tools}.",
        "# Volumes of gas in all per litre of beer, gas space as a share of the package and temperature when "
        "filled, kPa of air shut in then, temperature; then the pressure in kPa above vacuum.",
        "volumes,gas_space,filled_c,air_kpa,c,iapws_kpa,weiss_kpa,weiss_air_dissolves_kpa,phreeqc_kpa",
    ]
    place = 0
    for celsius in TEMPERATURES:
        for volumes in VOLUMES:
            for share in SPACES:
                filled = [4, 1, 20][place % 3] if celsius >= 20 else min(celsius, 4)
                air = [0.0, 101.325, 0.0, 50.0][(place // 3) % 4]
                place += 1
                space = share / (1 - share)
                moles = volumes * GRAMS_PER_VOLUME / MOLAR
                of_air = air * space / (GAS * (filled + 273.15))
                left = space - swell(filled, celsius)
                if left < 0.001:
                    continue
                by_iapws = balance(iapws, moles, of_air, left, celsius, False)
                if by_iapws > HIGHEST:
                    continue
                cells = [f"{volumes},{share},{filled},{air},{celsius},{by_iapws:.2f}"]
                for dissolves in (False, True):
                    served = celsius <= 40 and (air or not dissolves)
                    cells.append(f"{balance(weiss, moles, of_air, left, celsius, dissolves):.2f}" if served else "")
                cells.append("" if air else f"{phreeqc(engine, moles, left, celsius):.2f}")
                lines.append(",".join(cells))
    out.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
