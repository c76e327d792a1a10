#!/bin/sh
# Runs an experiment as a Slurm job array and joins the shares when all are done:
#
#   experiments/cluster/submit.sh FILE DIR SHARDS [options for the array, such as --partition=main --time=02:00:00]
#
# FILE and DIR must be on a file system that all nodes share. The same command again goes on where the last one
# stopped: parts that stand in DIR are not made again. TRIALS and NAVASSAY may name a number of trials and a program.
set -eu
[ "$#" -ge 3 ] || { sed -n '2,7s/^# \{0,1\}//p' "$0" >&2; exit 2; }
here=$(cd "$(dirname "$0")" && pwd)
file=$(realpath "$1") folder=$(realpath -m "$2") shards=$3
shift 3
mkdir -p "$folder.logs"
array=$(sbatch --parsable --array="1-$shards" --output="$folder.logs/shard-%a.txt" "$@" \
    "$here/shard.sh" "$file" "$folder" "$shards")
finish=$(sbatch --parsable --dependency="afterok:$array" --kill-on-invalid-dep=yes \
    --output="$folder.logs/finish.txt" "$here/finish.sh" "$folder" "$file")
echo "array $array, then $finish; logs in $folder.logs"
