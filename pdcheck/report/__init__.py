"""The report, a plain data object, to text, JSON and a page.

Why it is: how something is shown must not decide what is shown.
"""

from pdcheck.report.model import Report

__all__ = ["Report"]
