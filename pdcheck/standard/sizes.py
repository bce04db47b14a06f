"""How many bytes, objects and places a message may have.

Why it is: what is longer than this is no message but noise, and what is shorter than announced is cut. The line room,
the messages, the rules and the synthesizer ask here. From memory of USB PD, sections 6.2.1 (headers), 6.4.1 and 6.5.15
(capabilities) and 6.13 (MaxExtendedMsgLen, MaxExtendedMsgChunkLen); the objects of a message and the bytes of a chunk
are compared with Linux 6.1 `pd.h`.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB PD, section 6.2.1 (headers) and 6.13 (maximum sizes)"

HEADER_BYTES = EXTENDED_HEADER_BYTES = 2
OBJECT_BYTES = CRC_BYTES = 4
#: Objects of a data message.
MOST_OBJECTS = 7
#: Data bytes of a chunk (MaxExtendedMsgChunkLen), and of a whole extended message (MaxExtendedMsgLen).
CHUNK_BYTES, MOST_EXTENDED_BYTES = 26, 260
#: The longest message: both headers and all data, without its CRC.
MOST_MESSAGE_BYTES = HEADER_BYTES + EXTENDED_HEADER_BYTES + MOST_EXTENDED_BYTES
#: Places of the SPR part of an offer, and of both parts: what is behind the first is EPR.
SPR_PLACES, ALL_PLACES = 7, 13

#: The same as the notes print them.
ALL: tuple[Limit, ...] = (
    Limit("header", None, HEADER_BYTES, None, "bytes", "and as many an extended one", _REF, "memory"),
    Limit("object", None, OBJECT_BYTES, None, "bytes", "", _REF, "memory"),
    Limit("CRC", None, CRC_BYTES, None, "bytes", "", _REF, "memory"),
    Limit("objects of a message", None, None, MOST_OBJECTS, "count", "", _REF, "Linux 6.1 PD_MAX_PAYLOAD 7"),
    Limit("MaxExtendedMsgChunkLen", None, None, CHUNK_BYTES, "bytes", "data of a chunk", _REF,
          "Linux 6.1 PD_EXT_MAX_CHUNK_DATA 26"),
    Limit("MaxExtendedMsgLen", None, None, MOST_EXTENDED_BYTES, "bytes", "data of an extended message", _REF, "memory"),
    Limit("places of an offer, SPR", None, None, SPR_PLACES, "count", "what is behind them is of the EPR part",
          "USB PD, section 6.5.15 (EPR capabilities)", "memory"),
    Limit("places of an offer, SPR and EPR", None, None, ALL_PLACES, "count", "",
          "USB PD, section 6.5.15 (EPR capabilities)", "memory"),
)  # fmt: skip
