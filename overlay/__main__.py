"""``python -m overlay`` is the same as the command ``overlay``."""

from overlay.cli.main import main

if __name__ == "__main__":
    main()
