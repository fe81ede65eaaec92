# SPDX-License-Identifier: GPL-3.0-or-later
# What the guest does, read by its init. "> WORD ..." on the console asks the host to do its part, which it answers with a
# line; "= NAME" opens a part of the transcript, "= end" closes it.
USB=/dev/ttyUSB0
UART=/dev/ttyS1
POWER=/sys/class/tty/ttyUSB0/device/../../power/control
export LC_ALL=C COLUMNS=80
cd /tmp
stty -echo

ask() { echo "> $*"; read -r answer; }
part() { echo "= $1"; shift; "$@"; echo "exit $?"; echo "= end"; }
on() { line=$1 check=$2; shift 2; $with linewalk $check --on $line --plan /plan/${plan:-plan}.json --controller none --listen-first 200ms "$@"; }
settings() { stty -F $1 -a; cat /sys/class/tty/${1#/dev/}/device/latency_timer $POWER; }

# Runs a check until the host has seen 12 requests of it, then lets `what` happen; prints exit status and record.
broken() {
    line=$1 check=$2 visit=$3 what=$4
    shift 4
    ask arm 12
    (with=exec; on $line $check --visit /tmp/$visit --json --quiet "$@" > out.json) &
    pid=$!
    ask reached
    cat $POWER
    $what $pid
    wait $pid
    echo "status $?"
    cat out.json
}
pull() { ask unplug; }
int() { kill -INT $1; }
term() { kill -TERM $1; }
hup() { kill -HUP $1; }
# As an ordinary system leaves it: the group that may, and the timer's usual value, which the emulated chip does not have.
plug_in() {
    ask plug_in
    n=0
    while [ ! -e $USB ] && [ $n -lt 600 ]; do usleep 100000; n=$((n+1)); done
    chown 0:20 $USB
    chmod 660 $USB
    echo 16 > /sys/class/tty/ttyUSB0/device/latency_timer
    echo auto > $POWER
}

with=
part guest serial_guest
part plug_in plug_in
part lsusb lsusb -v
part ports_json linewalk ports --json
part ports linewalk ports
part port linewalk ports $USB
part settings_before settings $USB
for line in $USB $UART; do
    name=${line#/dev/}
    part scan_$name on $line scan --addresses 1-6 --slowest-reply 500ms --json --quiet
    part roster_$name on $line roster --json --quiet
    plan=patient part link_$name on $line link --seconds 3 --json --quiet
    plan=patient part noise_$name on $line noise --seconds 3 --json --quiet
    part commission_$name on $line commission --addresses 1-6 --visit /tmp/visit-$name --quiet
done
part rts_ttyS1 linewalk scan --on $UART --plan /plan/rts.json --controller none --listen-first 200ms --addresses 1-6 \
    --slowest-reply 500ms --json --quiet
part interrupted broken $USB noise v1 int --seconds 60
part terminated broken $USB noise v2 term --seconds 60
part hung_up broken $USB noise v3 hup --seconds 60
part settings_after settings $USB
part pulled_in_scan broken $USB scan v4 pull --addresses 1-60 --slowest-reply 500ms
part plug_in plug_in
part scan_again on $USB scan --addresses 1-6 --slowest-reply 500ms --json --quiet
part pulled_in_noise broken $USB noise v5 pull --seconds 60
part plug_in plug_in
part noise_again on $USB noise --seconds 3 --json --quiet
