# A request glued to its reply, a stray byte, a broken reply, a node that refuses, one that is silent.
cat >wire.hex <<'END'
# made by hand
01 03 00 10 00 02 c5 ce 01030441200000efc5
ff
02:03:00:10:00:02:c5:fd, 0x02 0x03 0x04 0x41 0x20 0x00 0x01 0x1d 0x05
01 03 00 10 00 02 c5 ce 01 03 04 40 20 00 00 ef c5
01 03 00 10 00 02 c5 ce 01 83 02 c0 f1
02 03 00 10 00 02 c5 fd
END
linewalk decode --hex wire.hex
echo
linewalk decode --frames --hex wire.hex
echo
linewalk decode --errors --csv --hex wire.hex
