"""Check values with published sources, as rows of text."""

import csv
from pathlib import Path

HERE = Path(__file__).parents[1] / "reference"


def rows(name: str) -> list[dict[str, str]]:
    lines = (HERE / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def inputs(row: dict[str, str]) -> dict[str, float]:
    """The 'VH=15.012;VL=14.985' column of a worked example as numbers."""
    return {name: float(value) for name, value in (pair.split("=") for pair in row["inputs"].split(";") if pair)}
