"""Prove profiles with few boards, with good defaults."""

from station.defects import chosen, universe_of
from station.likelihood import likelihoods
from station.profile import Profile, load_profile
from station.proof import FaultFound, Proof
from station.prove import proved
from station.shipped import PROFILES
from station.tally import Universe, Wanted


def adj3t() -> Profile:
    """Return the shipped profile of the smallest board with a regulator."""
    return load_profile(PROFILES / "adj3t" / "full.yaml")


def universe(profile: Profile, *words: str) -> Universe:
    """Return the profile's universe with the faults that words choose; all where there are none."""
    faults = universe_of(profile.board)
    picked = chosen(faults, words, profile.board)
    return Universe(faults, likelihoods(faults), tuple(at for at, each in enumerate(faults) if each in picked))


def prove(profile: Profile, *words: str, healthy: int = 20, per_fault: int = 4, seed: int = 1, jobs: int = 1) -> Proof:
    """Return the proof of a profile against the faults that words choose."""
    return proved(profile, universe(profile, *words), Wanted(healthy, per_fault, seed, jobs))


def of(proof: Proof, fault: str) -> FaultFound:
    """Return what was found of one fault."""
    (found,) = (each for each in proof.faults if each.fault == fault)
    return found
