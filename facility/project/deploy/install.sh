#!/bin/sh
# Installs Deepstead from this folder alone: no network, no registry. Usage: sh install.sh [--no-set-up]
# DEEPSTEAD_TO names where to (default /opt/deepstead), PYTHON which Python (default python3).
set -eu
here=$(cd "$(dirname "$0")" && pwd)
to=${DEEPSTEAD_TO:-/opt/deepstead}
python=${PYTHON:-python3}
cd "$here"

echo "Comparing every file with SHA256SUMS ..."
sha256sum --check --strict --quiet SHA256SUMS || {
  echo "A file of this kit is missing or was changed. Copy the kit anew; nothing was installed." >&2
  exit 1
}
made_for=$(cat PYTHON)
found=$("$python" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
if [ "$made_for" != "$found" ]; then
  echo "This kit was made for Python $made_for, $python is $found. Name another by PYTHON=..., or make a kit with $found." >&2
  exit 1
fi

echo "Unpacking into $to ..."
mkdir -p "$to"
tar -xzf deepstead.tar.gz -C "$to"
"$python" -m venv --clear "$to/.venv" || {
  echo "Python cannot make a virtual environment here; on Debian that is the package python3-venv." >&2
  exit 1
}
echo "Installing the packages from wheels/, each by its hash ..."
"$to/.venv/bin/python" -m pip --isolated install --quiet --disable-pip-version-check --no-input --no-index \
  --find-links "$here/wheels" --require-hashes -r "$to/requirements.txt"
# tells the program's own set-up that these packages are there
printf '%s %s\n' "$(sha256sum "$to/requirements.txt" | cut -d ' ' -f 1)" "$found" > "$to/.venv/installed-requirements.txt"

if [ "${1:-}" != "--no-set-up" ]; then
  DEEPSTEAD_APT=no "$to/.venv/bin/python" "$to/manage.py" up --no-serve
fi
echo "Installed. Start it with: $to/.venv/bin/python $to/manage.py up"
echo "Units for systemd, proxies and every setting are in $to/facility/project/deploy"
