"""`python -m limewash`."""

from limewash.cli.main import main

if __name__ == "__main__":  # helper processes read this file too
    main()
