"""Parts of a table as plain lists and objects: from the sourced values of a file, and back from a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from treatments.compute.tables import TableError, number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from facility.compute.reference import Sourced
    from treatments.compute.tables import Segment, Table

#: entries that a file may hold for reading; they change no profile
INFORMING = frozenset(
    {"ascent_rate", "first_ascent_rate", "oxygen_may_reach", "alternative_depth", "oxygen_before_leaving_30"}
)
STEPPED = frozenset({"hold", "steps", "step_travel", "last_ascent"})
STEP_PARTS = 4  # from, to, size, minutes of each


def parts_from(values: Mapping[str, Sourced]) -> dict[str, Any]:
    """Return the parts of a table, see tables.read_table().

    ``values``: by dotted name, as facility.compute.reference.parse() gives them.
    Errors: TableError if steps do not fit.
    """
    tree: dict[str, Any] = {}
    for name, one in values.items():
        _place(tree, name.split("."), one.value)
    parts = {name: part for name, part in tree.items() if name not in INFORMING | STEPPED}
    if "hold" in tree:
        parts["segments"] = _stepped(tree)
    elif "segments" in tree:
        parts["segments"] = [tree["segments"][key] for key in sorted(tree["segments"])]
    if "extensions" in tree:
        parts["extensions"] = list(tree["extensions"].values())
    return parts


def as_parts(table: Table) -> dict[str, Any]:
    """Return the parts of a table as plain lists and objects, which read_table() takes."""
    parts: dict[str, Any] = {
        "title": table.title,
        "body": table.body,
        "revision": table.revision,
        "stop_time_begins": str(table.clock),
        "descent": {
            "to": table.descent.to_fsw, "rate": table.descent.rate_fsw_min, "gas": table.descent.gas,
        },
        "segments": [_row(one) for one in table.segments],
        "extensions": [
            {
                "depth": one.depth_fsw,
                "segments": [_row(part) for part in one.segments],
                "allowed": one.allowed,
                "breaks_may_be_left_out": one.breaks_may_be_left_out,
            }
            for one in table.extensions
        ],
        "depth_of_relief": table.depth_of_relief,
    }  # fmt: skip
    if table.first_stop is not None:
        least, most = table.first_stop
        parts["first_stop"] = {"least": least} if most is None else {"least": least, "most": most}
    return parts


def _place(tree: dict[str, Any], path: list[str], value: Any) -> None:
    for key in path[:-1]:
        tree = tree.setdefault(key, {})
    tree[path[-1]] = value


def _stepped(tree: Mapping[str, Any]) -> list[list[Any]]:
    """Return the hold, then each step as its travel and what is left of its minutes, then the last ascent."""
    travel = number("step_travel", tree.get("step_travel"), 0, 60)
    rows = [list(tree["hold"])]
    depth, gas = tree["hold"][0], tree["hold"][3]
    for name in sorted(tree["steps"]):
        given = tree["steps"][name]
        if not isinstance(given, list) or len(given) != STEP_PARTS or given[2] <= 0:
            raise TableError(f"steps.{name}", given, "four values: from fsw, to fsw, size fsw, minutes of each")
        deep, shallow, size, minutes = given
        if deep != depth - size or (deep - shallow) % size:
            raise TableError(f"steps.{name}", given, f"a start at {depth - size} fsw and whole steps of {size} fsw")
        while depth > shallow:
            rows += [[depth, depth - size, travel, gas], [depth - size, depth - size, minutes - travel, gas]]
            depth -= size
    return [*rows, list(tree["last_ascent"])]


def _row(one: Segment) -> list[Any]:
    return [one.start_fsw, one.end_fsw, one.minutes, one.gas]
