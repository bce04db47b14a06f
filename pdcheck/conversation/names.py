"""Which messages are offers, requests and answers to them.

Why it is: pairing, following and the steps must mean the same messages by the same word.
"""

from __future__ import annotations

LONG_OFFER = "EPR_Source_Capabilities"
OFFERS = ("Source_Capabilities", LONG_OFFER)
LONG_REQUEST = "EPR_Request"
REQUESTS = ("Request", LONG_REQUEST)
ANSWERS = ("Accept", "Reject", "Wait")
#: What the revision field of a header stands for.
REVISIONS = {0: "1.0", 1: "2.0", 2: "3.x"}
#: Swaps after which the other port feeds VBUS.
POWER_SWAPS = ("PR_Swap", "FR_Swap")
