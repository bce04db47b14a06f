"""pdcheck: USB Power Delivery negotiation, decoded and judged, for the repair bench.

Why it is: the library is as usable as the command::

    from pdcheck import open_capture, decode, check
    report = check(decode(open_capture("captures/demo/scanner_charges_at_9v.csv")))
    print(report.verdict.outcome, report.verdict.summary)
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pdcheck.capture import open_capture
    from pdcheck.pipeline import check, decode

__version__ = "0.1.0"
__all__ = ["check", "decode", "open_capture"]


def __getattr__(name: str) -> Any:
    # The rooms cost start-up time (numpy, construct); a command that needs none of them should not pay.
    if name == "open_capture":
        from pdcheck.capture import open_capture

        return open_capture
    if name in ("decode", "check"):
        from pdcheck import pipeline

        return getattr(pipeline, name)
    raise AttributeError(name)
