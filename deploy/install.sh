#!/usr/bin/env bash
# Installs Lowtide as a service on this machine, or brings it up to date: program, user, folders, unit, and an example
# configuration if there is none. It never touches a configuration or a record that is there.
#   sudo deploy/install.sh PATH/TO/lowtide
# DESTDIR=FOLDER lays it out in a folder instead, without a user and without systemd.
set -euo pipefail
here="$(cd "$(dirname "$0")" && pwd)"
program="${1:-}"
root="${DESTDIR:-}"

fail() { echo "install.sh: $*" >&2; exit 1; }
# "lowtide" alone would be looked for among the machine's programs.
case "$program" in ""|*/*) ;; *) program="./$program" ;; esac
[ -n "$program" ] || fail "say where the program is: deploy/install.sh target/release/lowtide"
[ -f "$program" ] || fail "$program: there is no such file; build it first (cargo build --release)"
"$program" --version >/dev/null 2>&1 || fail "$program does not run on this machine: was it built for another one?"
config="$root/etc/lowtide/lowtide.toml"
old="$root/usr/local/bin/lowtide"
# Settings that the program here understands and the newer one does not would leave nobody watching.
if [ -x "$old" ] && "$old" check --config "$config" >/dev/null 2>&1 &&
  ! "$program" check --config "$config" >/dev/null 2>&1; then
  "$program" check --config "$config" >&2 || true
  fail "the newer program cannot start with $config (see above): nothing was changed. Put that right first"
fi
[ -n "$root" ] || [ "$(id -u)" = 0 ] || fail "run it as root: sudo $0 $program"

owned=()
if [ -z "$root" ]; then
  getent passwd lowtide >/dev/null ||
    useradd --system --user-group --home-dir /var/lib/lowtide --shell /usr/sbin/nologin lowtide
  owned=(-o lowtide -g lowtide)
fi
install -D -m 755 "$program" "$root/usr/local/bin/lowtide.new"
# Renamed, because a program that runs cannot be written over.
mv "$root/usr/local/bin/lowtide.new" "$root/usr/local/bin/lowtide"
install -D -m 644 "$here/lowtide.service" "$root/etc/systemd/system/lowtide.service"
install -D -m 644 -t "$root/usr/local/share/doc/lowtide" "$here"/../docs/*.md
install -d "${owned[@]}" -m 750 "$root/etc/lowtide" "$root/var/lib/lowtide"
install -d "${owned[@]}" -m 700 "$root/etc/lowtide/secret"
# Whoever is in the group may drop files; what Lowtide keeps is its own.
install -d "${owned[@]}" -m 2770 "$root/var/lib/lowtide/inbox"

if [ ! -e "$config" ]; then
  sed -e 's|^data = "data" |data = "/var/lib/lowtide/data" |' \
    -e 's|^path = "inbox" |path = "/var/lib/lowtide/inbox" |' \
    "$here/../config/lowtide.example.toml" > "$config.new"
  if [ -z "$root" ]; then chown lowtide:lowtide "$config.new"; fi
  chmod 640 "$config.new"
  mv "$config.new" "$config"
  echo "An example is in $config: put in what is yours."
fi
if [ -z "$root" ]; then
  systemctl daemon-reload
  if systemctl is-active --quiet lowtide; then
    systemctl restart lowtide
    echo "The new version runs: systemctl status lowtide"
    exit
  fi
fi
cat <<'END'
What is left to do:
  sudoedit /etc/lowtide/lowtide.toml
  sudo -u lowtide lowtide check --config /etc/lowtide/lowtide.toml
  sudo -u lowtide lowtide try --config /etc/lowtide/lowtide.toml
  sudo -u lowtide lowtide try --loud --config /etc/lowtide/lowtide.toml
  sudo systemctl enable --now lowtide
To drop files into /var/lib/lowtide/inbox as yourself: sudo usermod -aG lowtide YOU, then log in again.
END
