#!/usr/bin/env bash
# with_postgresql.sh COMMAND...: runs a command beside a PostgreSQL server of its own, which BEDPLATE_TEST_POSTGRES names.
# The server listens on a socket in a folder of its own, and, encrypted, on this machine's loopback, which
# BEDPLATE_TEST_POSTGRES_TLS names with the certificate of its authority. All of it goes when the command ends.
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
# Two invented authorities; the first signs the server's certificate.
(
  cd "$folder"
  make() { openssl req -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 "$@" 2>/dev/null; }
  for authority in authority stranger; do make -x509 -subj "/CN=$authority" -keyout $authority.key -out $authority.pem; done
  make -x509 -CA authority.pem -CAkey authority.key -subj /CN=localhost -addext subjectAltName=DNS:localhost \
    -addext basicConstraints=critical,CA:FALSE -keyout server.key -out server.pem
  if [ "$(id -u)" = 0 ]; then chown postgres server.key; fi
)
# Below the ports that the system gives out by itself.
port=$((20000 + RANDOM % 12000))
control -w -l "$folder/log" -o "-p $port -c listen_addresses=127.0.0.1 -c ssl=on -c ssl_cert_file='$folder/server.pem' -c ssl_key_file='$folder/server.key' -c unix_socket_directories='$folder'" start
BEDPLATE_TEST_POSTGRES="postgres://bedplate@${folder//\//%2F}:$port/postgres" \
  BEDPLATE_TEST_POSTGRES_TLS="postgres://bedplate@localhost:$port/postgres?sslrootcert=$folder/authority.pem" "$@"
