"""Write the stored single faults of the demo boards as a person would at a command line."""

from typing import Any

# What a rule does not reach: two parts exchanged, and packages turned in their holes.
_SPECIAL = {
    "D028": ["RV101:value:10k"],
    "D070": ["Q101:swapped", "Q201:swapped"],
    "D071": ["XU101:rotated:vcc-out-inp-nc-inn"],
    "A012": ["RV1:open"],  # a rheostat: the part itself, not its wiper
    "A026": ["XU1:rotated"],
    "D084": ["RT101:value:100"],
    "A035": ["RT1:value:100"],
    "B060": ["RT1:value:100"],
}
_KINDS = {"swapped_part": "swapped", "ec_swapped": "rotated", "reversed": "reversed"}


def in_words(case: dict[str, Any]) -> list[str]:
    """The faults, as text, that make a stored case."""
    if case["id"] in _SPECIAL:
        return _SPECIAL[case["id"]]
    refdes, kind = case["refdes"], case["kind"]
    given = dict(word.split("=") for word in case["parameter"].split(";") if "=" in word)
    if kind == "open" and "pin" in given:
        return [f"{refdes}.{given['pin']}:open"]
    if kind == "open":
        return [f"{refdes}:{'blown' if refdes.startswith('RF') else 'wiper' if refdes.startswith('RV') else 'open'}"]
    if kind == "wrong_value":
        return [f"{refdes}:value:{given['value']}"]
    if kind == "short":
        return [f"{refdes}:short" if given["pins"] == "1-2" else f"{refdes}.{given['pins']}:short"]
    if kind == "bridge":
        return [f"{given['nodes']}:bridge"]
    if kind == "cold_joint":
        return [f"{refdes}.{given['pin']}:cold"]
    if kind == "end_stop":
        return [f"{refdes}:end:{given.popitem()[1]}"]
    return [f"{refdes}:{_KINDS[kind]}"]
