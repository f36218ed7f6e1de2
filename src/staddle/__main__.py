"""``python -m staddle``: the same as the command."""

from staddle.cli.main import main

if __name__ == "__main__":
    main()
