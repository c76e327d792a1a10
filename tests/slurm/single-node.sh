#!/bin/sh
# A Slurm of one node for tests, from Debian's packages slurm-wlm and munge, as root and without systemd. Everything
# it writes is in one folder, and it listens on ports of its own.
#
#   single-node.sh start FOLDER     then: export SLURM_CONF=FOLDER/slurm.conf
#   single-node.sh stop FOLDER
set -eu
what=$1 folder=$2

if [ "$what" = stop ]; then
    for daemon in slurmd slurmctld munged; do
        [ ! -f "$folder/$daemon.pid" ] || kill "$(cat "$folder/$daemon.pid")" || true
    done
    exit 0
fi

mkdir -p "$folder/state" "$folder/spool"
node=$(hostname -s)
memory=$(awk '/^MemTotal/ { print int($2 / 1024 * 0.8) }' /proc/meminfo)

# A key and a socket of its own, so that nothing of the machine's is touched.
head -c 1024 /dev/urandom >"$folder/munge.key"
chmod 400 "$folder/munge.key"
munged --force --key-file="$folder/munge.key" --socket="$folder/munge.socket" --pid-file="$folder/munged.pid" \
    --log-file="$folder/munged.log" --seed-file="$folder/munge.seed"

cat >"$folder/slurm.conf" <<CONF
ClusterName=test
SlurmctldHost=$node(127.0.0.1)
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
AuthInfo=socket=$folder/munge.socket
CredType=cred/munge
SlurmctldPort=26817
SlurmdPort=26818
SlurmctldPidFile=$folder/slurmctld.pid
SlurmdPidFile=$folder/slurmd.pid
SlurmctldLogFile=$folder/slurmctld.log
SlurmdLogFile=$folder/slurmd.log
StateSaveLocation=$folder/state
SlurmdSpoolDir=$folder/spool
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
MailProg=/bin/true
ReturnToService=2
NodeName=$node NodeAddr=127.0.0.1 CPUs=$(nproc) RealMemory=$memory State=UNKNOWN
PartitionName=main Nodes=$node Default=YES State=UP
CONF
export SLURM_CONF="$folder/slurm.conf"
slurmctld
slurmd
for _ in $(seq 30); do
    if sinfo --noheader --format=%t 2>/dev/null | grep -q idle; then exit 0; fi
    sleep 1
done
echo "the node did not come up" >&2
tail -n 20 "$folder"/*.log >&2
exit 1
