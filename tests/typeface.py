"""Cuts the program's typeface: ``python -m tests.typeface SOURCE.ttf`` writes ``static/evenbore-sans.woff2``.

The source is the variable face of the foundry's own npm package ``@ibm/plex-sans-variable`` 0.2.0 (OFL 1.1), file
``fonts/complete/ttf/IBM Plex Sans Var-Roman.ttf``. Its license reserves a name, which a cut may not carry; the text is
kept beside the cut. Cut: letters of Latin-1 and Latin Extended-A, weights 400 to 700, no
hinting, no kerning.
"""

import argparse
from hashlib import sha256
from pathlib import Path

from fontTools.subset import Options, Subsetter  # type: ignore[import-untyped]
from fontTools.ttLib import TTFont  # type: ignore[import-untyped]
from fontTools.varLib import instancer  # type: ignore[import-untyped]

from app.places import static

SOURCE = "3ed3ea3b1b3854afdf3306e9ab60773ec03cd7466bf0017131c166d943408713"
"""SHA-256 of the source."""

NAME = "Evenbore Sans"
FILE = "evenbore-sans.woff2"
WEIGHTS = (400, 700)
LETTERS = (*range(0x20, 0x7F), *range(0xA0, 0x180), *range(0x218, 0x21C))
SIGNS = tuple(map(ord, "–—‘’“”„…•−⅛⅜⅝⅞←↑→↓≤≥≈€\u2009\u2011\u202f"))
NAMES = {1: NAME, 2: "Regular", 3: "EvenboreSans", 4: NAME, 6: "EvenboreSans"}
"""Written anew in the name table: family, style, unique, full and PostScript name. Copyright and license stay."""

COPYRIGHT, LICENSE, LICENSE_AT = 0, 13, 14


def cut(source: Path) -> TTFont:
    """The face cut down and named anew. Raises ValueError for any other source."""
    if sha256(source.read_bytes()).hexdigest() != SOURCE:
        raise ValueError(f"{source} is not the file that the cut is made of")
    face = TTFont(source, recalcTimestamp=False)
    options = Options(hinting=False, layout_features=["ccmp", "locl", "mark", "mkmk"], name_IDs=["*"])
    subsetter = Subsetter(options)
    subsetter.populate(unicodes=[*LETTERS, *SIGNS])
    subsetter.subset(face)
    face = instancer.instantiateVariableFont(face, {"wdth": 100, "wght": WEIGHTS})
    axis = next(axis.axisNameID for axis in face["fvar"].axes)
    named = {axis, *(one.subfamilyNameID for one in face["fvar"].instances)}
    for one in list(face["name"].names):
        if one.nameID in NAMES:
            face["name"].setName(NAMES[one.nameID], one.nameID, one.platformID, one.platEncID, one.langID)
        elif one.nameID not in {COPYRIGHT, LICENSE, LICENSE_AT, *named}:
            face["name"].removeNames(one.nameID, one.platformID, one.platEncID, one.langID)
    for instance in face["fvar"].instances:
        instance.postscriptNameID = 0xFFFF
    face.flavor = "woff2"
    return face


def main() -> None:
    """Cut the face and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("source", type=Path)
    made = static() / FILE
    cut(parser.parse_args().source).save(made)
    print(f"{made}: {made.stat().st_size} bytes")


if __name__ == "__main__":
    main()
