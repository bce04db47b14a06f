"""The casebook room: cases kept in one SQLite file, found again by likeness, counted honestly, shared without names.

Why it is: half of a repair is the memory of last month's case. From Python::

    from pdcheck.casebook import Casebook, KeptCase
    with Casebook.open("bench.db", write=True) as book:
        number = book.add(KeptCase(device="ferry scanner (invented)", symptom="5 V only, 30 mA"))
"""

from __future__ import annotations

from pdcheck.casebook.fingerprint import Fingerprint
from pdcheck.casebook.likeness import Query, rank
from pdcheck.casebook.model import Held, KeptCase, Note, Part, Reading, Status
from pdcheck.casebook.outcomes import Outcomes, count_outcomes
from pdcheck.casebook.store import Casebook, casebook_path

__all__ = [
    "Casebook", "Fingerprint", "Held", "KeptCase", "Note", "Outcomes", "Part", "Query", "Reading", "Status",
    "casebook_path", "count_outcomes", "rank",
]
