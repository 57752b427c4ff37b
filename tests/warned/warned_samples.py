"""Warning messages for the tests: those printed in the CAP standard, and invented ones."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

from service_site import write_show

from monitor.domain import Show, Site
from monitor.planning.official import OfficialWarning
from monitor.show import read_show

NOON = datetime(2027, 7, 15, 12, 0, tzinfo=UTC)
SITE = Site("Lower meadow", 52.0, -2.0, 40.0, ZoneInfo("Europe/London"), "II", "grass")

# OASIS, Common Alerting Protocol Version 1.2 (OASIS Standard, 1 July 2010), Appendix A.
# A.2, whole, as printed there.
THUNDERSTORM_A2 = """<?xml version = "1.0" encoding = "UTF-8"?>
<alert xmlns = "urn:oasis:names:tc:emergency:cap:1.2">
  <identifier>KSTO1055887203</identifier>
  <sender>KSTO@NWS.NOAA.GOV</sender>
  <sent>2003-06-17T14:57:00-07:00</sent>
  <status>Actual</status>
  <msgType>Alert</msgType>
  <scope>Public</scope>
  <info>
    <category>Met</category>
    <event>SEVERE THUNDERSTORM</event>
    <responseType>Shelter</responseType>
    <urgency>Immediate</urgency>
    <severity>Severe</severity>
    <certainty>Observed</certainty>
    <eventCode>
      <valueName>SAME</valueName>
      <value>SVR</value>
    </eventCode>
    <expires>2003-06-17T16:00:00-07:00</expires>
    <senderName>NATIONAL WEATHER SERVICE SACRAMENTO CA</senderName>
    <headline>SEVERE THUNDERSTORM WARNING</headline>
    <description> AT 254 PM PDT...NATIONAL WEATHER SERVICE DOPPLER RADAR INDICATED A SEVERE THUNDERSTORM OVER SOUTH CENTRAL ALPINE COUNTY...OR ABOUT 18 MILES SOUTHEAST OF KIRKWOOD...MOVING SOUTHWEST AT 5 MPH. HAIL...INTENSE RAIN AND STRONG DAMAGING WINDS ARE LIKELY WITH THIS STORM.</description>
    <instruction>TAKE COVER IN A SUBSTANTIAL SHELTER UNTIL THE STORM PASSES.</instruction>
    <contact>BARUFFALDI/JUSKIE</contact>
    <area>
      <areaDesc>EXTREME NORTH CENTRAL TUOLUMNE COUNTY IN CALIFORNIA, EXTREME NORTHEASTERN CALAVERAS COUNTY IN CALIFORNIA, SOUTHWESTERN ALPINE COUNTY IN CALIFORNIA</areaDesc>
      <polygon>38.47,-120.14 38.34,-119.95 38.52,-119.74 38.62,-119.89 38.47,-120.14</polygon>
      <geocode>
        <valueName>SAME</valueName>
        <value>006109</value>
      </geocode>
      <geocode>
        <valueName>SAME</valueName>
        <value>006009</value>
      </geocode>
      <geocode>
        <valueName>SAME</valueName>
        <value>006003</value>
      </geocode>
    </area>
  </info>
</alert>
"""

# A.3, an update with a reference and a circle; the description is left out.
EARTHQUAKE_A3 = """<?xml version = "1.0" encoding = "UTF-8"?>
<alert xmlns = "urn:oasis:names:tc:emergency:cap:1.2">
  <identifier>TRI13970876.2</identifier>
  <sender>trinet@caltech.edu</sender>
  <sent>2003-06-11T20:56:00-07:00</sent>
  <status>Actual</status>
  <msgType>Update</msgType>
  <scope>Public</scope>
  <references>trinet@caltech.edu,TRI13970876.1,2003-06-11T20:30:00-07:00</references>
  <info>
    <category>Geo</category>
    <event>Earthquake</event>
    <urgency>Past</urgency>
    <severity>Minor</severity>
    <certainty>Observed</certainty>
    <senderName>Southern California Seismic Network (TriNet) operated by Caltech and USGS</senderName>
    <headline>EQ 3.4 Imperial County CA</headline>
    <web>http://www.trinet.org/scsn/scsn.html</web>
    <parameter>
      <valueName>EventID</valueName>
      <value>13970876</value>
    </parameter>
    <parameter>
      <valueName>Magnitude</valueName>
      <value>3.4 Ml</value>
    </parameter>
    <area>
      <areaDesc>1 mi. WSW of Brawley, CA; 11 mi. N of El Centro, CA; 30 mi. E of OCOTILLO (quarry); 1 mi. N of the Imperial Fault</areaDesc>
      <circle>32.9525,-115.5527 0</circle>
    </area>
  </info>
</alert>
"""

# A.4, the message in two languages; the descriptions are left out.
TWO_LANGUAGES_A4 = """<?xml version = "1.0" encoding = "UTF-8"?>
<alert xmlns = "urn:oasis:names:tc:emergency:cap:1.2">
   <identifier>KAR0-0306112239-SW</identifier>
   <sender>KARO@CLETS.DOJ.CA.GOV</sender>
   <sent>2003-06-11T22:39:00-07:00</sent>
   <status>Actual</status>
   <msgType>Alert</msgType>
   <source>SW</source>
   <scope>Public</scope>
   <info>
     <language>en-US</language>
     <category>Rescue</category>
     <event>Child Abduction</event>
     <urgency>Immediate</urgency>
     <severity>Severe</severity>
     <certainty>Likely</certainty>
     <headline>Amber Alert in Los Angeles County</headline>
     <area>
        <areaDesc>Los Angeles County</areaDesc>
        <geocode><valueName>SAME</valueName><value>006037</value></geocode>
     </area>
   </info>
   <info>
     <language>es-US</language>
     <category>Rescue</category>
     <event>Abducción de Niño</event>
     <urgency>Immediate</urgency>
     <severity>Severe</severity>
     <certainty>Likely</certainty>
     <headline>Alerta Amber en el condado de Los Ángeles</headline>
     <area>
        <areaDesc>condado de Los Ángeles</areaDesc>
        <geocode><valueName>SAME</valueName><value>006037</value></geocode>
     </area>
   </info>
