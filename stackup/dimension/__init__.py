"""What a dimension is: sizes, zones and one-sided values, their regions and their laws."""

from stackup.dimension.asbuilt import MeasuredSize, MeasuredZone
from stackup.dimension.kinds import Bonus, Dimension, OneSided, Size, Zone
from stackup.dimension.law import Law
from stackup.dimension.process import Harmonic, Measured, Process
from stackup.dimension.region import Classes, Column, Disc, Growth, Interval, Region

__all__ = [
    "Bonus",
    "Classes",
    "Column",
    "Dimension",
    "Disc",
    "Growth",
    "Harmonic",
    "Interval",
    "Law",
    "Measured",
    "MeasuredSize",
    "MeasuredZone",
    "OneSided",
    "Process",
    "Region",
    "Size",
    "Zone",
]
