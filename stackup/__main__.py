"""``python -m stackup`` is the command ``stackup``."""

from stackup.cli import main

if __name__ == "__main__":
    main()