</alert>
"""

ROUND_THE_SITE = "51.9,-2.2 51.9,-1.8 52.1,-1.8 52.1,-2.2 51.9,-2.2"
FAR_FROM_THE_SITE = "57.0,-4.0 57.0,-3.0 58.0,-3.0 58.0,-4.0 57.0,-4.0"


def cap(
    identifier: str = "W1",
    *,
    sent: datetime = NOON,
    sender: str = "warn@weather.example",
    status: str = "Actual",
    msg_type: str = "Alert",
    references: str = "",
    infos: str | None = None,
    space: str = "urn:oasis:names:tc:emergency:cap:1.2",
    **said: str,
) -> bytes:
    """A message of an invented service; `said` goes to its one `info`."""
    named = f"<references>{escape(references)}</references>" if references else ""
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<alert xmlns="{space}">'
        f"<identifier>{escape(identifier)}</identifier><sender>{sender}</sender>"
        f"<sent>{sent.isoformat()}</sent><status>{status}</status><msgType>{msg_type}</msgType>"
        f"<scope>Public</scope>{named}{info(**said) if infos is None else infos}</alert>\n"
    ).encode()


def info(
    *,
    language: str = "en-GB",
    event: str = "Thunderstorm",
    headline: str = "Yellow warning of thunderstorms",
    description: str = "Storms with hail cross the meadows.",
    instruction: str = "Go indoors.",
    urgency: str = "Immediate",
    severity: str = "Moderate",
    certainty: str = "Likely",
    onset: str = "",
    expires: str = "2027-07-15T16:00:00+00:00",
    polygon: str = ROUND_THE_SITE,
    place: str = "The meadows",
    more: str = "",
    area: str | None = None,
) -> str:
    onset_said = f"<onset>{onset}</onset>" if onset else ""
    expires_said = f"<expires>{expires}</expires>" if expires else ""
    shape = f"<polygon>{polygon}</polygon>" if polygon else ""
    where = f"<area><areaDesc>{place}</areaDesc>{shape}</area>" if area is None else area
    return (
        f"<info><language>{language}</language><category>Met</category><event>{event}</event>"
        f"<urgency>{urgency}</urgency><severity>{severity}</severity>"
        f"<certainty>{certainty}</certainty>{onset_said}{expires_said}"
        f"<senderName>Weather Office Example</senderName><headline>{headline}</headline>"
        f"<description>{escape(description)}</description>"
        f"<instruction>{instruction}</instruction>{more}{where}</info>"
    )


def reference(identifier: str, sent: datetime = NOON, sender: str = "warn@weather.example") -> str:
    return f"{sender},{identifier},{sent.isoformat()}"


def warning(identifier: str = "W1", **said: object) -> OfficialWarning:
    """A warning as a record: of thunder, of four hours, with no area."""
    kept: dict[str, object] = {
        "service": "Office",
        "identifier": identifier,
        "sender": "warn@weather.example",
        "sent": NOON,
        "status": "Actual",
        "msg_type": "Alert",
        "event": "Thunderstorm",
        "headline": "Yellow warning of thunderstorms",
        "urgency": "Immediate",
        "severity": "Moderate",
        "certainty": "Likely",
        "expires": NOON + timedelta(hours=4),
        **said,
    }
    return OfficialWarning(**kept)  # type: ignore[arg-type]


def atom(*entries: str, base: str = "") -> bytes:
    about = f' xml:base="{base}"' if base else ""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<feed xmlns="http://www.w3.org/2005/Atom"'
        f' xmlns:cap="urn:oasis:names:tc:emergency:cap:1.2"{about}>'
        f"<id>urn:index</id><title>Warnings</title>{''.join(entries)}</feed>"
    ).encode()


def atom_entry(link: str, *, updated: str = "2027-07-15T12:00:00Z", more: str = "") -> str:
    return (
        f"<entry><id>{link}</id><title>A warning</title><updated>{updated}</updated>"
        f'<link rel="alternate" type="application/cap+xml" href="{link}"/>{more}</entry>'
    )


def rss(*links: str) -> bytes:
    items = "".join(f"<item><title>W</title><link>{link}</link></item>" for link in links)
    return f'<rss version="2.0"><channel><title>W</title>{items}</channel></rss>'.encode()


def show_with_warnings(folder, *sections: str, **more: object) -> Show:
    """The small show of the service's tests, with warning services."""
    contacts = '[[contacts]]\nname = "box"\nkind = "folder"\npath = "messages"\n'
    text = contacts + "\n".join(sections)
    write_show(folder, contacts=text, **more)  # type: ignore[arg-type]
    return read_show(folder, {}).show


def section(name: str, url: str, **more: object) -> str:
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in more.items())
    return f'[[warnings]]\nname = "{name}"\nurl = "{url}"\n{lines}'
