"""`python -m station.cli` is `coilgate`."""

from station.cli.main import main

main()
