# SPDX-License-Identifier: Apache-2.0
# Sourced by run and test: installs what is missing on Debian 12 and builds. docs/dependencies.md
# says what each package is for.

packages=(
  g++ cmake ninja-build ccache
  libfmt-dev libeigen3-dev libceres-dev libboost1.81-dev libboost-json1.81-dev libsundials-dev
  libhwy-dev libkissfft-dev libtomlplusplus-dev libcli11-dev libhdf5-dev zlib1g-dev libudunits2-dev
  libsoci-dev libsqlite3-dev libpq-dev libmodbus-dev libmosquitto-dev libiio-dev libcomedi-dev
  libssl-dev libsodium-dev libbrotli-dev
  libgtest-dev librapidcheck-dev libbenchmark-dev
  weasyprint fonts-dejavu-core hdf5-tools python3 python3-pymodbus
  python3-h5py python3-netcdf4 postgresql
  socat mosquitto mosquitto-clients iiod spin
)

say() { printf '%s\n' "$*" >&2; }

install_packages() {
  local missing=() package state
  for package in "$@"; do
    state=$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null || true)
    [ "$state" = installed ] || missing+=("$package")
  done
  [ ${#missing[@]} -gt 0 ] || return 0
  local become=()
  if [ "$(id -u)" -ne 0 ]; then
    command -v sudo >/dev/null || {
      say "These packages are missing, and only root may install them: ${missing[*]}"
      say "As root: apt-get update && apt-get install --no-install-recommends ${missing[*]}"
      exit 2
    }
    become=(sudo)
  fi
  say "Installing ${missing[*]}"
  "${become[@]}" apt-get update -qq >&2
  "${become[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
    "${missing[@]}" >/dev/null
}

# What the tests talk to from npm, exactly as the lock file says; without it those tests are skipped.
install_npm_peers() {
  local folder=tests/peers
  cmp -s $folder/package-lock.json $folder/node_modules/.installed && return 0
  # Not Debian's npm beside a Node that brought its own: they exclude each other.
  command -v npm >/dev/null || install_packages nodejs npm
  say "Installing $folder/package-lock.json"
  if (cd $folder && npm ci --ignore-scripts --no-audit --no-fund --silent >&2); then
    cp $folder/package-lock.json $folder/node_modules/.installed
  else
    say "npm could not install it: the tests named Peers.Jsmodbus* are skipped."
  fi
}

# The console becomes files in console/dist, which the program is built with.
build_console() {
  command -v npm >/dev/null || install_packages nodejs npm
  local folder=console
  if ! cmp -s $folder/package-lock.json $folder/node_modules/.installed; then
    say "Installing $folder/package-lock.json"
    (cd $folder && npm ci --ignore-scripts --no-audit --no-fund --silent >&2) || {
      say "npm could not install it: the program is built without a console of this version."
      return 0
    }
    cp $folder/package-lock.json $folder/node_modules/.installed
  fi
  if [ -z "$(find $folder/dist/index.html -newer $folder/package.json 2>/dev/null)" ] ||
      [ -n "$(find $folder/src $folder/public $folder/index.html $folder/vite.config.ts -newer $folder/dist/index.html)" ]; then
    say "Building the console"
    (cd $folder && npm run --silent build >&2)
  fi
}

# build PRESET TARGET...
build() {
  local preset=$1
  shift
  [ -f "build/$preset/build.ninja" ] || cmake --preset "$preset" >&2
  cmake --build --preset "$preset" --target "$@" >&2 || {
    say "The build failed; the first error above says where."
    exit 70
  }
}
