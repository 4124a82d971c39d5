# Sourced by ./try and ./check: makes a Python environment in .venv with everything the project needs.
#   prepare EXTRAS PACKAGE...   EXTRAS: "" or "[dev]"; PACKAGE: Debian packages wanted besides Python's own
# Where the computer is a Debian (or a relative) and we are root, missing system packages are installed; elsewhere
# they are named, and the work goes on as far as it can.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
environment="${MATCHVISION_VENV:-$root/.venv}"

say() { printf '%s\n' "$*" >&2; }

find_python() {
    local name
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$name" >/dev/null 2>&1 &&
            "$name" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            printf '%s\n' "$name"
            return 0
        fi
    done
    return 1
}

has_package() { dpkg-query -W -f '${Status}' "$1" 2>/dev/null | grep -q 'install ok installed'; }

install_system_packages() {
    command -v apt-get >/dev/null 2>&1 || return 0
    local wanted=() package
    for package in "$@"; do
        has_package "$package" || wanted+=("$package")
    done
    find_python >/dev/null || wanted+=(python3 python3-venv)
    [ ${#wanted[@]} -gt 0 ] || return 0
    if [ "$(id -u)" -ne 0 ]; then
        say "These system packages are missing: ${wanted[*]}"
        say "Install them with: sudo apt-get install ${wanted[*]}"
        return 0
    fi
    say "Installing system packages: ${wanted[*]}"
    local log
    log=$(mktemp)
    if ! { apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install -y --no-install-recommends "${wanted[@]}"; } \
        >"$log" 2>&1; then
        tail -n 20 "$log" >&2
        say "The system packages could not be installed; going on without them."
    fi
    rm -f "$log"
}

prepare() {
    local extras=$1
    shift
    install_system_packages libgl1 libglib2.0-0 "$@"
    local python
    if ! python=$(find_python); then
        say "Python 3.11 or newer with its venv module is needed and was not found."
        exit 2
    fi
    [ -x "$environment/bin/python" ] || "$python" -m venv "$environment"
    local stamp="$environment/.installed$extras" now
    now=$(cksum <"$root/pyproject.toml")
    if [ ! -f "$stamp" ] || [ "$(cat "$stamp")" != "$now" ]; then
        say "Installing Python packages into $environment ..."
        "$environment/bin/python" -m pip install --quiet --disable-pip-version-check --editable "$root$extras"
        printf '%s\n' "$now" >"$stamp"
    fi
}
