"""`python -m corepath` is the command `corepath`."""

from corepath.cli import main

if __name__ == "__main__":
    main()
