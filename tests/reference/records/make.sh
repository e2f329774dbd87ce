#!/usr/bin/env bash
# Makes a folder of records for README.md beside this: make.sh PROGRAM FOLDER
set -euo pipefail
here="$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)"
program="$(realpath "$1")"
mkdir "$2"
out="$(realpath "$2")"
scratch="$(mktemp -d)"
trap 'rm -rf "$scratch"' EXIT
export SOURCE_DATE_EPOCH=1772615700 EVENFILM_PASSPHRASE="correct horse"
"$program" phantom "$scratch/lot" --size 96x72 --fields 2 --seed 7
printf 'name = "golden"\nversion = "1"\nauthor = "R4"\nlocked = true\n' >"$scratch/recipe.toml"
printf 'product = "Mineral lotion"\nversion = "1"\n[[limit]]\nquantity = "uncovered_area_pct"\nmax = 50\n' >"$scratch/limits.toml"
printf 'organization = "Lab of the tests"\nsigners = "allowed_signers"\n' >"$out/settings.toml"
cp "$here/../signatures/allowed_signers" "$out/"
"$program" measure "$scratch/lot" --out "$out" >/dev/null
printf 'field,thing,change,reason\nf02.tif,field,leave_out,overlap\n' >"$scratch/lot/corrections.csv"
"$program" measure "$scratch/lot" --out "$out" --reason "f02 shows the place of f01" >/dev/null
record="$out/phantom-film-7/r2"
export SOURCE_DATE_EPOCH=1772616000
"$program" signoff "$record" --as R4 --meaning measured --key "$here/../signatures/r4" >/dev/null
"$program" signoff "$record" --as Q1 --meaning reviewed --comment "typed for the tests" >/dev/null
rm -f "$out/phantom-film-7/signoffs/.lock"
"$program" verify "$out" --again
