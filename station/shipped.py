"""Find a profile or a board by the name of its file, or by its name among those that ship."""

from pathlib import Path

from station.board import Board, load_board
from station.errors import InputError
from station.forms import nearest
from station.profile import Profile, load_profile

__all__ = ["PROFILES", "found_board", "found_profile"]

PROFILES = Path(__file__).resolve().parent.parent / "profiles"


def found_profile(name: str) -> Profile:
    """Return the profile of a file, or of the shipped one of this name; InputError where there is neither."""
    path = Path(name)
    if path.exists() or path.suffix in (".yaml", ".yml"):
        return load_profile(path)
    known = [f"{file.parent.name}/{file.stem}" for file in sorted(PROFILES.glob("*/*.yaml")) if file.stem != "board"]
    if name in known:
        return load_profile(PROFILES / f"{name}.yaml")
    raise InputError.about(f"there is no profile '{name}'", f"{nearest(name, known)}, or the name of a file")


def found_board(name: str) -> Board:
    """Return the board of a sheet or of its folder, or the shipped one of this name; InputError where there is none."""
    path = Path(name)
    if path.exists() or path.suffix in (".yaml", ".yml"):
        return load_board(path / "board.yaml" if path.is_dir() else path)
    known = [sheet.parent.name for sheet in sorted(PROFILES.glob("*/board.yaml"))]
    if name in known:
        return load_board(PROFILES / name / "board.yaml")
    raise InputError.about(f"there is no board '{name}'", f"{nearest(name, known)}, or the name of a board sheet")
