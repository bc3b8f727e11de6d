"""Reads what a served ward gives out with general-purpose readers, and breaks copies of it to see that they would notice.

    read.py PROGRAM DECK.toml FHIR_SCHEMA.json

FHIR R4: structure by fhir.resources (R4B), codes by the JSON schema of R4, rules of the profile by FHIRPath. No single one
rejects every broken resource; together they must. CSV by pandas, Parquet by pyarrow, figures by prometheus_client.
"""
import copy
import importlib
import io
import json
import sys
import tempfile

import fhirpathpy
import jsonschema
import pandas
import pyarrow.parquet
from fhirpathpy.models import models
from prometheus_client.parser import text_string_to_metric_families

from served import PATIENT, Ward

# HL7 FHIR R4, profile bodyweight (parent vitalsigns): what neither structure nor codes hold.
RULES = [
    "category.coding.where(system = 'http://terminology.hl7.org/CodeSystem/observation-category' and code = 'vital-signs').exists()",
    "code.coding.where(system = 'http://loinc.org' and code = '29463-7').exists()",
    "subject.exists()",
    "effective.exists()",
    "value.exists() or dataAbsentReason.exists()",
    "value.empty() or (value.system = 'http://unitsofmeasure.org' and value.code in ('kg' | 'g' | '[lb_av]'))",
]


def complaints(resource, schema):
    """What the three say against a resource."""
    kind, found = resource.get("resourceType"), []
    try:
        importlib.import_module(f"fhir.resources.R4B.{kind.lower()}").__dict__[kind].model_validate(resource)
    except Exception as error:
        found.append(f"structure: {error}")
    try:
        schema.validate(resource)
    except jsonschema.ValidationError as error:
        found.append(f"codes: {error.message}")
    if "http://hl7.org/fhir/StructureDefinition/bodyweight" in resource.get("meta", {}).get("profile", []):
        for rule in RULES:
            try:
                if fhirpathpy.evaluate(resource, rule, {}, models["r4"]) != [True]:
                    found.append(f"profile: {rule}")
            except Exception as error:
                found.append(f"profile: {rule}: {error}")
    return found


def broken(weight):
    """Copies of a good weight, each broken in one way."""
    def but(name, change):
        resource = copy.deepcopy(weight)
        change(resource)
        return name, resource
    yield but("no status", lambda r: r.pop("status"))
    yield but("no code", lambda r: r.pop("code"))
    yield but("status done", lambda r: r.update(status="done"))
    yield but("value as text", lambda r: r["valueQuantity"].update(value="72,35"))
    yield but("two values", lambda r: r.update(valueString="72.35"))
    yield but("an element that is none", lambda r: r.update(mass=72.35))
    yield but("another way to write the day", lambda r: r.update(effectiveDateTime="14/03/2025"))
    yield but("a number for a reference", lambda r: r["subject"].update(reference=7))
    yield but("another category", lambda r: r["category"][0]["coding"][0].update(code="laboratory"))
    yield but("no category", lambda r: r.pop("category"))
    yield but("no subject", lambda r: r.pop("subject"))
    yield but("no time", lambda r: r.pop("effectiveDateTime"))
    yield but("millilitres", lambda r: r["valueQuantity"].update(unit="mL", code="mL"))
    yield but("no value", lambda r: r.pop("valueQuantity"))
    yield but("not coded as a weight", lambda r: r["code"]["coding"].pop(0))


def fhir(ward, schema):
    kind, text = ward.ask("GET", f"/api/patients/{PATIENT}/fhir")
    assert kind == "application/fhir+json", kind
    bundle = json.loads(text)
    assert not (found := complaints(bundle, schema)), found
    resources = [entry["resource"] for entry in bundle["entry"]]
    weights = [r for r in resources if "valueQuantity" in r and r["valueQuantity"]["code"] == "kg"]
    totals = [r for r in resources if "valueQuantity" in r and r["valueQuantity"]["code"] == "mL"]
    assert weights and totals, (len(weights), len(totals))
    for resource in resources:
        assert not (found := complaints(resource, schema)), (resource["id"], found)
    passed = [name for name, resource in broken(weights[0]) if not complaints(resource, schema)]
    assert not passed, f"broken, and nobody noticed: {passed}"
    print(f"FHIR: a bundle of {len(weights)} weights and {len(totals)} totals is valid; each of {sum(1 for _ in broken(weights[0]))} broken weights is rejected")
    return weights


def tables(ward, weights):
    csv = pandas.read_csv(io.BytesIO(ward.ask("GET", f"/api/patients/{PATIENT}/weights.csv")[1]))
    parquet = pyarrow.parquet.read_table(io.BytesIO(ward.ask("GET", f"/api/patients/{PATIENT}/weights.parquet")[1])).to_pandas()
    # The patient goes on being weighed between the two.
    rows = min(len(csv), len(parquet))
    assert rows > 100 and abs(len(csv) - len(parquet)) < 120, (len(csv), len(parquet))
    csv, parquet = csv[:rows], parquet[:rows]
    assert (pandas.to_datetime(csv["time"], format="ISO8601") == parquet["time"]).all()
    for column in ("patient_kg", "u_kg"):
        assert ((csv[column] - parquet[column]).abs().fillna(0) < 1e-3).all(), column
    # FHIR's weights are among them.
    seconds = set(parquet["time"].dt.round("s"))
    assert all(pandas.Timestamp(w["effectiveDateTime"]) in seconds for w in weights)
    chart = pandas.read_csv(io.BytesIO(ward.ask("GET", f"/api/patients/{PATIENT}/chart.csv")[1]))
    assert len(chart) and (chart["volume_mL"] >= 0).all()
    print(f"CSV and Parquet: {rows} weights agree; {len(chart)} chart entries")


def figures(ward):
    kind, text = ward.ask("GET", "/metrics")
    families = {family.name: family for family in text_string_to_metric_families(text.decode())}
    assert kind == "text/plain" and families, kind
    for family in families.values():
        assert family.documentation and family.type in ("gauge", "counter"), family.name
    print(f"Figures for a monitor: {len(families)} families are read")


def main(program, deck, schema):
    schema = json.load(open(schema))
    schema = jsonschema.validators.validator_for(schema)(schema)
    with tempfile.TemporaryDirectory() as folder, Ward(program, deck, folder, 20) as ward:
        ward.wait("weight of a bed that has lived through its past", lambda: ward.json("GET", "/api/beds/A1")["link_up"])
        weights = fhir(ward, schema)
        tables(ward, weights)
        figures(ward)


if __name__ == "__main__":
    main(*sys.argv[1:])
