"""Messages to a conversation: acknowledgements and retries folded in, exchanges, contracts, resets, steps.

Why it is: a report speaks of who owed what. Here it is written down who said what to whom and what came of it,
without any judgement whether that is good.
"""

from pdcheck.conversation.follow import follow
from pdcheck.conversation.model import (
    Contract,
    Conversation,
    Ending,
    Exchange,
    Negotiation,
    Party,
    Silence,
    Step,
    Transmission,
)

__all__ = [
    "Contract", "Conversation", "Ending", "Exchange", "Negotiation", "Party", "Silence", "Step", "Transmission",
    "follow",
]
