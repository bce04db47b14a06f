"""Meter and contact readings to findings and to the blocks of the charging path.

Why it is: half of the job happens without a capture. A reading typed in is held against the same tables of the
standard as a captured level, and it speaks in the same words.
"""
