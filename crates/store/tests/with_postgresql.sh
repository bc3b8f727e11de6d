#!/usr/bin/env bash
# with_postgresql.sh COMMAND...: runs a command beside a PostgreSQL server of its own, which BEDPLATE_TEST_POSTGRES names.
# The server listens on a socket in a folder of its own, and both go when the command ends.
set -euo pipefail
programs=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1)
if [ -z "$programs" ]; then programs=$(dirname "$(command -v initdb)"); fi
folder=$(mktemp -d)
# The server refuses to run as root; Debian's package makes an account for it.
as_server=()
if [ "$(id -u)" = 0 ]; then
  chown postgres "$folder"
  as_server=(runuser -u postgres --)
fi
control() { (cd "$folder" && "${as_server[@]}" "$programs/pg_ctl" -D "$folder/data" "$@" >/dev/null); }
trap 'control -m immediate stop || true; rm -rf "$folder"' EXIT
(cd "$folder" && "${as_server[@]}" "$programs/initdb" -D "$folder/data" -U bedplate -A trust --no-sync >/dev/null)
control -w -l "$folder/log" -o "-c listen_addresses='' -c unix_socket_directories='$folder'" start
BEDPLATE_TEST_POSTGRES="postgres://bedplate@${folder//\//%2F}/postgres" "$@"
