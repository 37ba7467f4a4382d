#!/usr/bin/env bash
# Does the whole tool compile for Windows? Compiles only: nothing is run there. Needs Debian's rustc-web and rust-web-src, a
# compiler that comes with the source of its standard library, which is compiled along for the target, and mingw's dlltool
# and C compiler (the cryptography of the page's TLS has parts in C).
set -euo pipefail
cd "$(dirname "$0")/.."
if ! { [ -x /usr/bin/rustc ] && [ -d "$(/usr/bin/rustc --print sysroot)/lib/rustlib/src" ] &&
    command -v x86_64-w64-mingw32-dlltool >/dev/null && command -v x86_64-w64-mingw32-gcc >/dev/null; }; then
    apt-get update -q
    DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends rustc-web rust-web-src binutils-mingw-w64-x86-64 gcc-mingw-w64-x86-64-win32
fi
# A folder of its own: another compiler would make the usual one be built anew each time.
export RUSTC=/usr/bin/rustc RUSTC_BOOTSTRAP=1 CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-$PWD/target}/windows"
cargo check --quiet --workspace --target x86_64-pc-windows-gnu -Zbuild-std=std,panic_unwind
echo "everything compiles for x86_64-pc-windows-gnu"
