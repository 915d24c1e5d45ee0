"""Whatever stands in a file that somebody writes: it is read, or refused in words with its place, and soon.

Readers of texts and bytes have tests of their own (`test_document.py`); these are the files of people: ours with
something broken in them, and files made to do harm.
"""

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from random import Random

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from station.benchfile import load_bench_file, parse_bench_file
from station.board import load_board, parse_board
from station.counts import load_repair_counts, parse_repair_counts
from station.dialectfile import load_dialect, parse_dialect
from station.errors import InputError
from station.profile import load_profile, parse_profile
from station.program import compiled
from station.wiring import current_accuracy, meter_sheet
from tests.station.boards import RAMP, SHEET, profile_text, twin
from tests.station.test_benchfile import BENCH
from tests.station.test_dialectfile import TOKENS, TRIPLE

STEPS = (
    "trim: {coarse: ± 10 %, RV101: {OUTP: 15 V ± 0.2 %}}",
    "measure: {name: no load, INP: {current: 16.5 mA .. 20.5 mA}, OUTP: {voltage: 15 V ± 0.5 %, ripple: at most 2 mV}}",
    "load sweep: {current limit: 1.3 A, OUTP: {from: 0 A, to: 1 A, points: 6, load regulation: at most 0.25 %}}",
    "soak: {for: 5 min, every: 10 s, warm up: 2 min, OUTP: {drift: at most 20 mV}}",
    "final: {repeats: [no load]}",
)
FAULTS = ("R108:open", "RV1:end:1")
COUNTS = 'counts:\n  open or missing joint: 12\n  solder bridge: 5\n  "R108:open": 3\n'


@dataclass(frozen=True)
class Kind:
    """A kind of file: how a text of it is used, how a file of it is read, and good texts."""

    use: Callable[[str], object]
    load: Callable[[Path], object]
    good: tuple[str, ...]


def use_profile(text: str) -> None:
    compiled(parse_profile(text, Path("f.yaml"), twin())).lines()


def use_bench(text: str) -> None:
    file = parse_bench_file(text, Path("f.yaml"))
    file.misfits(twin())
    for meter in file.form.meters.values():
        meter_sheet(meter)
    for supply in file.form.supplies.values():
        current_accuracy(supply.current)


KINDS = {
    "profile": Kind(use_profile, load_profile, (profile_text(RAMP, *STEPS),)),
    "board": Kind(lambda text: parse_board(text, "f.yaml"), load_board, (SHEET,)),
    "bench": Kind(use_bench, load_bench_file, (BENCH,)),
    "dialect": Kind(lambda text: parse_dialect(text, "f.yaml"), load_dialect, (TOKENS, TRIPLE)),
    "counts": Kind(
        lambda text: parse_repair_counts(text, "f.yaml", FAULTS),
        lambda path: load_repair_counts(path, FAULTS),
        (COUNTS,),
    ),
}
GOOD = [(kind, text) for kind, each in KINDS.items() for text in each.good]
# What a finger, an editor or somebody else's file may leave in the place of a word.
ODD = """| ~ | null | true | [] | {} | [ | { | } | : | - | *a | &a | !x | ? a | .nan | -.inf | 1e999 | -5 V | 0 V
| 0 | -1 | 1e400 V | 1e-400 A | nan V | 5 foo | 5 v | 2 mA
| 15 V ± nan % | 15 V ± 1e400 % | ± | .. | at least -1 Ω | 1_000 V | ٣ V | 0x10
| 1 MV | 1 mV | -5 % | 100 % | 1e30 s | 1e15 Ω | 2027 % | 2024-02-30 | 0000-00-00 | psu -1 | psu 999999999 | GND | INP
| {value} | {channel} | {value.__class__} | {0} | ../../etc/passwd | /dev/null | a.yaml | "a\\nb" | "\\e[2J" | \0 | \t
| 日本 | \u202e | <script> | =1+1 | 📈""".replace("\n", " ").split(" | ")
ODD += ["", " ", "1" * 400, "9" * 5000 + " V", "x" * 2000]
WORD = re.compile(r"(?<=: )[^,{}\[\]\n]+|[\w.]+")


def broken(random: Random, good: str) -> str:
    """Return a good text with a few lines gone, doubled, moved or indented, or words changed for odd ones."""
    lines, words = good.split("\n"), WORD.findall(good)
    for _ in range(random.choice([1, 1, 1, 2, 4])):
        at = random.randrange(len(lines))
        match random.choice(
            ["odd", "odd", "odd", "odd", "odd", "odd", "other", "gone", "twice", "moved", "indented", "longer"]
        ):
            case "odd" | "other" as how if found := list(WORD.finditer(lines[at])):
                word, new = random.choice(found), random.choice(ODD if how == "odd" else words)
                lines[at] = lines[at][: word.start()] + new + lines[at][word.end() :]
            case "gone" if len(lines) > 1:
                del lines[at]
            case "twice":
                lines.insert(at, lines[at])
            case "moved":
                lines.insert(random.randrange(len(lines)), lines.pop(at))
            case "indented":
                lines[at] = " " * random.randrange(6) + lines[at].lstrip()
            case _:
                lines[at] += random.choice(ODD)
    return "\n".join(lines)


