"""Objects by which a port tells its state: battery, alert, country, source information, revision.

Why it is: these are what a charger says while it charges, and often why it stops. (USB PD R3.2, sections
6.4.4 to 6.4.12 and their object tables; Alert compared with Linux 6.1 pd_ado.h, the others from memory of
the specification.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Characters, Choice, Number, Reserved, Yes, table, word

EXTENDED_ALERTS = {
    1: "power state change",
    2: "power button press",
    3: "power button release",
    4: "controller initiated wake",
}

LAYOUTS = table(
    word(
        "notices.battery_status", "battery_status",
        "battery_present_capacity_mwh" / Number(16, 100, "mWh", {0xFFFF: "unknown"}) * "charge held now",
        Reserved(4),
        "battery_charging_status" / Choice(2, {0: "charging", 1: "discharging", 2: "idle"})
        * "what the battery does (when present)",
        "battery_is_present" / Yes() * "a battery is there",
        "invalid_battery_reference" / Yes() * "the battery asked for does not exist",
        Reserved(8),
        title="Battery Status data object",
    ),
    word(
        "notices.alert", "alert",
        "extended_alert_event" / Yes() * "the lowest four bits say what happened",
        "ovp_event" / Yes() * "overvoltage protection acted",
        "source_input_change_event" / Yes() * "the source's own supply changed",
        "operating_condition_change" / Yes() * "conditions changed: see Status",
        "otp_event" / Yes() * "overtemperature protection acted",
        "ocp_event" / Yes() * "overcurrent protection acted",
        "battery_status_change_event" / Yes() * "a battery changed: see the battery bits",
        Reserved(1),
        "fixed_batteries" / Number(4) * "fixed batteries that changed, a bit each",
        "hot_swappable_batteries" / Number(4) * "hot-swappable batteries that changed, a bit each",
        Reserved(12),
        "extended_alert_event_type" / Choice(4, {0: "none"} | EXTENDED_ALERTS) * "the extended event",
        title="Alert data object",
    ),
    word(
        "notices.country", "get_country_info",
        "country_code" / Characters(2, high_first=True) * "ISO 3166 two-letter code",
        Reserved(16),
        title="Country Code data object",
    ),
    word(
        "notices.source_info", "source_info",
        "port_type" / Choice(1, {0: "managed capability", 1: "guaranteed capability"})
        * "whether the power of this port depends on others",
        Reserved(7),
        "port_maximum_pdp_mw" / Number(8, 1000, "mW") * "what the port can ever give",
        "port_present_pdp_mw" / Number(8, 1000, "mW") * "what it can give now",
        "port_reported_pdp_mw" / Number(8, 1000, "mW") * "what it offers now",
        title="Source Info data object",
    ),
    word(
        "notices.revision", "revision",
        "revision_major" / Number(4) * "of the specification",
        "revision_minor" / Number(4) * "of the specification",
        "version_major" / Number(4) * "of that revision",
        "version_minor" / Number(4) * "of that revision",
        Reserved(16),
        title="Revision Message data object",
    ),
)
