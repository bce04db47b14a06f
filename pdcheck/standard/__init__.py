"""The numbers and names of the open specifications, each with its reference and where it was compared.

Why it is: a limit that stands in two places will one day differ in them. Nothing outside this room writes
a number of the standard; nothing in this room knows of anything outside it.
"""
