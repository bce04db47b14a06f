"""What each finding from readings means: how grave, why it stops charging, where it is written, what to do.

Why it is: a finding from a meter looks like one from a capture, and its words stand in one place, apart from the
conditions under which it is made.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.rules import Effect, Finding, Severity, Who
from pdcheck.triage import measurements as todo

_TYPE_C = "USB Type-C, section 4.5.1 and 4.11 (CC connection, terminations, levels)"
_OURS = "our own rule"

CC_TO_VBUS_OHMS = (
    "Everything unplugged, battery disconnected: ohms from that CC contact to VBUS (--ohm-cc1-vbus, --ohm-cc2-vbus). A "
    "few ohms is a short; 56 kohm is the pull-up of an A-to-C cable."
)
CC_TO_CC_OHMS = (
    "Everything unplugged, battery disconnected: ohms between CC1 and CC2 (--ohm-cc1-cc2). A few ohms: joined. About "
    "10 kohm: two pull-downs, as it should be."
)
SAY_SIDE = "Say where the probes were: --side device, charger or cable."
SAY_ADVERTISED = "Say what this charger advertises, where you know it: --advertises default, 1.5 or 3.0."
BOTH_WAYS = "Measure CC1 and CC2 once more with the plug turned over (--flipped-cc1, --flipped-cc2)."
CHARGER_ALONE = "Measure CC and VBUS with another charger and another cable that are known to work."
OTHER_CABLE = "Use another cable: one with a plug of type C at both ends, or a legacy cable with 56 kohm."
AT_THE_DEVICE = "Plug the device in and measure at its port: CC1, CC2 and VBUS, plug both ways round."
SHORT_OF_VBUS = (
    "Unplugged, battery disconnected: ohms from VBUS to ground before and behind the VBUS switch; the lower side holds "
    "the short (common practice, no source). Look there for a cracked or discoloured capacitor or protection part. "
    "Plug nothing in until it is gone. Whoever injects voltage to find it: battery out, never above the rail's own "
    "voltage, current limited; the part gets hot enough to burn."
)
RISES = (
    "Unplugged, battery disconnected: hold the probes on until the reading stands still, then swap them. One that "
    "rises was a capacitor charging."
)
GOOD_VBUS = "Measure VBUS to ground on a known-good unit with the same meter and range, and compare."
UNPLUG = "Unplug at once: a CC contact at the volts of VBUS may destroy the chip on either end. Touch no contact live."
LOOK = "Look at the contact and its joint under the microscope, press lightly on the shell and measure again."
GOOD_BOARD = "Measure both contacts of a known-good board with the same meter and range, and compare."
CC_BESIDE = "Measure CC1 and CC2 at the same place."
FRESH_START = (
    "Leave the device on the charger for half an hour, unless a cell is swollen, hot or damaged, and stay with it: a "
    "cell that is flat to the bottom wakes slowly (common practice, no source). Then measure again."
)


@dataclass(frozen=True)
class Entry:
    """The standing text of a finding; see :class:`pdcheck.rules.Finding`."""

    id: str
    title: str
    severity: Severity
    why: str
    reference: str = _TYPE_C
    next: tuple[str, ...] = ()

    def says(self, summary: str, *, who: Who | None = None, effect: Effect | None = None) -> Finding:
        """A finding of this entry; a failure convicts and anything else only notes, unless ``effect`` says "
        "otherwise."""
        usual = Effect.CONVICTS if self.severity is Severity.FAIL else Effect.NOTES
        return Finding(
            rule=self.id, severity=self.severity, who=who, t_s=None, summary=summary, why=self.why,
            reference=self.reference, next=self.next, effect=effect or usual, stops_at=None,
        )


