"""The coil's physics: what a drawing should read on the bench, healthy or not, and how a fab's lot spreads.

Pure functions on frozen data, SI units, no input or output. README.md in this folder has the formulas with
their sources, ranges and known error.
"""

from station.coil.constants import Conductor
from station.coil.geometry import CoilGeometry, GeometryError, uniform_gaps
from station.coil.polyline import PolylineCoil, TrackPoint, read_polyline_csv
from station.coil.prediction import FieldPoint, Prediction, predict

__all__ = [
    "CoilGeometry",
    "Conductor",
    "FieldPoint",
    "GeometryError",
    "PolylineCoil",
    "Prediction",
    "TrackPoint",
    "predict",
    "read_polyline_csv",
    "uniform_gaps",
]
