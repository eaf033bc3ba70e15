"""``python -m reelnotes``."""

from reelnotes.cli import main

if __name__ == "__main__":
    main()
