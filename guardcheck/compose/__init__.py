"""Parts and stimuli joined into decks. Knows topology; no limits, no files, no simulator."""

from guardcheck.compose.chain import EMF, FAR, FAR_GND, NEAR, RAIL, Chain, chain_cards
from guardcheck.compose.decks import (
    AT_DISPLAY,
    HOLDS_CHARGE,
    deck_of,
    distinct,
    emf_levels,
    impedance_deck,
    level_deck,
    response_deck,
    waveform_deck,
)
from guardcheck.compose.event_probes import DiodeProbe, Probes, SurgeProbe
from guardcheck.compose.events import LOW, SWING, SWINGS_AT, EventCase, Rail, event_deck, has_coupling, longest_line_run
from guardcheck.compose.lines import as_ladders
from guardcheck.compose.mating import Joint, drives_of, mating_deck, node_vectors
from guardcheck.compose.nudge import nudge_decks
from guardcheck.compose.quality import FLAT_SHARE, gain_deck, power_deck, square_deck, step_deck
from guardcheck.compose.schematic import Drawn, drawn
from guardcheck.compose.variants import Builds, plan_builds

__all__ = [
    "AT_DISPLAY",
    "EMF",
    "FAR",
    "FAR_GND",
    "FLAT_SHARE",
    "HOLDS_CHARGE",
    "LOW",
    "NEAR",
    "RAIL",
    "SWING",
    "SWINGS_AT",
    "Builds",
    "Chain",
    "DiodeProbe",
    "Drawn",
    "EventCase",
    "Joint",
    "Probes",
    "Rail",
    "SurgeProbe",
    "as_ladders",
    "chain_cards",
    "deck_of",
    "distinct",
    "drawn",
    "drives_of",
    "emf_levels",
    "event_deck",
    "gain_deck",
    "has_coupling",
    "impedance_deck",
    "level_deck",
    "longest_line_run",
    "mating_deck",
    "node_vectors",
    "nudge_decks",
    "plan_builds",
    "power_deck",
    "response_deck",
    "square_deck",
    "step_deck",
    "waveform_deck",
]
