linewalk --help
linewalk scan --help
