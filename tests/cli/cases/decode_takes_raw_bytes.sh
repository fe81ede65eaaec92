printf '\001\003\000\020\000\002\305\316\001\003\004\101\040\000\000\357\305' >wire.raw
linewalk decode --raw wire.raw
linewalk decode --raw - <wire.raw | tail -1
