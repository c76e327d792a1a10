#!/bin/sh
# One task of the array that submit.sh starts: one share of the trials.
#SBATCH --job-name=navassay
#SBATCH --cpus-per-task=2
#SBATCH --mem-per-cpu=300M
#SBATCH --requeue
#SBATCH --open-mode=append
set -eu
file=$1 folder=$2 shards=$3
status=0
"${NAVASSAY:-navassay}" run "$file" --out "$folder" --shard "$SLURM_ARRAY_TASK_ID/$shards" ${TRIALS:+--trials "$TRIALS"} \
    --threads "${SLURM_CPUS_PER_TASK:-1}" --quiet || status=$?
echo "shard $SLURM_ARRAY_TASK_ID of $shards on $(hostname), attempt $((${SLURM_RESTART_COUNT:-0} + 1)): status $status"
# 3 is a run that could not finish, above 128 one that was killed. Both go on where they stopped, so the queue may try
# again; Slurm waits two minutes before it does. Anything else would end the same way each time.
if { [ "$status" -eq 3 ] || [ "$status" -gt 128 ]; } && [ "${SLURM_RESTART_COUNT:-0}" -lt 3 ]; then
    scontrol requeue "$SLURM_JOB_ID"
fi
exit "$status"
