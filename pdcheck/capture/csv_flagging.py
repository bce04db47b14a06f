"""Where in a stretch of a file a character stands.

Why it is: line feeds and separators are looked for in every stretch, by several readers of rows, each of which keeps a
room for flags that serves stretch after stretch.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, IntArray

# The place of the only byte of a word that is 1, in the top byte of the word times this.
_FLAG_PLACES = np.uint64(sum(place << 56 >> 8 * place for place in range(8)))


class Flagging:
    """Finds where in a stretch something stands.

    Places of line ends and the like are seldom nearer to each other than eight bytes, so eight flags at a time are one
    word, in which the only one that is set is found by a multiplication.
    """

    def __init__(self) -> None:
        self._room = np.zeros(0, bool)

    def room(self, size: int) -> Flags:
        """A room for so many flags, whatever is in it."""
        if len(self._room) < size + 8:
            self._room = np.zeros(size + 8, bool)
        return self._room[:size]

    def places_of(self, block: Bytes, char: int) -> IntArray:
        """Where a character stands."""
        np.equal(block, char, out=self.room(len(block)))
        return self.places(len(block))

    def places(self, size: int) -> IntArray:
        """Where the first ``size`` flags of the room are set."""
        self._room[size : size + 7] = False
        words = self._room[: (size + 7) & ~7].view(np.uint64)
        places = np.flatnonzero(words != 0)
        found = words[places]
        if bool((found & (found - np.uint64(1))).any()):
            return np.flatnonzero(self._room[:size])
        found *= _FLAG_PLACES
        found >>= np.uint64(56)
        places <<= 3
        places += found.view(np.int64)
        return places
