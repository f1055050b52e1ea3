#!/usr/bin/env bash
# Runs the job-array recipe of docs/many-machines on a batch scheduler of one machine that lives for this test alone:
# a task that is killed and given again goes on, and the parts together are the table of one run.
#     job_array.sh FOLDER_OF_APPS FOLDER_OF_SOURCES
# Exit code 77 (skipped) where Slurm or the right to start it is missing.
set -euo pipefail
apps=$1 sources=$2
for program in slurmctld slurmd munged sbatch scontrol; do
  PATH=$PATH:/usr/sbin command -v $program >/dev/null || { echo "skipped: no $program"; exit 77; }
done
[ "$(id -u)" = 0 ] || { echo "skipped: the scheduler wants to be root"; exit 77; }

export PATH=$apps:$PATH:/usr/sbin
work=$(mktemp -d) host=$(hostname -s)
stop() {
  for daemon in slurmd slurmctld munged; do
    [ ! -f "$work/$daemon.pid" ] || kill "$(cat "$work/$daemon.pid")" 2>/dev/null || true
  done
  sleep 1
  rm -rf "$work"
}
trap stop EXIT
chmod 755 "$work"
mkdir "$work/state" "$work/spool"
read -r port_of_controller port_of_node < <(python3 - <<'PORTS'
import socket
free = [socket.socket() for _ in range(2)]
for one in free: one.bind(("", 0))
print(*(one.getsockname()[1] for one in free))
PORTS
)

head -c 1024 /dev/urandom >"$work/key" && chmod 600 "$work/key"
munged --force --key-file="$work/key" --socket="$work/munge" --pid-file="$work/munged.pid" \
  --log-file="$work/munged.log" --seed-file="$work/seed" 2>/dev/null
cat >"$work/slurm.conf" <<CONF
ClusterName=skerry
SlurmctldHost=$host
SlurmctldPort=$port_of_controller
SlurmdPort=$port_of_node
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket=$work/munge
StateSaveLocation=$work/state
SlurmdSpoolDir=$work/spool
SlurmctldPidFile=$work/slurmctld.pid
SlurmdPidFile=$work/slurmd.pid
SlurmctldLogFile=$work/slurmctld.log
SlurmdLogFile=$work/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SchedulerParameters=sched_interval=1,batch_sched_delay=1
MpiDefault=none
KillWait=1
NodeName=$host CPUs=$(nproc) State=UNKNOWN
PartitionName=bench Nodes=$host Default=YES State=UP
CONF
export SLURM_CONF=$work/slurm.conf
slurmctld && slurmd
for _ in $(seq 100); do sinfo --noheader -o %T 2>/dev/null | grep -qx idle && break; sleep 0.1; done
sinfo --noheader -o %T | grep -qx idle || { echo "skipped: no scheduler can be started here"; exit 77; }

cd "$work"
firstedge-simulate "$sources/sample_data/bench.plan.json" -o run.h5 --records 1200 --quiet
cp "$sources/sample_data/bench.setup.json" bench.json
firstedge-stamp run.h5 --setup bench.json -o whole.h5 --quiet

# Waits for the end of a job: until no task of it waits or runs.
ended() {
  for _ in $(seq 600); do [ -n "$(squeue --noheader --jobs "$1" 2>/dev/null)" ] || return 0; sleep 0.1; done
}

# The recipe, with a task that is killed on its way and given again.
recipe=$sources/docs/many-machines
job=$(sbatch --parsable --array=1-3 "$recipe/stamp-parts.sbatch" 3 run.h5 bench.json stamps)
for _ in $(seq 600); do [ -e stamps.part-2.h5.journal ] || [ -e stamps.part-2.h5 ] && break; sleep 0.02; done
scancel --full --signal=KILL "${job}_2" 2>/dev/null || true
ended "$job"
again=$(sbatch --parsable --array=2 "$recipe/stamp-parts.sbatch" 3 run.h5 bench.json stamps)
merge=$(sbatch --parsable --dependency=afterok:"$again" "$recipe/merge-parts.sbatch" stamps)
ended "$merge"

cmp stamps.h5 whole.h5
[ -z "$(ls ./*.journal ./*.part 2>/dev/null)" ]
echo "three parts by a job array are the whole, byte for byte"
