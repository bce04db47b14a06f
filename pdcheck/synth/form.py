"""The text form of a scenario, whole and commented: itself a scenario that can be played.

Why it is: whoever writes a scenario starts from an example. A test plays this one, and checks that no setting and no
manner of a message is missing from it, so that it cannot fall behind the reader.
"""

from __future__ import annotations

EXAMPLE = """\
# A scenario says who says what when on CC, and what goes wrong. One line, one thing; # starts a comment.
# Settings come first, then steps. A step begins with a time: 0.2s from the start, +3ms from where the line above
# ended (for a message: where its acknowledgement ended, or the last of its tries was given up).
# Times: s ms us ns. Volts: V mV. Amps: A mA. Watts: W mW.

# --- The file
title   Everything that can be written       # for the reader of this text only
file    everything.csv                       # .csv or .vcd, each with .gz if wanted; without it: this text's name
seed    1                                    # any words; another seed gives other jitter, chatter and noise
format  edges at 24MS/s                      # edges | edges at 24MS/s | samples at 4MS/s | vcd | vcd in 10ns
column  time "Time [ms]" in ms               # time cc low high vbus current, each with a header; time in s ms us ns
column  low "Channel 0"                      # low and high: columns where nothing moves
column  cc "Channel 1"
column  high "Channel 2"
column  vbus "VBUS [V]"
column  current "Current [A]"
table   semicolon, decimal comma             # comma semicolon tab, decimal comma, crlf, byte order mark, no header
above   "# a line above the header"
every   5ms                                  # vbus and current get a row at least this often
zero    at 0.05s                             # what the file calls time 0

# --- The line
idle    low                                  # the level that nobody drives: low | high
skew    +0.1us                               # rising edges half of it late, falling ones half of it early
jitter  15ns                                 # standard deviation of every edge
rate    source 301k, sink 296k, cable 290k   # or one for all: rate 300k
revision 3.x                                 # or: revision source 3.x, sink 2.0
source  is DFP                               # data role of the source: DFP | UFP
acknowledge 60us                             # from a message to its GoodCRC
lead    0.8us                                # the driver holds the line low before a packet (0us: not at all)
release 4us                                  # and after it
noise   vbus 10mV, current 4mA

# --- Steps: what moves by itself
0.01s   line toggles 40Hz for 0.1s           # line low | high | toggles .. for .. | hums .. for ..
+1ms    line hums 50Hz for 40ms
+1ms    attach                               # the contact closes: some chatter, then the idle level
+50ms   line spikes 200/s of 60ns for 20ms   # short pulses over whatever is there; takes no time by itself
+100ms  vbus 5.05V over 10ms                 # a straight line from then on; takes no time by itself

# --- Steps: who says what. MessageID, GoodCRC and retries come by themselves.
+60ms   source Vendor_Defined: vdm_header svid=0xFF00 version="2.0" command_type="REQ" command=1 [to cable, tries 2]
+60ms   source Source_Capabilities: 5V 3A unconstrained_power; 9V 2.25A; pps 3.3V-11V 3A [lost acknowledgement 1]
+4ms    sink Request: object 3 8.4V 2A       # fixed: object 2 2A max 2.25A; battery: object 4 18W; raw: 0x1304B12C
+3ms    source Accept                        [acknowledged after 150us]
+30ms   vbus 8.4V over 25ms
+40ms   source PS_RDY                        [unacknowledged 1]
+2ms    current 1.9A over 5ms
# Supplies: 9V 2A | variable 7V-11V 2A | battery 9V-12V 27W | pps 3.3V-11V 3A | avs 3A 2A | epr_avs 15V-28V 140W,
# each with further fields of the JSON report by name. Any other object: kind field=value ..., or a raw word.

# --- Steps: what goes wrong, in brackets after the message
+9ms    source Get_Sink_Cap                  [unacknowledged]            # never; or: unacknowledged 2 (two tries)
+9ms    source Get_Sink_Cap                  [acknowledged as +3, tries 2]  # or a fixed MessageID: acknowledged as 5
+9ms    source Get_Sink_Cap                  [corrupt symbol 1]          # corrupt | corrupt bits | symbol | crc
+9ms    sink Sink_Capabilities: 5V 1A; 9V 2A [id 5, revision 2.0, rate 285k]
+9ms    source Get_Status                    [first 20 bits missing, bad k-code 2]
+9ms    source Get_Status                    [ends after 120 bits, tries 1]
+9ms    source Vendor_Defined: 0xFF008001    [on SOP'']
+9ms    sink bytes: 8d 00                    # header and payload as they are
+9ms    sink Status: 00 00 00 00 00          # an extended message's data
repeat 2 every 200ms                         # or without every: one after the other
+20ms   sink Soft_Reset                      # Soft_Reset and Hard_Reset start the MessageIDs again
+3ms    source Accept
end
+20ms   source Hard_Reset
+5ms    line high                            # the idle level from now on
+50ms   capture ends                         # capture starts: what was before is not in the file
"""
