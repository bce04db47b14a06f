"""What to measure next, for each end that a report can come to.

Why it is: the same advice must not stand in ten places in ten wordings. Each list goes from the most telling and
least invasive to the most invasive; nothing is desoldered before the last line. Where a reading to expect is a
fact of the trade it says so.
"""

from __future__ import annotations

FLIP = (
    "Turn the plug over and capture again. Works one way only: a contact or protection part of one CC line, "
    "not the chip."
)
OTHER_CHARGER = "Try another charger and another cable that are known to work with a like unit, and capture again."
#: Where the charger has done its part: the same step, to be sure before anything is opened.
SAME_ELSEWHERE = (
    "Make sure with another charger and another cable that are known to work with a like unit: where the device does "
    "the same there, it is the device."
)
FLAT = (
    "Battery empty? A chip that lives on it is mute until it holds some charge: leave the device on this charger for "
    "half an hour (common practice, no source), unless a cell is swollen, hot or damaged, and capture again."
)
OTHER_DEVICE = "Try this charger and cable on a like unit that is known to charge, and capture again."
CC_OHMS = (
    "Device unpowered, no battery current: ohms from each CC contact to ground, both ways round. Compare CC1 with "
    "CC2; a large difference points to the contact or protection part of that line. Without power the chip shows a "
    "clamp and not 5.1 kohm, so this alone does not convict it."
)
CC_VOLTS = (
    "Plugged in: volts on the active CC contact between packets. About 0.4, 0.9 or 1.7 V tells the charger's "
    "advertisement and that the pull-down is there; near 0 V a short; above 2.6 V no pull-down."
)
CHIP_SUPPLY = (
    "With 5 V on VBUS: measure the supply pin of the chip that negotiates (often 3.3 V; common practice, no "
    "source). No supply: look for what makes it before you suspect the chip."
)
CHIP_BUS = (
    "Look at the bus (two lines with pull-ups, often I2C) between the negotiating chip and the processor: both lines "
    "high at rest, activity after plugging in (common practice, no source)."
)
CC_PATH = "Follow the CC line from contact to chip: protection part, series part, corrosion under the port."
CHIP_LAST = "Only when all of the above is good: the negotiating chip itself."
CHARGER_ALONE = "Measure VBUS at the charger's plug alone, then with a load that needs no negotiation: about 5 V."
VBUS_LOAD = "Capture VBUS (through a divider) and current along with CC: does VBUS sag or collapse when it should rise?"
VBUS_SHORT = (
    "Device unpowered: ohms and diode-mode from VBUS to ground at the port. Far lower than on a good unit: a short "
    "behind the port makes a good charger protect itself."
)
LOWER_OFFER = "Try a charger that offers less (5 V only, or 9 V only): does it negotiate?"

CAPTURE_AGAIN = "Start the capture first, then plug in, and let it run for at least five seconds."
THRESHOLD = (
    "Check the threshold: traffic on CC swings only from 0 to about 1.1 V. Use a scope channel, an analyzer with an "
    "adjustable threshold near 0.55 V, or a comparator."
)
FASTER = "Capture at 4 MS/s or more; 2 MS/s is the least that can be read at all."
TIME_UNIT = (
    "Export times with their unit in the header, as in \"Time [s]\"; if the column counts samples, give the sample "
    "rate with --rate."
)
BOTH_CC = "Capture both CC contacts: the traffic is on one of them, depending on how the plug sits."
LEGACY = (
    "Make sure that this charger is known to speak USB PD: a type A charger or outlet gives VBUS and never talks on CC."
)
GROUND = "Give the probe a short ground lead to the port's shell or a GND contact; keep it off switching coils."
NO_LOAD = "Make sure that the breakout or probe does not load CC: 1 Mohm or more, and short wires."

SINK_SILENT = (FLIP, FLAT, SAME_ELSEWHERE, CC_OHMS, CHIP_SUPPLY, CC_PATH, CHIP_LAST)
SINK_DEAF_LOGIC = (SAME_ELSEWHERE, FLIP, CHIP_SUPPLY, CHIP_BUS, CHIP_LAST)
SOURCE_SILENT = (OTHER_CHARGER, FLIP, OTHER_DEVICE, CC_VOLTS, CHARGER_ALONE)
SOURCE_NO_POWER = (OTHER_CHARGER, VBUS_LOAD, VBUS_SHORT, OTHER_DEVICE, CHARGER_ALONE)
SINK_ASKS_WRONG = (SAME_ELSEWHERE, LOWER_OFFER, CHIP_BUS, CHIP_LAST)
LINK_BAD = (FLIP, OTHER_CHARGER, GROUND, THRESHOLD, CC_PATH)
LOOK_AGAIN = (CAPTURE_AGAIN, BOTH_CC, THRESHOLD, FASTER, NO_LOAD)
