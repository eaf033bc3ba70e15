import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # the invented trip lies beside the rooms' tests
