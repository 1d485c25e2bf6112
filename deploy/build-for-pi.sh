#!/usr/bin/env bash
# Builds Lowtide for a Raspberry Pi (64-bit Raspberry Pi OS or Debian, 12 or later) on another Linux machine.
# Needs rustup; on Debian and Ubuntu it installs the cross compiler itself (as root or through sudo).
#   deploy/build-for-pi.sh && scp target/aarch64-unknown-linux-gnu/dist/lowtide pi@raspberrypi:
set -euo pipefail
command -v rustup >/dev/null ||
  { echo "build-for-pi.sh: this needs rustup, which brings the compiler for the board: https://rustup.rs" >&2; exit 1; }
cd "$(dirname "$0")/.."
target=aarch64-unknown-linux-gnu

if ! command -v aarch64-linux-gnu-gcc >/dev/null; then
  as_root=""
  [ "$(id -u)" = 0 ] || as_root="sudo"
  $as_root apt-get update -q
  $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends \
    gcc-aarch64-linux-gnu libc6-dev-arm64-cross
fi
rustup target add "$target"
# Linked with the compiler's own C library: names like broker.local go the system's way.
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_LINKER=aarch64-linux-gnu-gcc
export CC_aarch64_unknown_linux_gnu=aarch64-linux-gnu-gcc
cargo build --locked --profile dist --bin lowtide --target "$target"
echo "built: target/$target/dist/lowtide"
