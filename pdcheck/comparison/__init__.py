"""Two judged captures side by side: where they part, what differs, what a flip of the plug proves.

Why it is: most of a repair is comparison, with a good unit, with before, with the plug the other way. This room takes
verdicts and conversations as they are, reads no file, and accuses nobody by itself.
"""

from pdcheck.comparison.flipped import Pair, Proof, flipped
from pdcheck.comparison.judge import compare
from pdcheck.comparison.model import Alike, Comparison, Judged

__all__ = ["Alike", "Comparison", "Judged", "Pair", "Proof", "compare", "flipped"]
