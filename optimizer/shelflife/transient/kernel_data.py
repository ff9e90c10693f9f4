"""How the compiled march's memory is laid out, and what it reads and answers.

Three pieces of memory (see ``kernel_lanes``): ``o``, integers: a header of counts and places, and tables;
``t``, floats that all samples share; ``w``, room of one block of samples, in slots of eight floats. The names
below are places in the header, or in the records that its tables are made of.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Samples of a block.
LANES = 8

# The header.
(
    # Counts. SPECIES: water, then the gases; STATE: slots of the state, see below; SETTINGS: columns of the
    # table of what depends on the temperature; SEEN: what is followed inside, 3 + 2 gases; NODES: of the
    # largest element.
    COLUMNS,
    LAYERS,
    SPECIES,
    STATE,
    MATERIALS,
    FIXED,
    SEGMENTS,
    LIMITS,
    SETTINGS,
    SEEN,
    TIMES,
    NODES,
    # Switches. WET: water is followed; MOVING: the product's water moves; OXYGEN: place among the gases of
    # the one that reacts, -1 for none; EXACT: a row of settings for each segment; WHOLE: a gain of oxygen
    # counts all that is inside; STEPS: fixed steps of each segment, 0 for as many as the error asks for;
    # METHOD: see ``kernel_stage``.
    WET,
    MOVING,
    OXYGEN,
    EXACT,
    WHOLE,
    STEPS,
    METHOD,
    # Places in o of tables. FIRST: first layer of each column, and the end; CELLS: a record for each layer of
    # each species; DURATION_OF, ROW_OF: of each segment, which factor on its duration, and its (first) row of
    # settings; KINDS, GASES: of each limit, 0 water, 1 activity, 2 CO2 loss, 3 share of oxygen, 4 oxygen
    # gain, and the place of its gas.
    FIRST,
    CELLS,
    DURATION_OF,
    ROW_OF,
    KINDS,
    GASES,
    # Places in t of tables. Of each segment: duration [s], temperature [K], humidity, pressure [Pa]; SETTING:
    # see ``kernel_settings``; AIR: share of each gas in dry air; ISOTHERM: cubics of the product's water
    # [mol] in each of ISOTHERM_CELLS cells of activity; FLOORS: of the error's scales; SIGNS, SCALES: of
    # limits; WHEN: times to record; SCALARS: see below.
    DURATION,
    TEMPERATURE,
    HUMIDITIES,
    PRESSURE,
    SETTING,
    AIR,
    ISOTHERM,
    ISOTHERM_CELLS,
    FLOORS,
    SIGNS,
    SCALES,
    WHEN,
    SCALARS,
    # Places in w. RECORDS: of the layers; ALPHA, BETA: of the elimination, and JOINTS: activity, at the
    # inside face of each layer, the last of JOINTS that of the inside; KEPT: JOINTS at the start of the step;
    # ACTIVITY: at the nodes of each layer; MATRIX, ROW: of an element; NOW: settings; HERE: see
    # ``kernel_stage``; VIEW: inside at both ends of a step, then the rates there; LIMITED: the same of
    # limits; CLOCK: see ``kernel_segment``; CAPACITY: of walls, for water; LATER: the state, then JOINTS, at
    # the end of a step, and EARLIER: the state at its start, while a place within it is looked for; FOUND: of
    # each limit, whether it is crossed in the step, and, last, whether the target is passed.
    RECORDS,
    ALPHA,
    BETA,
    JOINTS,
    KEPT,
    ACTIVITY,
    MATRIX,
    ROW,
    NOW,
    HERE,
    VIEW,
    LIMITED,
    CLOCK,
    CAPACITY,
    LATER,
    EARLIER,
    FOUND,
    # The same, what differs from sample to sample: SPREAD, its first slot, and WIDTH_OF_SPREAD, how many.
    # CONDUCT, STORE: factors on P and S of each layer of each species; TRANSMISSION: of each closure or hole
    # for each species; LASTING: factors on durations; WARMER [K], MOISTER; CONSUMES, HOLDS: factors on the
    # use of oxygen and the product's water; AMOUNTS: at closing [mol]; BEFORE: activity and pressures in the
    # walls; VALUES, STARTS: of limits.
    SPREAD,
    WIDTH_OF_SPREAD,
    CONDUCT,
    STORE,
    TRANSMISSION,
    LASTING,
    WARMER,
    MOISTER,
    CONSUMES,
    HOLDS,
    AMOUNTS,
    BEFORE,
    VALUES,
    STARTS,
    # The same, what is found of each limit; and the count of slots.
    CROSSING,
    EXTREME,
    CLOSING,
    RECOVERED,
    ROOM,
    HEADER,
) = range(75)

# The state, from slot 0 of w: nodes of species 0 (column by column, inside to outside, without the two
# outermost faces), of species 1, ..; then what is inside and in the inner faces, by species; then the oxygen
# used up. All in mol. The same again: what a stage starts from; and five times what a stage adds.

# Scalars at o[SCALARS] in t. BRIEF: only segments as short as this take fixed steps [s].
VOLUME, LOW, INVERSE, OPENING, HALF, TARGET, END, RTOL, BRIEF, COLDEST, ROWS_PER_KELVIN, COUNT_OF_SCALARS = (
    range(12)
)

# Record of a layer of a species in o. COUNT: nodes; PLACE: state of its first inner node; RECORD: slot of its
# record in w; REFERENCE: weights, conduction and points of its element in t; RESPONSE: to humidity, in t, -1
# for none, of RESPONSE_CELLS cells; STORES: whether its diffusivity is known; PIECES, LAW: of water's
# potential, in t: knots, slopes, levels; ANSWERS: whether any gas responds to the humidity; MATERIAL.
COUNT, PLACE, RECORD, REFERENCE, RESPONSE, RESPONSE_CELLS, STORES, PIECES, LAW, ANSWERS, MATERIAL = range(11)
CELL = 11

# Record of a layer in w: storage per weight, conduction, what is left on the faces (three of four, by
# symmetry), what the inner nodes add to them; then two rows that pull inner values to the faces, and the
# inverse of the inner block.
STORED, CONDUCTION, FACES, HEADS, PULL = 0, 1, 2, 5, 7


class Answer(NamedTuple):
    """By sample. crossing, extreme, closing, recovered: (samples, L); record: (samples, T, 3 + 2 G + L) water
    in the product (net gain where its activity is fixed) [mol], activity, amounts and pressures of the gases
    inside, oxygen used, then the limited quantities, at the times asked for; steps: of each block, -1 where
    it failed."""

    crossing: Floats
    extreme: Floats
    closing: Floats
    recovered: Floats
    record: Floats
    steps: Integers


class March(NamedTuple):
    """What the compiled march reads and, the last three, writes. spread: (blocks, ., 8); found: (blocks, 4 L,
    8); record: (blocks, T, 3 + 2 G + L, 8); steps: (blocks,)."""

    o: Integers
    t: Floats
    spread: Floats
    found: Floats
    record: Floats
    steps: Integers

    def room(self) -> Floats:
        """Room for one block at a time; each thread needs its own."""
        return np.zeros((int(self.o[ROOM]), LANES))

    def answer(self, samples: int) -> Answer:
        def rows(table: Floats) -> Floats:
            # lanes next to blocks, then as one axis
            moved = np.moveaxis(table, -1, 1)
            return np.array(moved.reshape(len(table) * LANES, *table.shape[1:-1])[:samples])

        limits = int(self.o[LIMITS])
        crossing, extreme, closing, recovered = np.split(
            rows(self.found), [limits * k for k in (1, 2, 3)], axis=1
        )
        return Answer(crossing, extreme, closing, recovered, rows(self.record), self.steps)


def blocks_of(samples: int) -> int:
    return -(-samples // LANES)
