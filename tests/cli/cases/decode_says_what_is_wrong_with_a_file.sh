printf '01 03 0g' >bad.hex
linewalk decode --hex bad.hex; echo $?
printf '0.1,01\n0.05,02\n' >bad.csv
linewalk decode --timed bad.csv; echo $?
printf 'no capture' >bad.pcapng
linewalk decode bad.pcapng; echo $?
linewalk decode missing.pcapng; echo $?
linewalk decode .; echo $?
linewalk decode; echo $?
linewalk decode --raw bad.hex --hex bad.hex; echo $?
linewalk decode --function 0x100 --raw bad.hex; echo $?
