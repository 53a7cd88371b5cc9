"""Run haulplan as `python -m haulplan`."""

from haulplan.cli import main

if __name__ == "__main__":
    main()
