"""What each finding from contact readings means; see :mod:`pdcheck.bench.entries`.

Why it is: the words of the findings stand apart from the conditions under which they are made.
"""

from __future__ import annotations

from pdcheck.bench.entries import LOOK, SHORT_OF_VBUS, Entry
from pdcheck.rules import Severity
from pdcheck.triage import measurements as todo

_CONNECTOR = "USB Type-C, section 3.2 (receptacle interface)"
OPEN = Entry(
    "contact-open", "A contact is open", Severity.FAIL,
    "Its counterpart in the other row shows a reading: the contact is lifted, cracked or dirty, or the solder joint "
    "under the port is open; on CC it may also be the part behind it.", _CONNECTOR,
    (LOOK,),
)
GROUND_OPEN = Entry(
    OPEN.id, OPEN.title, OPEN.severity,
    "Another GND contact reads a short, as all of them must: this one is lifted, cracked or dirty, or its solder joint "
    "is open.", _CONNECTOR, (LOOK,),
)
ROW_OPEN = Entry(
    "row-open", "Several contacts of one row are open", Severity.FAIL,
    "So many contacts of one row seldom fail alone: the row's solder joints, the tongue, or a breakout that is not "
    "fully in.",
    _CONNECTOR, ("Seat the breakout anew and measure again; then look at that row's joints.",),
)
SHORT = Entry(
    "contact-short", "A contact is shorted to ground", Severity.FAIL,
    "Solder, liquid, a bent contact, or a shorted part behind it.", _CONNECTOR,
    ("Clean the port, look between the contacts, then measure again.", todo.CC_FOLLOW.text),
)
VBUS_SHORT = Entry(
    SHORT.id, SHORT.title, SHORT.severity, SHORT.why, SHORT.reference,
    ("Clean the port, look between the contacts, then measure again.", SHORT_OF_VBUS),
)
DIFFERS = Entry(
    "contacts-differ", "Contacts that should be alike differ", Severity.WARN,
    "The standard makes the two the same and boards hang the same on both, as a rule. A damaged part behind one of "
    "them, a poor joint, or a board that differs by design: only a known-good board tells.", _CONNECTOR,
    ("Measure a known-good board with the same meter and compare: pdcheck pins FILE --known-good GOOD.",),
)
DATA_DIFFERS = Entry(
    "data-contacts-differ", "Data contacts that should be alike differ", Severity.INFO,
    "Not on the charging path. A damaged part or a board that differs by design.", _CONNECTOR,
)
BOTH_OPEN = Entry(
    "both-open", "An open contact without anything to compare it with", Severity.INFO,
    "Its counterpart is open as well (not fitted, or both damaged), was not measured, or was read in another kind "
    "(volts against ohms). Symmetry does not tell.", _CONNECTOR,
    ("Measure a known-good board with the same meter and compare: pdcheck pins FILE --known-good GOOD.",),
)
NO_GROUND = Entry(
    "no-ground", "No GND contact reads like ground", Severity.INFO,
    "Where no GND contact reads a short the other probe was, as a rule, not on ground, or the meter was in another "
    "mode.",
    _CONNECTOR, ("Put the other probe on the shell or the board's ground; GND must then read a short.",),
)
NOT_FITTED = Entry(
    "not-fitted", "Contacts that the port does not use", Severity.INFO, "A port leaves out what it does not use.",
    _CONNECTOR,
)
GOOD_DIFFERS = Entry(
    "differs-from-good", "A contact reads otherwise than on a known-good board", Severity.WARN,
    "The same contact of a known-good board reads otherwise. The same meter and range? Another revision of the board?",
    "our own rule", ("Measure this contact once more on both boards with the same meter and range.",),
)
GOOD_OPEN = Entry(
    "open-against-good", "A contact is open and not so on a known-good board", Severity.FAIL,
    "The same contact of a known-good board shows a reading: joint, contact, or the part behind it is open.",
    "our own rule", (todo.CC_FOLLOW.text,),
)
GOOD_SHORT = Entry(
    "short-against-good", "A contact is shorted and not so on a good board", Severity.FAIL,
    "The same contact of a known-good board is not shorted.", "our own rule",
    ("Clean the port, look between the contacts, then measure again.", todo.CC_FOLLOW.text),
)
NOT_COMPARED = Entry(
    "not-compared", "Nothing to compare with the known-good board", Severity.INFO,
    "Only readings of the same kind and contact can be compared.", "our own rule",
    ("Fill in the same column for both boards.",),
)
