"""Width of text without Qt, so that layout is decided here. A test holds it against the shipped font."""

from functools import lru_cache

# Greater of the regular and the bold advance in 1/1000 of the type size; kerning only narrows.
_ADVANCES: dict[int, str] = {
    175: "'", 230: " \u00a0", 246: ",j", 252: "il", 253: "|", 255: ";", 261: "!", 264: "[]", 270: "I",
    274: ":", 285: "·", 292: ".", 307: "t{}", 321: '"', 323: "(", 324: ")", 328: "f", 332: "`r",
    335: "²³", 363: "-", 371: "/", 381: "\\", 389: "°", 391: "^", 405: "_", 446: "y", 447: "<≤",
    448: "?", 449: "v", 453: "xz", 454: "*", 456: "s", 460: ">≥", 462: "c", 471: "×", 473: "±",
    479: "Laek", 481: "F", 491: "J", 492: "hnu", 495: "bp", 496: "d", 497: "+E", 500: "q−", 502: "o",
    503: "=g", 506: "$0123456789", 530: "Z", 540: "S", 543: "TY", 548: "#", 549: "µ", 553: "K",
    554: "R", 560: "X", 562: "B", 569: "P", 570: "C", 571: "DU", 572: "–", 578: "V", 579: "&",
    589: "~", 591: "G", 598: "A", 604: "OQ", 620: "HN", 639: "%", 650: "w", 663: "…", 753: "m",
    758: "M", 762: "W", 769: "@",
}  # fmt: skip
_WIDTH = {char: width / 1000 for width, chars in _ADVANCES.items() for char in chars}
_OTHER = 0.77  # letters beyond this table count as the widest in it


@lru_cache(maxsize=4096)
def text_width(text: str, height: float) -> float:
    """Width of `text` at a type size, in the unit of `height`; at least what the painter needs."""
    return height * sum(_WIDTH.get(char, _OTHER) for char in text)
