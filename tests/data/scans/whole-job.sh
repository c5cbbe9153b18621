#!/usr/bin/env bash
# The whole job from pictures alone, beside the same from direct readings.
#     tests/data/scans/whole-job.sh shipped DIR    the shipped project: its pages show what its scans.csv says
#     tests/data/scans/whole-job.sh planned DIR    a chart planned for its panel and rehearsed on the test panel, held out another plan
# Needs OpenCV for Python (PYTHON=... names another python3), and greyloom on the path (or GREYLOOM=...).
set -eu
here=$(cd "$(dirname "$0")" && pwd)
ship=$here/../../../calibration/harbour-tile
greyloom=${GREYLOOM:-greyloom}
python=${PYTHON:-python3}
kind=$1
dir=$2
mkdir -p "$dir"/pictures "$dir"/held "$dir"/direct
cp "$ship"/panel.toml "$ship"/holdout-chart.csv "$dir"/direct
cp "$ship"/panel.toml "$dir"/held
cp "$ship"/holdout-chart.csv "$dir"/held/chart.csv
if [ "$kind" = shipped ]; then
    cp "$ship"/{chart,scans,cell,holdout-scans}.csv "$dir"/direct
    cp "$ship"/scans.csv "$dir"/shown.csv
    cp "$ship"/holdout-scans.csv "$dir"/held-shown.csv
else
    "$greyloom" chart "$dir"/direct
    "$greyloom" chart "$dir"/direct --patches 60 --out "$dir"/direct/holdout-chart.csv --force
    cp "$dir"/direct/holdout-chart.csv "$dir"/held/chart.csv
    "$greyloom" rehearse "$dir"/direct
    "$greyloom" rehearse "$dir"/direct --chart "$dir"/direct/holdout-chart.csv --seed 2
    "$greyloom" rehearse "$dir"/direct --exact --out "$dir"/shown.csv
    "$greyloom" rehearse "$dir"/held --exact --out "$dir"/held-shown.csv
fi
cp "$dir"/direct/{panel.toml,chart.csv,holdout-chart.csv} "$dir"/pictures
[ ! -e "$dir"/direct/cell.csv ] || cp "$dir"/direct/cell.csv "$dir"/pictures

for project in pictures held; do
    shown=$dir/shown.csv
    [ $project = pictures ] || shown=$dir/held-shown.csv
    "$greyloom" chart "$dir/$project" --scan-frame
    "$python" "$here/draw.py" --project "$dir/$project" --scans "$shown" --out "$dir/$project/scanned"
    "$greyloom" intake image "$dir/$project"/scanned/*.png --project "$dir/$project" --wedge "$dir/$project/scanned/wedge.csv" \
        --out "$dir/$project/read/scans.csv"
done
cp "$dir"/pictures/read/scans.csv "$dir"/pictures/scans.csv
cp "$dir"/held/read/scans.csv "$dir"/pictures/holdout-scans.csv

for project in pictures direct; do
    echo "== from $project"
    "$greyloom" fit "$dir/$project" --levels 32 --budget 12s --out "$dir/$project/fit"
done
