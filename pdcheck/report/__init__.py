"""The report, a plain data object, to text, JSON and a page.

Why it is: how something is shown must not decide what is shown. Nothing is imported here: whoever explains a word of
hex does not pay for the whole path of a capture.
"""
