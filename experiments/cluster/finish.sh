#!/bin/sh
# Joins what the shards have left, assesses and reports. Slurm calls the job failed (status 1) if a requirement is not
# shown: that is a result, and the report is there.
#SBATCH --job-name=navassay-finish
#SBATCH --mem=1G
set -eu
exec "${NAVASSAY:-navassay}" finish "$@"
