#!/usr/bin/env bash
# Whether a crate that the program is built of has a known advisory or was withdrawn. Needs `cargo install cargo-audit` and a way to the
# advisory database of the Rust community; without either it says so and ends with 2, never with 0. Ends with 1 where something was found.
#
#   checks/advisories.sh [further options of cargo audit]     e.g. --db FOLDER --no-fetch for a copy of the database
set -uo pipefail
cd "$(dirname "$0")/.."
if ! cargo audit --version >/dev/null 2>&1; then
  echo "not checked: cargo-audit is not installed (cargo install cargo-audit)" >&2
  exit 2
fi
report=$(mktemp) why=$(mktemp)
trap 'rm -f "$report" "$why"' EXIT
cargo audit --json "$@" >"$report" 2>"$why"
# A report is there only where the database was.
python3 - "$report" <<'PYTHON'
import json, sys
try:
    report = json.load(open(sys.argv[1]))
    of, vulnerable = report["lockfile"]["dependency-count"], report["vulnerabilities"]["list"]
except (ValueError, KeyError):
    sys.exit(2)
print(f"{of} crates, {len(vulnerable)} with a known vulnerability")
for entry in vulnerable:
    print(f"  {entry['package']['name']} {entry['package']['version']}: {entry['advisory']['id']} {entry['advisory']['title']}")
for kind, entries in report.get("warnings", {}).items():
    for entry in entries:
        print(f"  {kind}: {entry['package']['name']} {entry['package']['version']}")
sys.exit(1 if vulnerable else 0)
PYTHON
code=$?
if [ "$code" = 2 ]; then
  echo "not checked: the advisory database could not be had:" >&2
  tail -3 "$why" >&2
fi
exit "$code"
