try() {
    linewalk scan --quiet --controller none --on "$@"
    echo "exit $?"
}
try /dev/ttyNONE7
try /etc/passwd
try tcp://127.0.0.1
try tcp://127.0.0.1:1
try rtu://127.0.0.1
try nonsense://x
try sim:absent.json
