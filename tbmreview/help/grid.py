"""Numbers and grids of the pages, as Markdown."""

from collections.abc import Sequence


def number(value: float, decimals: int = 0) -> str:
    """A number with its thousands apart."""
    return f"{value:,.{decimals}f}".replace(",", "\N{NO-BREAK SPACE}")


def with_unit(value: float, unit: str, decimals: int = 0) -> str:
    """A number and its unit, which stay together in a line."""
    return f"{number(value, decimals)}\N{NO-BREAK SPACE}{unit}" if unit else number(value, decimals)


def sentence(parts: Sequence[str]) -> str:
    """Parts of a sentence, apart by semicolons."""
    joined = "; ".join(parts)
    return f"{joined[:1].upper()}{joined[1:]}."


def grid(heading: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under a heading."""
    lines = [heading, ["---"] * len(heading), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)
