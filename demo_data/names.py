"""Invented names: an association, people, schools and fields that exist nowhere."""

from __future__ import annotations

ASSOCIATION = "Quillmere Basin Plate Umpires"
TITLE = "Quillmere Basin 2026"
AREAS = ("upper basin", "lower basin", "ridge", "lakeside")
FIRST = (
    "Ada", "Boyd", "Carla", "Dennis", "Elena", "Floyd", "Greta", "Hollis", "Ines", "Jarvis", "Kaya",
    "Lorne", "Mabel", "Nils", "Odette", "Percy", "Quinn", "Rosa", "Silas", "Thea", "Ulric", "Vera",
    "Wendell", "Yolanda",
)  # fmt: skip
LAST = (
    "Abbendorf", "Brackenlow", "Corvendale", "Dunmallow", "Eskerwell", "Farrowmint", "Gallowhey",
    "Hazzelby", "Irongill", "Jessamark", "Kettlerow", "Lindenquay", "Marrowby", "Netherfold",
    "Orchardyne", "Pellanby", "Quarrelstone", "Ruddlefen", "Saltergate", "Tindlewick", "Underhythe",
    "Vantreave", "Wexcombe", "Yarrowmoor", "Zellengard",
)  # fmt: skip
TEAMS = (
    "Ostlemoor High", "Brindlequay High", "Tarrowfen High", "Pellhollow High", "Skelmarrow High",
    "Wrenfold High", "Corrielock High", "Dunwhistle High", "Embervale High", "Fallowmere High",
    "Gristlebeck High", "Hobmarsh High",
)  # fmt: skip
CLUBS = ("Quillmere Lamplighters", "Skelmarrow Ferrymen", "Embervale Millhands", "Ostlemoor Saltworks")
SITES = ("Tarrowfen Flats", "Ostlemoor Common", "Wrenfold Park", "Embervale Yard", "Skelmarrow Landing")


def person(number: int) -> str:
    """Return the name of the person of that number; the first 600 differ, later ones carry a numeral."""
    first = FIRST[number % len(FIRST)]
    last = LAST[(7 * number + number // len(FIRST)) % len(LAST)]
    round_no = number // (len(FIRST) * len(LAST))
    return f"{first} {last}" + (f" {round_no + 1}" if round_no else "")
