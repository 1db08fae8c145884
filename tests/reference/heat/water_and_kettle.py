"""The table water_and_kettle.csv one folder up, from the IAPWS formulations and from an independent ODE solver.

    python3 -m venv v && v/bin/pip install -r ../requirements.txt && v/bin/python water_and_kettle.py

writes it: saturation temperature and latent heat by IAPWS-IF97, density at 0.101325 MPa by IAPWS-95, and heating
and chilling times of one kettle by SciPy.
"""
import pathlib

from iapws import IAPWS95, IAPWS97
from scipy.integrate import solve_ivp

WATER, GRAIN, STEEL = 4.187, 4.187 * 0.40, 0.50


OUT = open(pathlib.Path(__file__).parent.parent / "water_and_kettle.csv", "w")
print("check,inputs,unit,expected,tolerance,mark,source", file=OUT)


def row(check, inputs, unit, expected, tolerance, mark, source):
    print(f"{check},{inputs},{unit},{expected},{tolerance},{mark},{source}", file=OUT)


for kpa in (70, 80, 85, 90, 95, 101.325, 105):
    water = IAPWS97(P=kpa / 1000, x=0)
    row("boiling_point_of_pressure", kpa, "C", round(water.T - 273.15, 3), 0.1, "published", "IAPWS-IF97 region 4 by the iapws library 1.5")
for celsius in (85, 90, 95, 100):
    liquid, steam = IAPWS97(T=celsius + 273.15, x=0), IAPWS97(T=celsius + 273.15, x=1)
    row("latent_heat", celsius, "kJ/kg", round(steam.h - liquid.h, 1), 2, "published", "IAPWS-IF97 by the iapws library 1.5")
for celsius in (1, 4, 10, 20, 30, 40, 50, 66, 77, 80, 90, 99):
    water = IAPWS95(P=0.101325, T=celsius + 273.15)
    row("water_density", celsius, "kg/m3", round(water.rho, 3), 0.02, "published", "IAPWS-95 at 101.325 kPa by the iapws library 1.5")


def body(liquid, plato, grain, vessel):
    return liquid * WATER * (1 - 0.006 * plato) + grain * GRAIN + vessel * STEEL


def until(rate, start, end):
    event = lambda t, y: y[0] - end
    event.terminal = True
    found = solve_ivp(lambda t, y: [rate(y[0])], (0, 1e6), [start], events=event, rtol=1e-10, atol=1e-10, method="DOP853")
    return found.t_events[0][0] / 60


SOURCE = "SciPy solve_ivp of the same balance"
for liquid, plato, grain, vessel, power, loss, start, end in (
    (22, 0, 0, 6, 2.5, 0.25, 15, 70.4), (22, 11, 4.2, 6, 2.5, 0.25, 66, 77), (24, 10.5, 0, 6, 2.5, 0.25, 77, 100), (12, 12, 0, 3, 1.6, 0.4, 20, 98),
):
    heat = body(liquid, plato, grain, vessel)
    minutes = until(lambda t: (power - loss * (t - 20) / 80) / heat, start, end)
    row("heating_minutes", ";".join(map(str, (liquid, plato, grain, vessel, 0, power, loss, start, end))), "min", round(minutes, 4), 0.001, "derived", SOURCE)
for liquid, plato, vessel, share, flow, water, start, end in (
    (20, 11, 6, 0.4, 240, 15, 100, 22), (10, 12, 3, 0.6, 180, 8, 97, 20), (38, 14, 10, 0.3, 420, 18, 99, 24),
):
    heat = body(liquid, plato, 0, vessel)
    minutes = until(lambda t: -share * WATER * flow * 0.998 / 3600 * (t - water) / heat, start, end)
    row("chill_minutes", ";".join(map(str, (liquid, plato, 0, vessel, share, flow, water, start, end))), "min", round(minutes, 4), 0.001, "derived", SOURCE)
