#!/usr/bin/env bash
# Fetches what the tests use and the repository does not keep, through npm and
# the Go module proxy, into MESHCLERK_DATA (a cache folder otherwise): meshes
# that are too large (see meshes/SOURCES.md), and the rules that the staff page's
# accessibility is checked with. What is there already is not fetched again.
set -euo pipefail

data=${MESHCLERK_DATA:-${XDG_CACHE_HOME:-$HOME/.cache}/meshclerk-testdata}
mkdir -p "$data"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# npm_package NAME VERSION SHA256 unpacks a package as $data/NAME.
npm_package() {
  [ -e "$data/$1/package.json" ] && return
  (cd "$work" && npm pack --silent "$1@$2" >/dev/null)
  echo "$3  $work/$1-$2.tgz" | sha256sum --check --quiet
  rm -rf "${data:?}/$1" "$work/package"
  tar -xzf "$work/$1-$2.tgz" -C "$work" && mv "$work/package" "$data/$1"
}

npm_package stl-models 0.12.0 31dfbf87e748d2925ed89cf3af8e2d429db9e0d8cdd02c1a1ea183a9aea9b7a2
npm_package node-stl 0.7.3 e292af01594b56979f0452a0a11ce38ada0e8b94acdf426d23ba9cfb7495ea39
npm_package axe-core 4.14.1 e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745
npm_package stl 1.1.1 2844e9757d118587b32abc6a50a9d337d6138705e0ad37b9cfcc96fd2a64a785

if [ ! -e "$data/boat.stl" ]; then
  module=github.com/fogleman/fauxgl@v0.0.0-20200818143847-27cddc103802
  dir=$(cd "$work" && GOFLAGS=-mod=mod go mod download -json "$module" | sed -n 's/^\t"Dir": "\(.*\)",$/\1/p')
  echo "6ab57f1c3f8e86bc3cbd302c6fa6270acf06277c6335454e922419c25d42e97e  $dir/examples/boat.stl" | sha256sum --check --quiet
  install -m 644 "$dir/examples/boat.stl" "$data/boat.stl"
fi
echo "test data is in $data"
