"""The words an item is described with. No Django, no clock."""

from enum import StrEnum


class Kind(StrEnum):
    """What sort of thing an item is (design.md, section 2)."""

    CYLINDER = "cylinder"
    REDUCER = "reducer"
    DEMAND_VALVE = "demand-valve"
    MASK = "mask"
    FRAME = "frame"
    CONNECTOR = "connector"
    SET = "set"
    INSTRUMENT = "instrument"
    COMPRESSOR = "compressor"


class Construction(StrEnum):
    """How a cylinder is built, by the types of ISO 11119 and ISO 11623."""

    TYPE_1 = "type-1"  # seamless metal
    TYPE_2 = "type-2"  # hoop wrapped
    TYPE_3 = "type-3"  # fully wrapped, metal liner
    TYPE_4 = "type-4"  # fully wrapped, non-metal liner


class Fibre(StrEnum):
    """What a composite cylinder is wrapped with."""

    CARBON = "carbon"
    GLASS = "glass"
    ARAMID = "aramid"


class Breathing(StrEnum):
    """How a demand valve or a mask works: the pressure in the mask while breathing in."""

    NEGATIVE = "negative-pressure"
    POSITIVE = "positive-pressure"
