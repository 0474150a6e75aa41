"""`python -m limewash`."""

from limewash.cli.main import main

main()
