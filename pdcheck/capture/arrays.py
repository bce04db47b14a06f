"""What the arrays hold that the readers of files hand to each other.

Why it is: one name for one kind in the whole room, so that a signature says what is in an array.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Characters of a file.
Bytes = NDArray[np.uint8]
#: Eight characters each, or what is made of them.
Words = NDArray[np.uint64]
#: One for each row, cell or character.
Flags = NDArray[np.bool_]
#: Times and values.
FloatArray = NDArray[np.float64]
#: Numbers of rows, and places in a buffer.
IntArray = NDArray[np.intp]
#: What digits spell.
Integers = NDArray[np.int64]
