r"""Make a declared pattern mean in Python what it means in DuckDB.

DuckDB reads patterns with RE2, where `\s`, `\d`, `\w` are ASCII and `\s` leaves the vertical tab out; Python
takes them in the whole of Unicode. A no-break space in an address must not be a blank in one engine only.
"""

from __future__ import annotations

from pipeline.errors import ContractError

_RE2_BLANK = r"\t\n\f\r "
_ALIKE = set(r"dDwW.\[]{}()*+?^$|/-@tnfr'\"")
"""What may stand after a backslash and means the same in both (the classes, given ASCII)."""


def python_pattern(pattern: str) -> str:
    r"""Return a Python pattern that fits a whole text exactly where `regexp_full_match` of DuckDB does.

    Raises
    ------
    ContractError
        The pattern uses a backslash whose meaning in the two engines has not been compared, such as `\b`.
    """
    if "[:" in pattern:
        raise _refused(pattern, "[:")
    out: list[str] = []
    in_class = False
    place = 0
    while place < len(pattern):
        part = pattern[place]
        if part == "\\":
            part = pattern[place : place + 2]
            out.append(_escape(part, pattern, in_class=in_class))
        else:
            if part == "$" and not in_class:
                raise _refused(pattern, part)
            in_class = part == "[" or (in_class and part != "]")
            out.append(part)
        place += len(part)
    return rf"^(?a:{''.join(out)})\Z"


def _escape(part: str, pattern: str, *, in_class: bool) -> str:
    if part == r"\s":
        return _RE2_BLANK if in_class else f"[{_RE2_BLANK}]"
    if part[1:] not in _ALIKE:
        raise _refused(pattern, part)
    return part


def _refused(pattern: str, part: str) -> ContractError:
    return ContractError(
        f"the pattern {pattern!r} uses {part}, which Python and DuckDB may read differently",
        hint="write the characters out in brackets; the whole cell is compared, so no end mark is needed",
    )