def used(use: Callable[[str], object], text: str) -> None:
    """Use a text as a file of a kind; it may be refused, in lines with a place that no quoted word has broken."""
    try:
        use(text)
    except InputError as refused:
        told = [str(problem) for problem in refused.problems]
        assert told and all(line.isprintable() and re.match(r"f\.yaml(:\d+|: )", line) for line in told), told


@given(good=st.sampled_from(GOOD), seed=st.integers(0, 2**32))
def test_a_file_of_ours_with_something_broken_is_read_or_refused_with_its_line(
    good: tuple[str, str], seed: int
) -> None:
    kind, text = good
    random = Random(seed)
    for _ in range(3):
        used(KINDS[kind].use, broken(random, text))


WORDS = {
    kind: sorted({key for text in each.good for key in re.findall(r"([\w -]+):", text)}) for kind, each in KINDS.items()
}


def tree(random: Random, words: Sequence[str], depth: int = 0) -> object:
    """Return a mapping of known words and odd ones, to lists, mappings and odd words; one a seed, and quickly drawn."""
    match random.randrange(6) if depth else 0:
        case 0 | 1 if depth < 5:
            keys = random.choices([*words, *words, *words, random.choice(ODD)], k=random.randint(1, 5))
            return {key: tree(random, words, depth + 1) for key in keys}
        case 2 if depth < 5:
            return [tree(random, words, depth + 1) for _ in range(random.randint(0, 3))]
        case 3:
            return random.choice([None, True, 0, -1, 3, 1.5, 1e300])
        case _:
            return random.choice(ODD)


@given(kind=st.sampled_from(sorted(KINDS)), seed=st.integers(0, 2**32))
def test_any_tree_of_known_words_is_read_or_refused_with_its_line(kind: str, seed: int) -> None:
    document = yaml.safe_dump(tree(Random(seed), WORDS[kind]), allow_unicode=True)
    used(KINDS[kind].use, document)


MOST_SECONDS = 5.0  # a second or two on a slow machine; without a bound it was twenty
BOMB = "a0: &a0 [x, x, x, x]\n" + "".join(
    f"a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * 9)}]\n" for level in range(1, 30)
)
HARMFUL: dict[str, tuple[bytes, str]] = {
    "a billion laughs": (BOMB.encode(), r":2:10: the alias \*a0 is used; write the value out\n"),
    "ten megabytes": (b"a: 1\n" * 2_000_000, ": it holds more than 1000000 bytes; "),
    "two hundred thousand values": (b"a: [" + b"1," * 200_000 + b"]", ":1: it holds more than 20000 values; "),
    "nested lists": (b"a: " + b"[" * 200_000, ": its values are nested too deeply; write it flatter"),
    "nested keys": (b"".join(b" " * n + b"a:\n" for n in range(1000)), ": its values are nested too deeply"),
    "a key twice": (b"a: 1\nb: 2\na: 3\n", ":3:1: the key 'a' stands here a second time; keep one of them"),
    "tabs": (b"a:\n\tb: 1\n", r":2:1: this is not YAML: .*; indent with spaces, not tabs"),
    "a NUL": (b"a: x\0y\n", r":1: character 5 \(U\+0000\) does not belong in a text file; "),
    "Latin 1": (b"a: 1\nb: 10 \xb5A\n", ":2: byte 12 is not UTF-8 text; save the file as UTF-8"),
    "UTF-16": ("a: 1\n".encode("utf-16"), ":1: byte 1 is not UTF-8 text; save the file as UTF-8"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, ":1: byte 1 is not UTF-8 text; "),
    "nothing": (b"", ": the file is empty; write at least its first key"),
    "two documents": (b"a: 1\n---\nb: 2\n", ":2:1: this is not YAML: .*; keep one document a file"),
    "a tag": (b"a: !!python/object/apply:os.system [id]\n", ":1:4: the tag !!python/object/apply:os.system is used"),
}


@pytest.mark.parametrize(("harm", "kind"), list(zip(HARMFUL, cycle(KINDS), strict=False)))
def test_a_file_made_to_do_harm_is_refused_soon_and_in_words(tmp_path: Path, kind: str, harm: str) -> None:
    content, told = HARMFUL[harm]
    (tmp_path / "f.yaml").write_bytes(content)
    began = time.process_time()
    with pytest.raises(InputError, match=re.escape(str(tmp_path / "f.yaml")) + told) as refused:
        KINDS[kind].load(tmp_path / "f.yaml")
    assert time.process_time() - began < MOST_SECONDS
    assert len(str(refused.value)) < 10_000