CC_TOO_HIGH = Entry(
    "cc-above-limit", "CC carries more than the standard ever puts on it", Severity.FAIL,
    "Nothing in the standard puts more than 5.5 V on a CC contact. It is joined to VBUS, and what hangs on it may be "
    "damaged.",
    next=(UNPLUG, CC_TO_VBUS_OHMS, todo.PINS.text, todo.CC_FOLLOW.text),
)
CC_IS_VBUS = Entry(
    "cc-equals-vbus", "CC reads the same volts as VBUS", Severity.INFO,
    "A short to VBUS reads like this, and so does an open pull-up from 5 V or VCONN. Volts do not tell them apart.",
    next=(CC_TO_VBUS_OHMS,),
)
NO_PULL_DOWN = Entry(
    "no-pull-down", "A pull-up arrives and nothing pulls it down", Severity.FAIL,
    "The charger finds nobody and keeps VBUS off or at the default. The contact, the protection part or the chip may "
    "be open; a chip without supply, too. Which of them this reading does not tell.",
    next=(BOTH_WAYS, todo.PINS.text, todo.CC_OHMS.text, todo.CHIP_SUPPLY.text, todo.CC_FOLLOW.text),
)
PULL_UP_OR_SHORT = Entry(
    "cc-at-vbus", "CC lies at VBUS", Severity.FAIL,
    "Either way no charger sees the device there. An open pull-up from 5 V (a legacy cable) reads like a short to "
    "VBUS; ohms without power tell them apart.", next=(CC_TO_VBUS_OHMS, BOTH_WAYS, todo.PINS.text),
)
PULL_UP_ALONE = Entry(
    "pull-up-alone", "A pull-up without a partner", Severity.INFO,
    "A free plug on a charger's cable shows this. With a device plugged in it means that nothing pulls down.",
    next=(SAY_SIDE, BOTH_WAYS),
)
PULLS_UP = Entry(
    "rp-on-wrong-side", "The device pulls up as a charger does", Severity.FAIL,
    "Two chargers face each other: neither sees a sink and nothing charges. A device that can also be a charger may "
    "have got stuck in that role; its chip, what commands it over the bus, or both CC lines pulled up by a leak.",
    next=(todo.FLIP.text, CC_TO_VBUS_OHMS, todo.CHIP_SUPPLY.text, todo.CAPTURE.text),
)
NO_PULL_UP = Entry(
    "no-pull-up", "No pull-up arrives", Severity.INFO,
    "No pull-up arrives on either contact: the charger is off or dead, the CC wire or a contact is open, or CC is "
    "shorted to ground. These readings do not tell which. At the free plug of a cable VBUS must not stand without a "
    "pull-up.",
    next=(todo.OTHER_CHARGER.text, BOTH_WAYS, todo.CC_OHMS.text),
)
OTHER_HIGH = Entry(
    "other-cc-high", "The contact that CC does not use is not at ground", Severity.WARN,
    "The contact that the plug does not use for CC should rest at ground here. VCONN for a cable reads like this, and "
    "so does a leak from VBUS.",
    next=(CC_TO_VBUS_OHMS, BOTH_WAYS),
)
FREE_LEVEL = Entry(
    "level-without-partner", "A level on one contact of a free port", Severity.WARN,
    "A sink's free port lies at ground, and a dual-role port moves both contacts alike. A level on one alone comes "
    "from a leak, or the other contact is open.", next=(CC_TO_VBUS_OHMS, todo.CC_OHMS.text, todo.PINS.text),
)
TOGGLING = Entry(
    "dual-role-toggling", "A dual-role port looks for a partner", Severity.INFO,
    "A dual-role port pulls up and down in turns until it finds a partner; a meter shows an average that means "
    "nothing.",
)
BOTH_LEVEL = Entry(
    "both-cc-level", "Both CC contacts carry a level", Severity.INFO,
    "A plain charger and cable put a level on one contact only. Both carry one in a debug accessory, or when CC1 and "
    "CC2 are joined by liquid or solder.",
    next=(CC_TO_CC_OHMS, BOTH_WAYS),
)
NEAR_GROUND = Entry(
    "cc-near-ground", "CC lies near ground at a charger", Severity.WARN,
    "The charger takes it for Ra, but 800 ohm and more would show a higher level: the contact may be shorted to ground "
    "or may have no pull-up. The plug of a fixed cable has CC on one contact only (say --side cable).",
    next=(SAY_SIDE, "Unplug everything from the charger and measure both contacts at its own port once more."),
)
LEVEL_LOW = Entry(
    "level-below-advertisement", "CC is lower than the advertisement makes it", Severity.WARN,
    "The device reads a lower advertisement than the charger makes and draws less. A chip without power clamps CC at "
    "about 1.1 V; 1 kohm (Ra) in place of 5.1 kohm, a leak to ground or a pull-down too small read so as well.",
    next=(todo.CHIP_SUPPLY.text, todo.CC_OHMS.text, BOTH_WAYS),
)
LEVEL_HIGH = Entry(
    "level-above-advertisement", "CC is higher than the advertisement makes it", Severity.WARN,
    "The pull-down or what lies in series with it (a worn contact, a damaged protection part) is too large, or the "
    "pull-up claims more than the charger can give.",
    next=(todo.OTHER_CHARGER.text, BOTH_WAYS, todo.CC_OHMS.text),
)
BETWEEN_BANDS = Entry(
    "level-between-bands", "The level lies between two advertisements", Severity.INFO,
    "Two devices may read this level differently. A pull-up and a pull-down at opposite ends of their tolerances, a "
    "bad contact, or a loaded meter.",
    next=(todo.OTHER_CHARGER.text, BOTH_WAYS),
)
STATE_BETWEEN = Entry(
    "state-between", "More than one attach state fits", Severity.INFO,
    "More than one thing at the other end shows these levels.",
    next=(SAY_SIDE, BOTH_WAYS, SAY_ADVERTISED, todo.OTHER_CHARGER.text),
)
SIDE_NOT_SAID = Entry(
    "side-not-said", "It was not said where the probes were", Severity.INFO,
    "Both contacts of a charger stand open while nothing is plugged in. At a device with a charger plugged in, the "
    "same levels mean that nothing pulls down.",
    next=(SAY_SIDE, BOTH_WAYS),
)
STATE_UNKNOWN = Entry(
    "not-enough-measured", "Too little was measured to tell what is attached", Severity.INFO,
    "One contact alone does not tell what is attached.",
    next=("Measure the other CC contact as well.", SAY_SIDE),
)
ACCESSORY = Entry(
    "accessory", "The levels are those of an accessory", Severity.INFO,
    "No charger shows this to a device, and no device to a charger, unless a contact is shorted.",
    next=(CC_TO_CC_OHMS, todo.CC_OHMS.text),
)
CABLE_LIES = Entry(
    "cable-pull-up-lies", "A legacy cable claims more than it may", Severity.FAIL,
    "A legacy cable must advertise Default USB power (56 kohm), because it cannot know what is behind its type A plug. "
    "One that claims more makes the device overload the port, which switches off or sags.",
    "USB Type-C, section 3.5 (legacy cable assemblies) and 4.11.1 (Rp)", (OTHER_CABLE,),
)
CABLE_PULL_UP = Entry(
    "cable-pull-up-wrong", "A legacy cable's pull-up is out of tolerance", Severity.FAIL,
    "A legacy cable's pull-up is 56 kohm, 20 %. The device may not see the charger or may read a wrong advertisement.",
    "USB Type-C, section 3.5 (legacy cable assemblies) and 4.11.1 (Rp)", (OTHER_CABLE,),
)
VBUS_MISSING = Entry(
    "vbus-missing", "Attached, and no VBUS", Severity.FAIL,
    "Charger and device see each other over CC and no power comes. The charger may not switch, VBUS or ground may be "
    "open in cable or port, or a short behind the port may make a good charger protect itself.",
    "USB Type-C, section 4.5.2 (VBUS after attach)", (todo.OTHER_CHARGER.text, todo.VBUS_OHMS.text, todo.PINS.text),
)
VBUS_LOW = Entry(
    "vbus-low", "Attached, and VBUS is low", Severity.WARN,
    "VBUS sags or pulses: a weak charger, a bad cable or contact, or a device that draws too much.",
    "USB PD, section 7.4 (vSafe5V)", (todo.OTHER_CHARGER.text, todo.VBUS_OHMS.text),
)
VBUS_EARLY = Entry(
    "vbus-without-attach", "VBUS is on with nobody attached", Severity.WARN,
    "A type C charger keeps VBUS off until it sees a pull-down. A legacy charger or cable gives it always.",
    "USB Type-C, section 4.5.2 (VBUS after attach)",
)
VBUS_OFF_CONTRACT = Entry(
    "vbus-not-at-contract", "VBUS is not at the voltage that the contract says", Severity.FAIL,
    "A contract was made and its voltage is not there.",
    "USB PD, section 7.4 (vSrcNew, vSrcValid)", (todo.OTHER_CHARGER.text, todo.VBUS_OHMS.text),
)
VBUS_ABSENT = Entry(
    "vbus-absent", "No VBUS, and CC was not measured", Severity.INFO,
    "A type C charger gives VBUS only after it has seen a pull-down on CC. Without the levels of CC nobody can be "
    "named.",
    "USB Type-C, section 4.5.2 (VBUS after attach)", (CC_BESIDE, SAY_SIDE),
)
BACKFED = Entry(
    "vbus-backfed", "The device feeds VBUS to a free port", Severity.WARN,
    "A device gives no VBUS to a free port. Its VBUS switch does not open, or it takes the port for a charger's.",
    "USB Type-C, section 4.5.2 (VBUS)", (todo.BEHIND_SWITCH.text, todo.PINS.text),
)
VBUS_IMPOSSIBLE = Entry(
    "vbus-beyond-any-contract", "VBUS reads more than any contract gives", Severity.WARN,
    "No contract of USB PD goes beyond 48 V. Either the reading is wrong (range, decimal point, AC instead of DC, flat "
    "battery of the meter), or something feeds the port that must not.", "USB PD, section 6.4.1 (EPR, at most 48 V)",
    ("Unplug, touch nothing, and check the meter on a known voltage. Only then measure again, the charger alone.",),
)
VBUS_ALONE = Entry(
    "vbus-alone", "VBUS alone does not tell", Severity.INFO,
    "VBUS comes over other contacts than CC. It reads so whether or not the chip talks and whether or not anything "
    "charges.", _OURS, (todo.CURRENT.text, CC_BESIDE, todo.CAPTURE.text),
)
VBUS_RAISED = Entry(
    "vbus-raised", "VBUS is above 5 V", Severity.INFO,
    "A charger gives more than 5 V when it was asked to: over USB PD, or over D+ and D- by another scheme. One that "
    "does so unasked is faulty. A capture of CC tells which.", _OURS,
)
REVERSED = Entry(
    "probes-reversed", "A reading lies below ground", Severity.INFO,
    "No contact of the port lies below ground: the probes are swapped, or the black one is not on ground.", _OURS,
    ("Put the black probe on the shell or on a GND contact and measure again.",),
)
LOADED = Entry(
    "meter-loads-cc", "The meter itself pulls CC down", Severity.INFO,
    "A meter of low input resistance pulls an open CC down until it looks like a pull-down.", _OURS,
    ("Use a meter of 10 Mohm.",),
)
ONE_ROW = Entry(
    "one-orientation-dead", "It works with the plug one way round only", Severity.FAIL,
    "What both ways share (charger, cable, the chip's supply) works. What is left belongs to one CC line: its contact, "
    "its protection part, or the chip's own pin.", _OURS, (todo.PINS.text, todo.CC_OHMS.text, todo.CC_FOLLOW.text),
)
BOTH_ROWS = Entry(
    "both-orientations-dead", "It works neither way round", Severity.FAIL,
    "Two contacts seldom fail at once. What both ways share: the chip, its supply, or the port as a whole.", _OURS,
    (todo.CHIP_SUPPLY.text, todo.PINS.text, todo.CC_OHMS.text),
)
NOT_FLIPPED = Entry(
    "not-flipped", "The plug was not turned over", Severity.INFO,
    "Turning the plug over moves CC to the other contact.", _OURS,
    ("Turn the plug over and take the second pair of readings again.",),
)
SHORT = Entry(
    "cc-short-to-ground", "CC is shorted to ground", Severity.FAIL,
    "No pull-up can lift the contact: nobody is seen through it. Solder or liquid at the contact, a shorted protection "
    "part, or the chip's pin.", next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
LEAK = Entry(
    "cc-low-to-ground", "CC is low to ground", Severity.WARN,
    "Lower than any pull-down. Liquid, a damaged protection part, or a meter that wakes the chip; a good unit tells.",
    next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
ONE_OPEN = Entry(
    "cc-contact-open", "One CC contact is open to ground, the other is not", Severity.FAIL,
    "A port hangs the same on both CC contacts, and the other one shows what hangs there. What is missing belongs to "
    "one line: contact, protection part, or the chip's own pin.", _OURS,
    (LOOK, todo.FLIP.text, todo.PINS.text, todo.CC_FOLLOW.text),
)
DIFFER = Entry(
    "cc-contacts-differ", "CC1 and CC2 differ to ground", Severity.WARN,
    "A port hangs the same on both CC contacts. What differs belongs to one line: contact, protection part, or the "
    "chip's own pin. A meter reads the clamp of a chip without power as almost anything: this alone does not convict.",
    _OURS, (GOOD_BOARD, todo.FLIP.text, todo.PINS.text, todo.CC_FOLLOW.text),
)
RA_AT_DEVICE = Entry(
    "ra-at-device", "The device shows a cable's resistor (Ra)", Severity.WARN,
    "800 to 1200 ohm is what a powered cable or an audio accessory shows. A charger does not take it for a sink.",
    next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
RD_LOOSE = Entry(
    "rd-default-only", "The pull-down is good for default power only", Severity.INFO,
    "Good for a device that draws default current; one that reads the charger's advertisement needs 5.1 kohm, 10 %.",
)
RD_OFF = Entry(
    "rd-out-of-tolerance", "The pull-down is no resistor of the standard", Severity.WARN,
    "Not a resistor of the standard. A chip without power shows a clamp and not 5.1 kohm, and a meter reads a clamp as "
    "almost anything: this alone does not convict the chip.", next=(todo.CC_VOLTS.text, todo.PINS.text),
)
RD_OPEN = Entry(
    "cc-open", "CC is open to ground", Severity.INFO,
    "A chip without power may show nothing to an ohmmeter; so do an open contact and an open protection part. This "
    "alone does not convict the chip.", next=(todo.CC_VOLTS.text, todo.PINS.text),
)
JOINED = Entry(
    "cc-contacts-joined", "CC1 and CC2 are joined", Severity.FAIL,
    "Both pull-downs act as one and the charger cannot tell which way the plug sits. Solder, liquid, or a damaged "
    "protection part.", next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
CC_VBUS = Entry(
    "cc-short-to-vbus", "CC is shorted to VBUS", Severity.FAIL,
    "Power reaches the CC line: the charger sees no sink, and more than 5 V may have damaged the chip. A4 (VBUS) lies "
    "beside A5 (CC1), B4 beside B5 (CC2).", next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
CC_VBUS_LEAK = Entry(
    "cc-leak-to-vbus", "CC leaks to VBUS", Severity.WARN,
    "A port joins CC and VBUS by nothing that a meter sees. Liquid or a damaged protection part.",
    next=(todo.PINS.text, todo.CC_FOLLOW.text),
)
VBUS_SHORT = Entry(
    "vbus-short", "VBUS is shorted to ground", Severity.FAIL,
    "A good charger protects itself and gives no power. Protection parts and capacitors at the port, or the VBUS "
    "switch.",
    _OURS, (SHORT_OF_VBUS, todo.PINS.text),
)
VBUS_LEAK = Entry(
    "vbus-low-to-ground", "VBUS is low to ground, and no short", Severity.WARN,
    "A capacitor that charges reads low for a moment and then rises. What stays low draws current at 5 V and turns "
    "to heat at 20 V: liquid, or a damaged capacitor, protection part or switch. Up to 500 ohm counts as low (our own "
    "choice); only a good unit tells what is right here.", _OURS,
    (RISES, GOOD_VBUS, SHORT_OF_VBUS),
)
DRAWS = Entry(
    "current-draw", "What the device draws", Severity.INFO, "What flows tells which part of the path lives.", _OURS,
)
DRAWS_LITTLE = Entry(
    "draws-too-little", "The device draws too little to charge", Severity.WARN,
    "The device does not charge, or its battery is full. Current alone does not tell which.", _OURS,
)
DRAWS_TOO_MUCH = Entry(
    "draws-too-much", "The device draws more than it may", Severity.WARN,
    "The device draws more than it may: it misreads the advertisement, or something behind the port is shorted. The "
    "charger may switch off.", "USB Type-C, section 4.6; USB PD, section 6.4.2 (Request)",
    (todo.VBUS_OHMS.text, todo.CAPTURE.text),
)
