"""What kind of browser a `User-Agent` header tells of, in two or three words; it may lie, and decides nothing."""

BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("Chrome/", "Chrome"),
    ("CriOS/", "Chrome"),
    ("Safari/", "Safari"),
)
"""Marks and what they mean; the first that is there holds, because each browser also names those before it."""
SYSTEMS = (
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Windows", "Windows"),
    ("Mac OS X", "macOS"),
    ("CrOS", "ChromeOS"),
    ("Linux", "Linux"),
)
UNKNOWN = "another program"


def browser_told(agent: str) -> str:
    """ "Firefox on Linux", or as much of that as can be told."""
    browser = next((name for mark, name in BROWSERS if mark in agent), UNKNOWN)
    system = next((name for mark, name in SYSTEMS if mark in agent), "")
    return f"{browser} on {system}" if system else browser
