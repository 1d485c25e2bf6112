#!/usr/bin/env bash
# Installs what the tests need (Debian packages, as root or through sudo) and runs every gate:
# formatting, clippy, documentation, tests. `tests/run.sh --no-install` skips the packages.
set -euo pipefail
cd "$(dirname "$0")/.."

if [ "${1:-}" != "--no-install" ]; then
  missing=""
  for package in mosquitto mosquitto-clients python3-aiosmtpd python3-prometheus-client openssl sqlite3 chromium; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q "ok installed" || missing="$missing $package"
  done
  if [ -n "$missing" ]; then
    as_root=""
    [ "$(id -u)" = 0 ] || as_root="sudo"
    $as_root apt-get update -q
    # A broker of the system's own is not wanted: the tests start theirs.
    # shellcheck disable=SC2086
    $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing
  fi
fi

step() { printf '\n== %s (%ss)\n' "$1" "$SECONDS"; }

step "formatting"
cargo fmt --check
step "clippy"
cargo clippy --all-targets --locked -- -D warnings
step "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc --no-deps --document-private-items --locked
step "tests"
cargo test --locked
step "done"
