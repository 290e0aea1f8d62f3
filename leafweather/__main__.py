"""``python -m leafweather`` is the command ``leafweather``."""

from leafweather.cli import main

if __name__ == "__main__":
    main()
