"""`python -m layoutgen` is the command line."""

from layoutgen.cli import main

if __name__ == "__main__":
    main()
