"""Sizes assumed where a site file leaves them out; the water balance and the heat balance share them."""

from __future__ import annotations

DEFAULT_TANK_DEPTH_M = 0.8  # assumed; sets the surface that meets the air
DEFAULT_BED_DEPTH_M = 0.3  # media beds are at least 30 cm deep (extension reprint, read); the same taken for rafts
DEFAULT_GRAIN_M = 0.0127  # half-inch gravel (common practice)
GRAVEL_VOIDS = 0.4  # voids of gravel: media takes about 60 % of the volume (extension reprint, read)
FLOODED_SHARE = 0.5  # a flood-and-drain bed is full half of the time (assumption, no source)
RAFT_RESIDENCE_DAYS = 2.0 / 24.0  # raft canal residence 1-4 h (from memory of FAO 589)
MEDIA_TURNOVERS_PER_DAY = 24.0  # each media bed's volume once an hour (common practice, no source)
TOWER_WATER_M = 0.02  # water held per m2 of tower footprint (assumption, no source)
