"""The organiser's work: where the water stations go, how much, who waits, which truck when."""

from haulplan.stations.course import Course, build_course
from haulplan.stations.fleet import Engine, build_fleet
from haulplan.stations.organise import Organised, organise
from haulplan.stations.read import Event, read_event

__all__ = [
    "Course",
    "Engine",
    "Event",
    "Organised",
    "build_course",
    "build_fleet",
    "organise",
    "read_event",
]
