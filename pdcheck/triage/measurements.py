"""What can be measured on the charging path, from the easiest to the most invasive, and of which blocks it tells.

Why it is: the next step is chosen by what it splits, not by a fixed list; what a block needs stands here once.
"""

from __future__ import annotations

from pdcheck.triage.model import Block, Measurement

OTHER_CHARGER = Measurement(
    "other_charger",
    "Try another charger and another cable, both known to charge a like unit.",
    frozenset({Block.CHARGER, Block.CABLE}),
)
FLIP = Measurement(
    "flip",
    "Turn the plug over and repeat. Works one way only: contact, protection part or the chip's own pin of that CC "
    "line; what both ways share is good.",
    frozenset({Block.PORT, Block.CC_PATH}),
    frozenset({Block.CC_PATH}),
)
CURRENT = Measurement(
    "current",
    "Read the input current for a minute: more than 0.5 A charges, 20 to 40 mA only keeps the electronics alive "
    "(common practice, no source).",
    frozenset({Block.VBUS_SWITCH, Block.CHARGER_STAGE, Block.BATTERY}),
    frozenset({Block.CHARGER_STAGE}),
)
VBUS = Measurement(
    "vbus",
    "Volts on VBUS at the port, plugged in: about 5 V before a contract, the contract's voltage after. A sag is the "
    "charger, the cable, or a short behind the port.",
    frozenset({Block.CHARGER, Block.CABLE, Block.PORT, Block.VBUS_SWITCH}),
)
CC_VOLTS = Measurement(
    "cc_volts",
    "Volts on CC1 and CC2 at the port, plugged in, plug both ways (pdcheck measure): is the charger's pull-up there, "
    "and the device's pull-down?",
    frozenset({Block.CABLE, Block.CHARGER, Block.PORT, Block.CC_PATH}),
    frozenset({Block.CC_PATH, Block.CABLE}),
)
CAPTURE = Measurement(
    "capture",
    "Capture CC while plugging in (pdcheck decode): it shows whether the chip answers and asks.",
    frozenset({Block.CHIP, Block.CHIP_SUPPLY, Block.CHARGER}),
    frozenset({Block.CHIP, Block.CHIP_SUPPLY}),
)
PINS = Measurement(
    "pins",
    "Unpowered, battery disconnected: diode-mode readings of all contacts (pdcheck pins): opens and shorts of the "
    "contacts and of what hangs on them.",
    frozenset({Block.PORT, Block.CC_PATH}),
)
CC_OHMS = Measurement(
    "cc_ohms",
    "Unpowered, battery disconnected: ohms from CC1, from CC2 to ground, and between the two; compare the two. A chip "
    "without power shows a clamp and not 5.1 kohm, so this alone does not convict it.",
    frozenset({Block.PORT, Block.CC_PATH}),
    frozenset({Block.CC_PATH}),
)
VBUS_OHMS = Measurement(
    "vbus_ohms",
    "Unpowered, battery disconnected: ohms from VBUS to ground at the port, against a good unit. Far lower: a short "
    "in or before the VBUS switch makes a good charger protect itself.",
    frozenset({Block.VBUS_SWITCH, Block.PORT}),
    frozenset({Block.VBUS_SWITCH}),
)
BATTERY_VOLTS = Measurement(
    "battery_volts",
    "Battery voltage at its connector, and its sensor's reading against a good unit; a cell below some 2.5 V is "
    "charged with a trickle or not at all (common practice, no source).",
    frozenset({Block.BATTERY}),
)
BEHIND_SWITCH = Measurement(
    "behind_switch",
    "Plugged in: volts before and behind the VBUS switch, with insulated tips. VBUS before and nothing behind: the "
    "switch or what tells it to close.",
    frozenset({Block.VBUS_SWITCH}),
)
CHIP_SUPPLY = Measurement(
    "chip_supply",
    "Plugged in: the supply pin of the negotiating chip (often 3.3 V), then both lines of its bus high at rest (common "
    "practice, no source). No supply: look for what makes it before you suspect the chip.",
    frozenset({Block.CHIP_SUPPLY}),
)
CC_FOLLOW = Measurement(
    "cc_follow",
    "Unpowered: follow CC from the contact to the chip's pin: protection part, series part, corrosion under the port.",
    frozenset({Block.CC_PATH, Block.PORT}),
    frozenset({Block.CC_PATH}),
)
STAGE_SUPPLY = Measurement(
    "stage_supply",
    "Plugged in: the charger stage's input, its output towards the battery, its enable and its temperature pin, "
    "against a good unit.",
    frozenset({Block.CHARGER_STAGE}),
)

#: What needs a charger plugged in, or says no more, where VBUS is known to be shorted to ground.
MOOT_WITH_VBUS_SHORT = frozenset(
    m.name for m in (
        CURRENT, FLIP, VBUS, CC_VOLTS, CAPTURE, VBUS_OHMS, BATTERY_VOLTS, BEHIND_SWITCH, CHIP_SUPPLY, STAGE_SUPPLY,
    )
)

#: From the easiest on. Nothing here desolders anything.
ALL: tuple[Measurement, ...] = (
    CURRENT, OTHER_CHARGER, FLIP, VBUS, CC_VOLTS, CAPTURE, PINS, CC_OHMS, VBUS_OHMS, BATTERY_VOLTS, BEHIND_SWITCH,
    CHIP_SUPPLY, CC_FOLLOW, STAGE_SUPPLY,
)
