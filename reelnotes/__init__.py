"""reelnotes: track + log + clips -> one trip record -> lengths, edit list, sorted clips, trip summary."""

__version__ = "0.1.0"
